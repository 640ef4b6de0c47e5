package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/server/store/pgtest"
)

// onBoth runs a test on SQLite in a new folder and on a new PostgreSQL database.
func onBoth(t *testing.T, test func(t *testing.T, place string)) {
	t.Helper()
	t.Run("sqlite", func(t *testing.T) { test(t, t.TempDir()) })
	t.Run("postgres", func(t *testing.T) { test(t, pgtest.Database(t)) })
}

// opened opens a store that is checked and closed when the test ends.
func opened(t *testing.T, place string) *Store {
	t.Helper()
	s, err := Open(t.Context(), place)
	require.NoError(t, err)
	t.Cleanup(func() {
		assert.NoError(t, s.Check(context.Background()), "the store after the test")
		assert.NoError(t, s.Close())
	})
	return s
}

func create(t *testing.T, s *Store) Conversation {
	t.Helper()
	c, err := s.Create(t.Context(), "model-1", diagnosis.Event{Kind: diagnosis.Opened, Locale: "en"})
	require.NoError(t, err)
	return c
}

func answer(id, state string) diagnosis.Event {
	return diagnosis.Event{Kind: diagnosis.Answered, Observations: []diagnosis.Observation{{ID: id, State: state}}}
}

// adding is an update that adds the event whatever there is.
func adding(e diagnosis.Event) func([]diagnosis.Event) (diagnosis.Event, error) {
	return func([]diagnosis.Event) (diagnosis.Event, error) { return e, nil }
}

func TestCreateAndRead(t *testing.T) { onBoth(t, checkCreateAndRead) }

func checkCreateAndRead(t *testing.T, place string) {
	s := opened(t, place)
	s.now = func() time.Time { return time.Date(2031, 2, 3, 4, 5, 6, 7008, time.FixedZone("", 3600)) }
	made, err := s.Create(t.Context(), "model-1",
		diagnosis.Event{Kind: diagnosis.Opened, Locale: "de", Tools: []string{"multimeter"}})
	require.NoError(t, err)
	assert.Equal(t, time.Date(2031, 2, 3, 3, 5, 6, 7000, time.UTC), made.OpenedAt, "UTC, in whole microseconds")
	assert.GreaterOrEqual(t, len(made.ID), 26,
		"130 bits at five a character; the OWASP Session Management Cheat Sheet (2025) asks for 64")
	assert.NotEqual(t, made.ID, create(t, s).ID)

	got, err := s.Read(t.Context(), made.ID)
	require.NoError(t, err)
	assert.Equal(t, made, got)
	assert.Equal(t, []diagnosis.Event{{Number: 1, Kind: diagnosis.Opened, Locale: "de", Tools: []string{"multimeter"}}},
		got.Events)

	_, err = s.Create(t.Context(), "model-1", answer("lamp", "on"))
	assert.Error(t, err, "a conversation begins by being opened")
}

func TestEventsKeepEveryField(t *testing.T) { onBoth(t, checkEventsKeepEveryField) }

func checkEventsKeepEveryField(t *testing.T, place string) {
	s := opened(t, place)
	c := create(t, s)
	want := []diagnosis.Event{
		{Kind: diagnosis.Said, Text: "E-08 \x00 “12,4 V” <ü>", Unclear: []string{"12,4 V"},
			Readings: []diagnosis.Reading{
				{Observation: diagnosis.Observation{ID: "fault_code", State: "E-08"}, Words: "E-08"}}},
		{Kind: diagnosis.Answered, Skipped: []string{"deposit"}, Observations: []diagnosis.Observation{
			{ID: "age", Kind: diagnosis.NumberValue, Number: -1e-9}, {ID: "lamp", Kind: diagnosis.UnknownValue}}},
		{Kind: diagnosis.Retracted, ObservationID: "age"},
		{Kind: diagnosis.ToolsSet, Tools: []string{"multimeter"}},
	}
	for i, e := range want {
		_, _, err := s.Append(t.Context(), c.ID, Request{}, adding(e))
		require.NoError(t, err)
		want[i].Number = int64(i) + 2
	}
	got, err := s.Read(t.Context(), c.ID)
	require.NoError(t, err)
	assert.Equal(t, want, got.Events[1:])
}

func TestAppendSeesWhatThereIs(t *testing.T) { onBoth(t, checkAppendSeesWhatThereIs) }

func checkAppendSeesWhatThereIs(t *testing.T, place string) {
	s := opened(t, place)
	c := create(t, s)
	for n := 1; n <= 3; n++ {
		got, appended, err := s.Append(t.Context(), c.ID, Request{}, func(events []diagnosis.Event) (diagnosis.Event, error) {
			assert.Len(t, events, n)
			_ = append(events, answer("a stray append", "must not reach the log"))
			e := answer("lamp", fmt.Sprint(n))
			e.Number = 99 // the store numbers, not the caller
			return e, nil
		})
		require.NoError(t, err)
		assert.True(t, appended)
		assert.Equal(t, int64(n)+1, got.Events[n].Number)
		read, err := s.Read(t.Context(), c.ID)
		require.NoError(t, err)
		assert.Equal(t, got, read)
	}
}

