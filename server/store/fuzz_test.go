package store

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

// FuzzRestore feeds the reader of backups: it takes a whole one or leaves nothing behind.
func FuzzRestore(f *testing.F) {
	s, err := Open(f.Context(), f.TempDir())
	require.NoError(f, err)
	f.Cleanup(func() { s.Close() })
	c, err := s.Create(f.Context(), "model-1", diagnosis.Event{Kind: diagnosis.Opened})
	require.NoError(f, err)
	_, _, err = s.Append(f.Context(), c.ID, Request{Key: "key"}, adding(answer("lamp", "on")))
	require.NoError(f, err)
	_, _, err = s.MakeToken(f.Context(), "yard", Desk, time.Hour)
	require.NoError(f, err)
	_, err = s.Promote(f.Context(), "aa", "learned: []", "report", "Ines")
	require.NoError(f, err)
	var backup bytes.Buffer
	require.NoError(f, s.Backup(f.Context(), &backup))
	f.Add(backup.Bytes())
	f.Add([]byte(`{"lightoff":1}` + "\n" + `{"event":{"number":1}}` + "\n"))
	f.Add([]byte(`{"lightoff":3}`))
	f.Add([]byte(`{"lightoff":2}` + "\n" + `{"promotion":{"number":1,"version":"aa","by":"","at":1}}` + "\n"))
	f.Add([]byte(`{"lightoff":1,"foot":{"lines":0}}`))
	into, err := Open(f.Context(), f.TempDir())
	require.NoError(f, err)
	f.Cleanup(func() { into.Close() })
	f.Fuzz(func(t *testing.T, text []byte) {
		err := into.Restore(t.Context(), bytes.NewReader(text))
		ids, listErr := into.ids(t.Context())
		require.NoError(t, listErr)
		if err != nil {
			require.Empty(t, ids, "%v", err)
			return
		}
		require.NoError(t, into.Check(t.Context()))
		for _, table := range []string{"event", "conversation", "token", "promotion", "model"} {
			_, err := into.writes.ExecContext(t.Context(), "delete from "+table)
			require.NoError(t, err)
		}
	})
}
