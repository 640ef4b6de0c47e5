package store

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/server/store/pgtest"
)

// inUse is the version that a store says is in use.
func inUse(t *testing.T, s *Store) string {
	t.Helper()
	p, err := s.Current(t.Context())
	require.NoError(t, err)
	return p.Version
}

func TestPromoteAndRollBack(t *testing.T) { onBoth(t, checkPromotions) }

func checkPromotions(t *testing.T, place string) {
	s, other := opened(t, place), opened(t, place)
	at := time.Date(2031, 2, 3, 4, 5, 6, 7000, time.UTC)
	s.now = func() time.Time { return at }
	none, err := s.Current(t.Context())
	require.NoError(t, err)
	assert.Zero(t, none)
	_, err = s.Rollback(t.Context(), "Ines")
	assert.ErrorIs(t, err, ErrNoPromotion)

	first, err := s.Promote(t.Context(), "aa", "learned: [a]\n", "what moved: “ü”", "Ines")
	require.NoError(t, err)
	assert.Equal(t, Promotion{Number: 1, Version: "aa", By: "Ines", At: at}, first)
	_, err = s.Promote(t.Context(), "aa", "learned: [a]\n", "", "Ines")
	assert.ErrorIs(t, err, ErrInUse)
	_, err = s.Promote(t.Context(), "bb", "learned: [b]\n", "", "")
	require.NoError(t, err)
	assert.Equal(t, "bb", inUse(t, other), "other servers see it")
	kept, err := other.Model(t.Context(), "aa")
	require.NoError(t, err)
	assert.Equal(t, Model{Version: "aa", Overlay: "learned: [a]\n", Report: "what moved: “ü”", Added: at}, kept)

	back, err := other.Rollback(t.Context(), "Tomke")
	require.NoError(t, err)
	assert.Equal(t, []any{"aa", int64(2), "Tomke"}, []any{back.Version, back.Undoes, back.By})
	_, err = s.Promote(t.Context(), "bb", "learned: [b]\n", "", "")
	require.NoError(t, err, "what was taken back may be promoted again")
	for _, want := range []string{"aa", ""} {
		_, err = s.Rollback(t.Context(), "")
		require.NoError(t, err)
		assert.Equal(t, want, inUse(t, s), "back and back again, never forth")
	}
	_, err = s.Rollback(t.Context(), "")
	assert.ErrorIs(t, err, ErrNoPromotion)
	past, err := s.Promotions(t.Context())
	require.NoError(t, err)
	var versions []string
	for _, p := range past {
		versions = append(versions, p.Version)
	}
	assert.Equal(t, []string{"aa", "bb", "aa", "bb", "aa", ""}, versions, "nothing is ever forgotten")
	models, err := s.Models(t.Context())
	require.NoError(t, err)
	assert.Len(t, models, 2)
}

func TestModelsAreNeverChanged(t *testing.T) { onBoth(t, checkModelsStay) }

func checkModelsStay(t *testing.T, place string) {
	s := opened(t, place)
	require.NoError(t, s.AddModel(t.Context(), "aa", "learned: [a]\n", ""))
	assert.Empty(t, inUse(t, s), "kept is not in use")
	require.NoError(t, s.AddModel(t.Context(), "aa", "learned: [a]\n", "a report that came later"))
	require.NoError(t, s.AddModel(t.Context(), "aa", "learned: [a]\n", "another report"))
	assert.ErrorIs(t, s.AddModel(t.Context(), "aa", "learned: [b]\n", ""), errOther)
	_, err := s.Promote(t.Context(), "aa", "learned: [b]\n", "", "")
	assert.ErrorIs(t, err, errOther)
	kept, err := s.Model(t.Context(), "aa")
	require.NoError(t, err)
	assert.Equal(t, []string{"learned: [a]\n", "a report that came later"}, []string{kept.Overlay, kept.Report})

	for _, wrong := range []struct{ version, overlay, report, by string }{
		{"", "x", "", ""}, {"a b", "x", "", ""}, {"ü", "x", "", ""}, {strings.Repeat("a", 101), "x", "", ""},
		{"cc\x00", "x", "", ""},
		{"cc", "x\x00", "", ""}, {"cc", "x", "\xff", ""}, {"cc", strings.Repeat("x", MaxOverlay+1), "", ""},
		{"cc", "x", "", "In\nes"}, {"cc", "x", "", strings.Repeat("x", 61)},
	} {
		_, err := s.Promote(t.Context(), wrong.version, wrong.overlay, wrong.report, wrong.by)
		assert.Error(t, err, "%.40q", wrong)
	}
	for _, version := range []string{"cc", "", "nobody\x00", strings.Repeat("a", 101)} {
		_, err := s.Model(t.Context(), version)
		assert.ErrorIs(t, err, ErrNoModel, "%.20q: what was refused is not kept", version)
	}

	// What people said goes; models stay.
	_, err = s.Promote(t.Context(), "aa", "learned: [a]\n", "", "")
	require.NoError(t, err)
	c := create(t, s)
	create(t, s)
	require.NoError(t, s.Delete(t.Context(), c.ID))
	s.now = func() time.Time { return time.Now().AddDate(9, 0, 0) }
	_, err = s.DeleteOlder(t.Context(), time.Hour)
	require.NoError(t, err)
	assert.Equal(t, "aa", inUse(t, s))
	_, err = s.Model(t.Context(), "aa")
	assert.NoError(t, err)
}

