package store

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

// filled is a closed store with so many conversations, and their ids.
func filled(t *testing.T, folder string, n int) (ids []string) {
	t.Helper()
	s, err := Open(t.Context(), folder)
	require.NoError(t, err)
	for range n {
		c := create(t, s)
		for _, state := range []string{"on", "off", "on"} {
			_, _, err := s.Append(t.Context(), c.ID, Request{}, adding(answer("lamp", state)))
			require.NoError(t, err)
		}
		ids = append(ids, c.ID)
	}
	_, err = s.writes.Exec(`pragma wal_checkpoint(truncate)`)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	return ids
}

// saved restores what a backup of a damaged store holds, and returns the ids.
func saved(t *testing.T, s *Store) (ids []string, lost *LostError) {
	t.Helper()
	var out bytes.Buffer
	err := s.Backup(t.Context(), &out)
	if err != nil {
		require.ErrorAs(t, err, &lost)
	}
	into := opened(t, t.TempDir())
	require.NoError(t, into.Restore(t.Context(), &out))
	ids, err = into.ids(t.Context())
	require.NoError(t, err)
	return ids, lost
}

// TestDamagedPages overwrites pages in the middle of the file: the server does not start on it, and what is whole is
// saved.
func TestDamagedPages(t *testing.T) {
	folder := t.TempDir()
	ids := filled(t, folder, 200)
	path := filepath.Join(folder, fileName)
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	const page = 4096
	var leaves [][]byte // pages with events on them
	for p := range slices.Chunk(file, page) {
		if bytes.Contains(p, []byte(`"kind":"answered"`)) {
			leaves = append(leaves, p)
		}
	}
	require.Greater(t, len(leaves), 10)
	for _, p := range leaves[len(leaves)/2:][:2] {
		copy(p, bytes.Repeat([]byte{0xa5}, page))
	}
	require.NoError(t, os.WriteFile(path, file, 0o600))

	_, err = Open(t.Context(), folder)
	require.ErrorIs(t, err, ErrDamaged)
	assert.Contains(t, err.Error(), "data folder "+folder)
	assert.Contains(t, err.Error(), `"backup" saves`, "it names the way out")
	s, err := OpenAnyway(t.Context(), folder)
	require.NoError(t, err)
	defer s.Close()
	assert.Error(t, s.Check(t.Context()))
	kept, lost := saved(t, s)
	require.NotNil(t, lost)
	assert.Less(t, len(kept), len(ids))
	assert.Greater(t, len(kept), len(ids)/2, "two of %d pages are damaged: %v", len(leaves), lost)
	assert.Subset(t, ids, kept)
}

// TestDamagedTexts damages what only the program can read.
func TestDamagedTexts(t *testing.T) {
	folder := t.TempDir()
	ids := filled(t, folder, 5)
	s, err := Open(t.Context(), folder)
	require.NoError(t, err)
	defer s.Close()
	for i, damage := range []string{`update event set body = '{' where number = 2 and conversation_id = $1`,
		`delete from event where number = 3 and conversation_id = $1`} {
		_, err := s.writes.Exec(damage, ids[i])
		require.NoError(t, err)
	}
	kept, lost := saved(t, s)
	require.NotNil(t, lost)
	assert.Len(t, lost.Lost, 2)
	assert.ElementsMatch(t, ids[2:], kept)
}

// TestNoDatabase: a file that is something else altogether says so, and what was cut off is found out.
func TestNoDatabase(t *testing.T) {
	folder := t.TempDir()
	filled(t, folder, 50)
	path := filepath.Join(folder, fileName)
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	for name, content := range map[string][]byte{
		"cut off": file[:len(file)/2], "head": append(bytes.Repeat([]byte{7}, 100), file[100:]...),
	} {
		require.NoError(t, os.WriteFile(path, content, 0o600))
		_, err := Open(t.Context(), folder)
		assert.ErrorIs(t, err, ErrDamaged, name)
	}
}

func TestReadyWrites(t *testing.T) { onBoth(t, checkReadyWrites) }