func TestRepeatedKeyChangesNothing(t *testing.T) { onBoth(t, checkRepeatedKeyChangesNothing) }

func checkRepeatedKeyChangesNothing(t *testing.T, place string) {
	s := opened(t, place)
	c, other := create(t, s), create(t, s)
	first, appended, err := s.Append(t.Context(), c.ID, Request{Key: "key"}, adding(answer("lamp", "on")))
	require.NoError(t, err)
	require.True(t, appended)

	again, appended, err := s.Append(t.Context(), c.ID, Request{Key: "key"},
		func([]diagnosis.Event) (diagnosis.Event, error) {
			t.Error("update was called for a repeated key")
			return diagnosis.Event{}, nil
		})
	require.NoError(t, err)
	assert.False(t, appended)
	assert.Equal(t, first, again)

	looked, known, err := s.ReadOnce(t.Context(), c.ID, Request{Key: "key"})
	require.NoError(t, err)
	assert.True(t, known)
	assert.Equal(t, first, looked)
	for _, key := range []string{"", "another key"} {
		looked, known, err = s.ReadOnce(t.Context(), c.ID, Request{Key: key})
		require.NoError(t, err)
		assert.False(t, known)
		assert.Equal(t, first, looked)
	}
	_, known, err = s.ReadOnce(t.Context(), other.ID, Request{Key: "key"})
	require.NoError(t, err)
	assert.False(t, known)

	for _, id := range []string{other.ID, c.ID} {
		key := "key"
		if id == c.ID {
			key = "another key"
		}
		_, appended, err = s.Append(t.Context(), id, Request{Key: key}, adding(answer("lamp", "off")))
		require.NoError(t, err)
		assert.True(t, appended, "a key counts in its own conversation only")
	}
}

func TestRefusedUpdateKeepsNothing(t *testing.T) { onBoth(t, checkRefusedUpdateKeepsNothing) }

func checkRefusedUpdateKeepsNothing(t *testing.T, place string) {
	s := opened(t, place)
	c := create(t, s)
	refusal := errors.New("no")
	_, appended, err := s.Append(t.Context(), c.ID, Request{Key: "key"},
		func([]diagnosis.Event) (diagnosis.Event, error) { return answer("lamp", "on"), refusal })
	assert.ErrorIs(t, err, refusal)
	assert.False(t, appended)
	assert.Panics(t, func() {
		_, _, _ = s.Append(t.Context(), c.ID, Request{Key: "key"},
			func([]diagnosis.Event) (diagnosis.Event, error) { panic("no") })
	})
	cancelled, cancel := context.WithCancel(t.Context())
	_, _, err = s.Append(cancelled, c.ID, Request{Key: "key"}, func([]diagnosis.Event) (diagnosis.Event, error) {
		cancel()
		return answer("lamp", "on"), nil
	})
	assert.ErrorIs(t, err, context.Canceled)

	got, err := s.Read(t.Context(), c.ID)
	require.NoError(t, err)
	assert.Len(t, got.Events, 1)
	_, appended, err = s.Append(t.Context(), c.ID, Request{Key: "key"}, adding(answer("lamp", "on")))
	require.NoError(t, err)
	assert.True(t, appended, "a refused request has not used up its key")
}

func TestUnknownConversation(t *testing.T) { onBoth(t, checkUnknownConversation) }

func checkUnknownConversation(t *testing.T, place string) {
	s := opened(t, place)
	_, err := s.Read(t.Context(), "nobody")
	assert.ErrorIs(t, err, ErrNotFound)
	_, _, err = s.Append(t.Context(), "nobody", Request{}, adding(answer("lamp", "on")))
	assert.ErrorIs(t, err, ErrNotFound)
}

func TestConcurrentAppends(t *testing.T) { onBoth(t, checkConcurrentAppends) }

func checkConcurrentAppends(t *testing.T, place string) {
	// Two stores on one place stand for two servers on one database.
	stores := []*Store{opened(t, place), opened(t, place)}
	conversations := []Conversation{create(t, stores[0]), create(t, stores[1])}
	const writers, each = 8, 15
	var work sync.WaitGroup
	for w := range writers {
		work.Go(func() {
			for i := range each {
				s, c := stores[w%2], conversations[(w/2)%2]
				// Writers w and w+4 send the same request, as a client does that was cut off.
				key := fmt.Sprintf("%d-%d", w%4, i)
				got, _, err := s.Append(t.Context(), c.ID, Request{Key: key}, adding(answer(key, "on")))
				if assert.NoError(t, err) {
					assert.Equal(t, int64(len(got.Events)), got.Events[len(got.Events)-1].Number)
				}
			}
		})
	}
	work.Wait()
	for _, c := range conversations {
		got, err := stores[0].Read(t.Context(), c.ID)
		require.NoError(t, err)
		assert.Len(t, got.Events, 1+2*each, "each key once")
	}
}

