package store

import (
	"bytes"
	"context"
	"database/sql"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/server/store/pgtest"
)

// TestKeyOfAnotherRequest: the answer to one request is never taken for the answer to another.
func TestKeyOfAnotherRequest(t *testing.T) { onBoth(t, checkKeyOfAnotherRequest) }

func checkKeyOfAnotherRequest(t *testing.T, place string) {
	s := opened(t, place)
	c := create(t, s)
	first, other := Request{Key: "key", Digest: "calm"}, Request{Key: "key", Digest: "alarm"}
	_, _, err := s.Append(t.Context(), c.ID, first, adding(answer("lamp", "on")))
	require.NoError(t, err)
	_, appended, err := s.Append(t.Context(), c.ID, first, adding(answer("lamp", "on")))
	require.NoError(t, err)
	assert.False(t, appended)
	_, _, err = s.Append(t.Context(), c.ID, other, adding(answer("lamp", "off")))
	assert.ErrorIs(t, err, ErrKeyReused)
	_, _, err = s.ReadOnce(t.Context(), c.ID, other)
	assert.ErrorIs(t, err, ErrKeyReused)
	_, known, err := s.ReadOnce(t.Context(), c.ID, first)
	require.NoError(t, err)
	assert.True(t, known)

	var out bytes.Buffer
	require.NoError(t, s.Backup(t.Context(), &out))
	at := t.TempDir()
	if IsURL(place) {
		at = pgtest.Database(t)
	}
	copied := opened(t, at)
	require.NoError(t, copied.Restore(t.Context(), &out))
	_, _, err = copied.Append(t.Context(), c.ID, other, adding(answer("lamp", "off")))
	assert.ErrorIs(t, err, ErrKeyReused, "a backup keeps it")
}

// TestOpenedOnce opens with one key again and again, also at the same time and from a copy.
func TestOpenedOnce(t *testing.T) { onBoth(t, checkOpenedOnce) }

func checkOpenedOnce(t *testing.T, place string) {
	s := opened(t, place)
	open := func(r Request) (Conversation, error) {
		return s.CreateOnce(context.Background(), r, "model-1", diagnosis.Event{Kind: diagnosis.Opened, Locale: "en"})
	}
	r := Request{Key: "one of a kind", Digest: "tools"}
	ids := make([]string, 12)
	var work sync.WaitGroup
	for i := range ids {
		work.Go(func() {
			c, err := open(r)
			assert.NoError(t, err)
			ids[i] = c.ID
		})
	}
	work.Wait()
	for _, id := range ids {
		assert.Equal(t, ids[0], id)
	}
	want, _, err := s.Append(t.Context(), ids[0], Request{}, adding(answer("lamp", "on")))
	require.NoError(t, err)
	got, err := open(r)
	require.NoError(t, err)
	assert.Equal(t, want, got, "it goes on where it stands")
	_, err = open(Request{Key: r.Key, Digest: "other tools"})
	assert.ErrorIs(t, err, ErrKeyReused)
	for _, none := range []Request{{}, {}, {Key: "another"}} {
		c, err := open(none)
		require.NoError(t, err)
		assert.NotEqual(t, ids[0], c.ID)
	}

	var out bytes.Buffer
	require.NoError(t, s.Backup(t.Context(), &out))
	assert.NotContains(t, out.String(), r.Key, "whoever has it has the conversation")
	at := t.TempDir()
	if IsURL(place) {
		at = pgtest.Database(t)
	}
	copied := opened(t, at)
	require.NoError(t, copied.Restore(t.Context(), &out))
	c, err := copied.CreateOnce(t.Context(), r, "model-1", diagnosis.Event{Kind: diagnosis.Opened})
	require.NoError(t, err)
	assert.Equal(t, ids[0], c.ID)

	require.NoError(t, s.Delete(t.Context(), ids[0]))
	again, err := open(r)
	require.NoError(t, err)
	assert.NotEqual(t, ids[0], again.ID, "what is deleted stays so")
}

// TestVitalEventsFit fills a conversation by number and by size.
func TestVitalEventsFit(t *testing.T) { onBoth(t, checkVitalEventsFit) }

