package store

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
	"lightoff/server/store/pgtest"
)

// BenchmarkAppend measures acknowledged appends a second, and beside them what the disk does at the same time: writes
// of 4 KiB, each followed by fsync. Appends go to conversations of their own, as callers' do, for growing logs take
// longer.
func BenchmarkAppend(b *testing.B) {
	for _, place := range []struct{ name, at string }{{"sqlite", b.TempDir()}, {"postgres", pgtest.Database(b)}} {
		s, err := Open(b.Context(), place.at)
		require.NoError(b, err)
		b.Cleanup(func() { s.Close() })
		for _, callers := range []struct {
			name string
			each int // for each processor
		}{{"alone", 0}, {"many", 32}} {
			b.Run(place.name+"/"+callers.name, func(b *testing.B) {
				append := func() {
					c, err := s.Create(b.Context(), "m", diagnosis.Event{Kind: diagnosis.Opened})
					if err == nil {
						_, _, err = s.Append(b.Context(), c.ID, Request{}, adding(answer("lamp", "on")))
					}
					if err != nil {
						b.Error(err)
					}
				}
				b.ResetTimer()
				if callers.each == 0 {
					for range b.N {
						append()
					}
				} else {
					b.SetParallelism(callers.each)
					b.RunParallel(func(pb *testing.PB) {
						for pb.Next() {
							append()
						}
					})
				}
				commits := 2 * float64(b.N) / b.Elapsed().Seconds()
				b.StopTimer()
				disk := syncs(b)
				b.ReportMetric(commits, "commits/s")
				b.ReportMetric(disk, "fsyncs/s")
				b.ReportMetric(commits/disk, "commits/fsync")
			})
		}
	}
}

// syncs is how often a second the disk takes 4 KiB for good.
func syncs(b *testing.B) float64 {
	f, err := os.Create(filepath.Join(b.TempDir(), "file"))
	require.NoError(b, err)
	defer f.Close()
	page := make([]byte, 4096)
	start := time.Now()
	const n = 200
	for range n {
		_, err := f.Write(page)
		require.NoError(b, err)
		require.NoError(b, f.Sync())
	}
	return n / time.Since(start).Seconds()
}