func checkReadyWrites(t *testing.T, place string) {
	s := opened(t, place)
	require.NoError(t, s.Ready(t.Context()))
	require.NoError(t, s.Ready(t.Context()))
	var rows int
	require.NoError(t, s.reads.QueryRow(`select count(*) from probe`).Scan(&rows))
	assert.Equal(t, 1, rows)
	var out bytes.Buffer
	require.NoError(t, s.Backup(t.Context(), &out))
	assert.NotContains(t, out.String(), "probe")
	assert.False(t, errors.Is(s.Ready(t.Context()), ErrUnavailable))
	_, err := s.Create(t.Context(), "m", diagnosis.Event{Kind: diagnosis.Opened})
	require.NoError(t, err)
}

// TestFlippedBytes flips bytes anywhere in the file, as a failing disk does. Either the server does not start and says
// so, or what it serves is what was told, but for a letter of a text, which nothing in the file vouches for. Whatever a
// backup saves of it can be restored.
func TestFlippedBytes(t *testing.T) {
	folder := t.TempDir()
	ids := filled(t, folder, 60)
	path := filepath.Join(folder, fileName)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	noticed := 0
	for seed := range uint64(24) {
		random := rand.New(rand.NewPCG(seed, 19))
		file := slices.Clone(whole)
		for range 1 << (seed % 7) { // from one byte to 64
			file[random.IntN(len(file))] ^= byte(1 + random.IntN(255))
		}
		require.NoError(t, os.WriteFile(path, file, 0o600))
		s, err := Open(t.Context(), folder)
		if err != nil {
			require.ErrorIs(t, err, ErrDamaged, "seed %d", seed)
			noticed++
		} else {
			require.NoError(t, s.Close())
		}
		s, err = OpenAnyway(t.Context(), folder)
		if err != nil { // nothing of it can be read
			require.ErrorIs(t, err, ErrDamaged, "seed %d", seed)
			continue
		}
		kept, lost := saved(t, s)
		require.NoError(t, s.Close())
		if lost == nil {
			assert.Len(t, kept, len(ids), "seed %d: what is not named is there", seed)
		}
	}
	t.Logf("%d of 24 are not started on", noticed)
	assert.Greater(t, noticed, 4)
}

// TestDamagedLog cuts off and damages SQLite's log of changes that are not in the file yet: what comes before the
// damage counts, and the conversation goes on from there.
func TestDamagedLog(t *testing.T) {
	for name, damage := range map[string]func([]byte) []byte{
		"cut off": func(log []byte) []byte { return log[:len(log)*2/3] },
		"changed": func(log []byte) []byte { log[len(log)*2/3] ^= 0xff; return log },
		"gone":    func([]byte) []byte { return nil },
	} {
		t.Run(name, func(t *testing.T) {
			folder, copied := t.TempDir(), t.TempDir()
			id := filled(t, folder, 1)[0]
			s, err := Open(t.Context(), folder)
			require.NoError(t, err)
			for range 30 {
				_, _, err := s.Append(t.Context(), id, Request{}, adding(answer("lamp", "off")))
				require.NoError(t, err)
			}
			for _, ending := range []string{"", "-wal"} { // as they lie there when power fails
				text, err := os.ReadFile(filepath.Join(folder, fileName+ending))
				require.NoError(t, err)
				if ending != "" {
					text = damage(text)
				}
				require.NoError(t, os.WriteFile(filepath.Join(copied, fileName+ending), text, 0o600))
			}
			require.NoError(t, s.Close())
			s, err = Open(t.Context(), copied)
			require.NoError(t, err)
			defer s.Close()
			require.NoError(t, s.Check(t.Context()))
			before, err := s.Read(t.Context(), id)
			require.NoError(t, err)
			assert.GreaterOrEqual(t, len(before.Events), 4)
			assert.Less(t, len(before.Events), 34)
			after, _, err := s.Append(t.Context(), id, Request{}, adding(answer("lamp", "on")))
			require.NoError(t, err)
			assert.Len(t, after.Events, len(before.Events)+1)
		})
	}
}