func TestPromotionsAtTheSameTime(t *testing.T) { onBoth(t, checkPromotionsAtOnce) }

func checkPromotionsAtOnce(t *testing.T, place string) {
	stores := []*Store{opened(t, place), opened(t, place)}
	var work sync.WaitGroup
	const each = 4
	for i, s := range stores {
		work.Go(func() {
			for n := range each {
				name := fmt.Sprintf("%d-%d", i, n)
				_, err := s.Promote(context.Background(), name, "learned: ["+name+"]", "", "")
				assert.NoError(t, err)
			}
		})
	}
	work.Wait()
	past, err := stores[0].Promotions(t.Context())
	require.NoError(t, err)
	assert.Len(t, past, 2*each)
}

func TestModelsMoveWithBackups(t *testing.T) { onBoth(t, checkModelsMove) }

func checkModelsMove(t *testing.T, place string) {
	s := opened(t, place)
	for _, version := range []string{"aa", "bb"} {
		_, err := s.Promote(t.Context(), version, "learned: [<"+version+">]\n", "report\n"+version, "Ines")
		require.NoError(t, err)
	}
	_, err := s.Rollback(t.Context(), "Tomke")
	require.NoError(t, err)
	require.NoError(t, s.AddModel(t.Context(), "cc", "never in use", ""))
	var backup bytes.Buffer
	require.NoError(t, s.Backup(t.Context(), &backup))
	assert.ErrorIs(t, s.Restore(t.Context(), bytes.NewReader(backup.Bytes())), errNotEmpty, "models alone are something")
	places := []string{t.TempDir()}
	if IsURL(place) {
		places = append(places, pgtest.Database(t))
	}
	for _, to := range places {
		restored := opened(t, to)
		require.NoError(t, restored.Restore(t.Context(), bytes.NewReader(backup.Bytes())))
		want, err := s.Promotions(t.Context())
		require.NoError(t, err)
		got, err := restored.Promotions(t.Context())
		require.NoError(t, err)
		assert.Equal(t, want, got)
		for _, version := range []string{"aa", "bb", "cc"} {
			want, err := s.Model(t.Context(), version)
			require.NoError(t, err)
			got, err := restored.Model(t.Context(), version)
			require.NoError(t, err)
			assert.Equal(t, want, got)
		}
		var again bytes.Buffer
		require.NoError(t, restored.Backup(t.Context(), &again))
		assert.Equal(t, backup.String(), again.String())
		_, err = restored.Rollback(t.Context(), "")
		require.NoError(t, err, "and goes on from there")
		assert.Empty(t, inUse(t, restored))
	}
	empty := opened(t, t.TempDir())
	body := `{"lightoff":2}` + "\n" + `{"promotion":{"number":1,"version":"aa","by":"","at":1}}` + "\n"
	assert.ErrorIs(t, empty.Restore(t.Context(), strings.NewReader(body+`{"foot":{"lines":2,"sha256":"`+digest(body)+`"}}`+"\n")), errNotWhole)
	assert.Empty(t, inUse(t, empty), "a promotion of what is not there leaves nothing behind")
	earlier := opened(t, t.TempDir())
	require.NoError(t, earlier.Restore(t.Context(), strings.NewReader(`{"lightoff":1}`+"\n"+
		`{"foot":{"lines":1,"sha256":"`+digest(`{"lightoff":1}`+"\n")+`"}}`+"\n")), "a backup from before there were models")
}

func TestCheckFindsDamagedPromotions(t *testing.T) {
	for damage, want := range map[string]string{
		`delete from promotion where number = 2`:              "promotion 3 stands at place 2",
		`delete from model where version = 'bb'`:              "promotion 2 is of version bb, which is not kept",
		`update promotion set version = '' where number = 3`:  "promotion 3 does not follow",
		`update promotion set undoes = 1 where number = 3`:    "promotion 3 does not follow",
		`update promotion set version = 'aa' where undoes= 0`: "",
	} {
		s, err := Open(t.Context(), t.TempDir())
		require.NoError(t, err)
		for _, version := range []string{"aa", "bb"} {
			_, err := s.Promote(t.Context(), version, version, "", "")
			require.NoError(t, err)
		}
		_, err = s.Rollback(t.Context(), "")
		require.NoError(t, err)
		require.NoError(t, s.Check(t.Context()))
		_, err = s.writes.ExecContext(t.Context(), damage)
		require.NoError(t, err)
		if want == "" {
			assert.NoError(t, s.Check(t.Context()), "that could have been so")
		} else {
			assert.ErrorContains(t, s.Check(t.Context()), want)
		}
		require.NoError(t, s.Close())
	}
}
