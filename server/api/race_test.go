//go:build race

package api

// Under the race detector thinking takes ten times as long; without it all conversations are cut.
func init() { signalCuts = 2 }