func checkVitalEventsFit(t *testing.T, place string) {
	s := opened(t, place)
	now := time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)
	s.now = func() time.Time { return now }
	vital := Request{Vital: func(events []diagnosis.Event, e diagnosis.Event) bool {
		assert.GreaterOrEqual(t, len(events), 10)
		return e.Observations[0].State == "off"
	}}
	for _, fill := range []struct {
		name   string
		events int64
		text   string
	}{{"events", MaxEvents, ""}, {"bytes", 10, strings.Repeat("x", MaxBytes/8)}} {
		c := create(t, s)
		now = now.Add(time.Hour)
		require.NoError(t, s.write(t.Context(), func(_ context.Context, tx *sql.Tx) error {
			for n := int64(2); n <= fill.events; n++ {
				e := diagnosis.Event{Number: n, Kind: diagnosis.Said, Text: fill.text}
				if _, err := insert(t.Context(), tx, c.ID, now.Add(-time.Hour), Request{}, e); err != nil {
					return err
				}
			}
			return nil
		}))
		_, _, err := s.Append(t.Context(), c.ID, Request{}, adding(answer("lamp", "off")))
		assert.ErrorIs(t, err, ErrFull, fill.name)
		_, _, err = s.Append(t.Context(), c.ID, vital, adding(answer("lamp", "on")))
		assert.ErrorIs(t, err, ErrFull, fill.name)
		for range vitalBurst {
			_, appended, err := s.Append(t.Context(), c.ID, vital, adding(answer("lamp", "off")))
			require.NoError(t, err, fill.name)
			assert.True(t, appended)
		}
		_, _, err = s.Append(t.Context(), c.ID, vital, adding(answer("lamp", "off")))
		var wait *FullError
		require.ErrorAs(t, err, &wait, "nobody fills the disk")
		assert.Equal(t, vitalPause, wait.Wait)
		now = now.Add(wait.Wait)
		_, _, err = s.Append(t.Context(), c.ID, vital, adding(answer("lamp", "off")))
		require.NoError(t, err)
	}
}

func TestBytesAreThoseKept(t *testing.T) { onBoth(t, checkBytesAreThoseKept) }

func checkBytesAreThoseKept(t *testing.T, place string) {
	s := opened(t, place)
	c := create(t, s)
	want, _, err := s.Append(t.Context(), c.ID, Request{}, adding(diagnosis.Event{Kind: diagnosis.Said, Text: "ü"}))
	require.NoError(t, err)
	got, err := s.Read(t.Context(), c.ID)
	require.NoError(t, err)
	assert.Equal(t, want.Bytes, got.Bytes)
	assert.Equal(t, len(`{"number":1,"kind":"opened","locale":"en"}`)+len(`{"number":2,"kind":"said","text":"ü"}`),
		got.Bytes)
}

// TestAppendReadsOn: whoever has seen a part of a log gets the whole of it back.
func TestAppendReadsOn(t *testing.T) { onBoth(t, checkAppendReadsOn) }

func checkAppendReadsOn(t *testing.T, place string) {
	s := opened(t, place)
	c := create(t, s)
	seen, _, err := s.ReadOnce(t.Context(), c.ID, Request{})
	require.NoError(t, err)
	for _, r := range []Request{{}, {Seen: seen}, {Seen: create(t, s)}, {Seen: Conversation{ID: c.ID}}} {
		for range 2 { // the second after what was added meanwhile
			var given []diagnosis.Event
			got, appended, err := s.Append(t.Context(), c.ID, r, func(now []diagnosis.Event) (diagnosis.Event, error) {
				given = now
				return answer("lamp", "on"), nil
			})
			require.NoError(t, err)
			require.True(t, appended)
			whole, err := s.Read(t.Context(), c.ID)
			require.NoError(t, err)
			assert.Equal(t, whole, got)
			assert.Equal(t, whole.Events[:len(whole.Events)-1], given)
		}
	}
	assert.Len(t, seen.Events, 1, "what was seen is as it was")
	err = s.Delete(t.Context(), c.ID)
	require.NoError(t, err)
	_, _, err = s.Append(t.Context(), c.ID, Request{Seen: seen}, adding(answer("lamp", "on")))
	assert.ErrorIs(t, err, ErrNotFound)
}
