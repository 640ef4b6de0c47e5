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
	_, _, err = s.Append(f.Context(), c.ID, "key", adding(answer("lamp", "on")))
	require.NoError(f, err)
	_, _, err = s.MakeToken(f.Context(), "yard", Desk, time.Hour)
	require.NoError(f, err)
	var backup bytes.Buffer
	require.NoError(f, s.Backup(f.Context(), &backup))
	f.Add(backup.Bytes())
	f.Add([]byte(`{"lightoff":1}` + "\n" + `{"event":{"number":1}}` + "\n"))
	f.Add([]byte(`{"lightoff":2}`))
	f.Add([]byte(`{"lightoff":1,"foot":{"lines":0}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		into, err := Open(t.Context(), t.TempDir())
		require.NoError(t, err)
		defer into.Close()
		if into.Restore(t.Context(), bytes.NewReader(text)) == nil {
			require.NoError(t, into.Check(t.Context()))
			return
		}
		ids, err := into.ids(t.Context())
		require.NoError(t, err)
		require.Empty(t, ids)
	})
}
