//go:build race

package heater_test

// Under the race detector plain elimination takes ten times as long; without it all are looked at.
func init() { drawnSets = 6 }
