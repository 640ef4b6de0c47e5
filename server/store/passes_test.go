package store

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

func TestPasses(t *testing.T) { onBoth(t, checkPasses) }

func checkPasses(t *testing.T, place string) {
	s := opened(t, place)
	now := time.Now()
	s.now = func() time.Time { return now }
	one, two := create(t, s), create(t, s)
	code, expires, err := s.MakePass(t.Context(), one.ID, Spoken)
	require.NoError(t, err)
	assert.WithinDuration(t, now.Add(SpokenValid), expires, time.Millisecond)
	key, never, err := s.MakePass(t.Context(), two.ID, LookOn)
	require.NoError(t, err)
	assert.True(t, never.IsZero())
	by := func(pass string, kinds ...PassKind) string {
		id, err := s.FindByPass(t.Context(), pass, kinds...)
		if err != nil {
			require.ErrorIs(t, err, ErrNotFound, pass)
		}
		return id
	}
	assert.Equal(t, one.ID, by(strings.ToLower(code), Spoken, LookOn))
	assert.Equal(t, two.ID, by(key, Spoken, LookOn))
	assert.Empty(t, by(code, LookOn), "one kind is not the other")
	assert.Empty(t, by(key, Spoken))
	for _, bad := range []string{"", "0", "'; drop table pass", "333333333", strings.Repeat("3", 5000), "\x00", "é"} {
		assert.Empty(t, by(bad, Spoken, LookOn), bad)
	}
	var kept int
	require.NoError(t, s.reads.QueryRowContext(t.Context(), `select count(*) from pass where hash like $1`,
		"%"+key+"%").Scan(&kept))
	assert.Zero(t, kept, "only a digest is kept")

	now = now.Add(SpokenValid)
	assert.Empty(t, by(code, Spoken), "expired to the microsecond")
	assert.Equal(t, two.ID, by(key, LookOn))
	_, _, err = s.MakePass(t.Context(), one.ID, Spoken)
	require.NoError(t, err)
	require.NoError(t, s.reads.QueryRowContext(t.Context(), `select count(*) from pass where kind = 'spoken'`).Scan(&kept))
	assert.Equal(t, 1, kept, "expired ones go")
	for range maxPasses + 5 {
		now = now.Add(time.Second)
		_, _, err = s.MakePass(t.Context(), one.ID, Spoken)
		require.NoError(t, err)
	}
	require.NoError(t, s.reads.QueryRowContext(t.Context(), `select count(*) from pass where kind = 'spoken'`).Scan(&kept))
	assert.Equal(t, maxPasses, kept)
	require.NoError(t, s.RevokePass(t.Context(), two.ID, LookOn))
	assert.Empty(t, by(key, LookOn))
	last, _, err := s.MakePass(t.Context(), one.ID, Spoken)
	require.NoError(t, err)
	require.NoError(t, s.Delete(t.Context(), one.ID))
	assert.Empty(t, by(last, Spoken))
	_, _, err = s.MakePass(t.Context(), one.ID, Spoken)
	assert.ErrorIs(t, err, ErrNotFound)
	_, _, err = s.MakePass(t.Context(), "x'", Spoken)
	assert.ErrorIs(t, err, ErrNotFound)
}

func TestSince(t *testing.T) { onBoth(t, checkSince) }

func checkSince(t *testing.T, place string) {
	s := opened(t, place)
	begin := time.Now().Truncate(time.Microsecond)
	now := begin
	s.now = func() time.Time { return now }
	var ids []string
	for range 4 {
		ids = append(ids, create(t, s).ID)
		now = now.Add(time.Hour)
	}
	_, _, err := s.Append(t.Context(), ids[0], Request{}, adding(answer("smoke", "black")))
	require.NoError(t, err)
	order := func(from time.Time, limit int) (out []string, more bool) {
		found, more, err := s.Since(t.Context(), from, limit)
		require.NoError(t, err)
		for _, c := range found {
			require.Len(t, c.At, len(c.Events))
			whole, err := s.Read(t.Context(), c.ID)
			require.NoError(t, err)
			assert.Equal(t, whole, c)
			out = append(out, c.ID)
		}
		return out, more
	}
	all, more := order(begin, 10)
	assert.Equal(t, []string{ids[0], ids[3], ids[2], ids[1]}, all, "the latest first")
	assert.False(t, more)
	some, more := order(begin, 2)
	assert.Equal(t, all[:2], some)
	assert.True(t, more)
	late, _ := order(begin.Add(3*time.Hour), 10)
	assert.Equal(t, []string{ids[0], ids[3]}, late)
	found, _, err := s.Since(t.Context(), begin.Add(4*time.Hour), 10)
	require.NoError(t, err)
	assert.Equal(t, []time.Time{begin.UTC(), begin.Add(4 * time.Hour).UTC()}, found[0].At, "with the events before, too")
	assert.Equal(t, diagnosis.Answered, found[0].Events[1].Kind)
	none, more := order(now.Add(time.Second), 10)
	assert.Empty(t, none)
	assert.False(t, more)
}

func TestLookOnKeysAreBounded(t *testing.T) { onBoth(t, checkLookOnKeysAreBounded) }