func TestReopen(t *testing.T) { onBoth(t, checkReopen) }

func checkReopen(t *testing.T, place string) {
	if !IsURL(place) {
		place = filepath.Join(place, "a", "new folder")
	}
	first, err := Open(t.Context(), place)
	require.NoError(t, err)
	c := create(t, first)
	want, _, err := first.Append(t.Context(), c.ID, Request{Key: "key"}, adding(answer("lamp", "on")))
	require.NoError(t, err)
	require.NoError(t, first.Close())

	s := opened(t, place)
	got, err := s.Read(t.Context(), c.ID)
	require.NoError(t, err)
	assert.Equal(t, want, got)
	_, appended, err := s.Append(t.Context(), c.ID, Request{Key: "key"}, adding(answer("lamp", "on")))
	require.NoError(t, err)
	assert.False(t, appended, "keys outlive the program")
}

func TestFullConversation(t *testing.T) { onBoth(t, checkFullConversation) }

func checkFullConversation(t *testing.T, place string) {
	s := opened(t, place)
	c := create(t, s)
	require.NoError(t, s.write(t.Context(), func(_ context.Context, tx *sql.Tx) error {
		for n := int64(2); n <= MaxEvents; n++ {
			e := answer("lamp", "on")
			e.Number = n
			r := Request{}
			if n == 2 {
				r.Key = "key"
			}
			if _, err := insert(t.Context(), tx, c.ID, time.Now(), r, e); err != nil {
				return err
			}
		}
		return nil
	}))
	_, _, err := s.Append(t.Context(), c.ID, Request{}, adding(answer("lamp", "on")))
	assert.ErrorIs(t, err, ErrFull)
	got, appended, err := s.Append(t.Context(), c.ID, Request{Key: "key"}, adding(answer("lamp", "on")))
	require.NoError(t, err, "a repeated request is answered even so")
	assert.False(t, appended)
	assert.Len(t, got.Events, MaxEvents)
}

func TestCheckFindsDamage(t *testing.T) { onBoth(t, checkDamageIsFound) }

func checkDamageIsFound(t *testing.T, place string) {
	tests := []struct{ name, damage, want string }{
		{"gap", `delete from event where number = 2`, "event 3 stands at place 2"},
		{"no start", `delete from event where number = 1`, "event 2 stands at place 1"},
		{"number", `update event set body = replace(body, '"number":2', '"number":7')`,
			"event 2 of a conversation says that it is event 7"},
		{"opened twice", `update event set body = replace(body, 'answered', 'opened')`, `event 2 is "opened"`},
		{"not JSON", `update event set body = 'x' where number = 3`, "event 3 of a conversation"},
		{"empty", `delete from event`, "no such conversation"},
		{"strays", `delete from conversation`, "3 events belong to no conversation"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			at := t.TempDir()
			off := `pragma foreign_keys = off`
			if IsURL(place) {
				at, off = pgtest.Database(t), `set session_replication_role = replica`
			}
			s, err := Open(t.Context(), at)
			require.NoError(t, err)
			defer s.Close()
			c := create(t, s)
			for range 2 {
				_, _, err := s.Append(t.Context(), c.ID, Request{}, adding(answer("lamp", "on")))
				require.NoError(t, err)
			}
			require.NoError(t, s.Check(t.Context()))
			conn, err := s.writes.Conn(t.Context())
			require.NoError(t, err)
			for _, statement := range []string{off, test.damage} {
				_, err = conn.ExecContext(t.Context(), statement)
				require.NoError(t, err)
			}
			require.NoError(t, conn.Close())
			assert.ErrorContains(t, s.Check(t.Context()), test.want)
		})
	}
}

func TestFolderThatCannotBeWritten(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	occupied := filepath.Join(folder, "occupied")
	require.NoError(t, os.MkdirAll(filepath.Join(occupied, fileName), 0o700))
	garbage := filepath.Join(folder, "garbage")
	require.NoError(t, os.Mkdir(garbage, 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(garbage, fileName), []byte(strings.Repeat("not a database ", 100)),
		0o600))
	// Permissions are no obstacle to root, under whom tests may run, hence obstacles of other kinds.
	for _, folder := range []string{file, filepath.Join(file, "below"), occupied, garbage} {
		s, err := Open(t.Context(), folder)
		if assert.Error(t, err, folder) {
			assert.Contains(t, err.Error(), "data folder "+folder)
			assert.NotContains(t, err.Error(), "\n")
			assert.Nil(t, s)
		}
	}
}

func TestFolderNames(t *testing.T) {
	for _, name := range []string{"with space", "per%20cent", "question?mark#hash", "ümlaut&semi;colon"} {
		folder := filepath.Join(t.TempDir(), name)
		create(t, opened(t, folder))
		info, err := os.Stat(filepath.Join(folder, fileName))
		require.NoError(t, err, name)
		assert.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "nobody else may read it")
		entries, err := os.ReadDir(filepath.Dir(folder))
		require.NoError(t, err)
		assert.Len(t, entries, 1, "nothing is written elsewhere")
	}
}