func checkLookOnKeysAreBounded(t *testing.T, place string) {
	s := opened(t, place)
	c := create(t, s)
	first := ""
	for n := range maxLookOn {
		key, _, err := s.MakePass(t.Context(), c.ID, LookOn)
		require.NoError(t, err)
		if n == 0 {
			first = key
		}
	}
	_, _, err := s.MakePass(t.Context(), c.ID, LookOn)
	require.ErrorIs(t, err, ErrManyKeys)
	_, err = s.FindByPass(t.Context(), first, LookOn)
	require.NoError(t, err, "none that was given away has ended")
	require.NoError(t, s.RevokePass(t.Context(), c.ID, LookOn))
	_, _, err = s.MakePass(t.Context(), c.ID, LookOn)
	require.NoError(t, err)
}

func TestClosings(t *testing.T) { onBoth(t, checkClosings) }

func checkClosings(t *testing.T, place string) {
	s := opened(t, place)
	begin := time.Now().Truncate(time.Microsecond).UTC()
	now := begin
	s.now = func() time.Time { return now }
	closing := diagnosis.Event{Kind: diagnosis.Closed, Closing: &diagnosis.Closing{Outcome: diagnosis.Settled}}
	said := diagnosis.Event{Kind: diagnosis.Said, Text: `"kind":"closed"`}
	var want []Mark
	for i := range 5 {
		c := create(t, s)
		for _, e := range []diagnosis.Event{said, closing} {
			log, _, err := s.Append(t.Context(), c.ID, Request{}, adding(e))
			require.NoError(t, err)
			if e.Kind == diagnosis.Closed {
				want = append(want, Mark{At: now, ID: c.ID, Event: int64(len(log.Events))})
			}
		}
		if i != 2 { // the fourth at the same time as the third
			now = now.Add(time.Minute)
		}
	}
	if want[2].ID > want[3].ID {
		want[2], want[3] = want[3], want[2]
	}
	var got []Mark
	at := Mark{At: begin.Add(-time.Hour)}
	for more := true; more; {
		var some []Mark
		var err error
		some, more, err = s.Closings(t.Context(), at, 1)
		require.NoError(t, err)
		require.Len(t, some, 1)
		at = some[0]
		got = append(got, at)
	}
	assert.Equal(t, want, got, "each once, the earliest first")
	rest, more, err := s.Closings(t.Context(), want[4], 10)
	require.NoError(t, err)
	assert.Empty(t, rest)
	assert.False(t, more)
	all, more, err := s.Closings(t.Context(), Mark{}, 5)
	require.NoError(t, err)
	assert.Equal(t, want, all)
	assert.False(t, more)
}

func TestRekey(t *testing.T) { onBoth(t, checkRekey) }

// A conversation goes on whole under its new key; the old one and all passes lead nowhere, and the same change again
// changes nothing.
func checkRekey(t *testing.T, place string) {
	s := opened(t, place)
	c, err := s.CreateOnce(t.Context(), Request{Key: "opening", Digest: "d"}, "model",
		diagnosis.Event{Kind: diagnosis.Opened})
	require.NoError(t, err)
	c, _, err = s.Append(t.Context(), c.ID, Request{Key: "said"}, adding(answer("lamp", "on")))
	require.NoError(t, err)
	bystander := create(t, s)
	pass, _, err := s.MakePass(t.Context(), c.ID, LookOn)
	require.NoError(t, err)
	moved := NewKey(c.ID, "a secret of the client's")
	require.NotEqual(t, c.ID, moved)
	assert.Equal(t, moved, NewKey(c.ID, "a secret of the client's"))
	assert.NotEqual(t, moved, NewKey(c.ID, "another"))

	assert.ErrorIs(t, s.ChangeKey(t.Context(), "NOSUCHCONVERSATION", moved), ErrNotFound)
	assert.ErrorIs(t, s.ChangeKey(t.Context(), c.ID, "not well formed"), ErrNotFound)
	for range 2 {
		require.NoError(t, s.ChangeKey(t.Context(), c.ID, moved))
	}
	_, err = s.Read(t.Context(), c.ID)
	assert.ErrorIs(t, err, ErrNotFound)
	now, err := s.Read(t.Context(), moved)
	require.NoError(t, err)
	want := c
	want.ID = moved
	assert.Equal(t, want, now)
	_, err = s.FindByPass(t.Context(), pass, LookOn)
	assert.ErrorIs(t, err, ErrNotFound)
	log, again, err := s.Append(t.Context(), moved, Request{Key: "said"}, adding(answer("lamp", "off")))
	require.NoError(t, err)
	assert.False(t, again, "what was asked before is known under the new key as well")
	assert.Len(t, log.Events, 2)
	opened, err := s.CreateOnce(t.Context(), Request{Key: "opening", Digest: "d"}, "model",
		diagnosis.Event{Kind: diagnosis.Opened})
	require.NoError(t, err)
	assert.NotEqual(t, moved, opened.ID, "the key of its opening leads to it no longer")
	kept, err := s.Read(t.Context(), bystander.ID)
	require.NoError(t, err)
	assert.Equal(t, bystander, kept)
	require.NoError(t, s.Check(t.Context()))
}
