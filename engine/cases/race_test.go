//go:build race

package cases_test

// The race detector makes table arithmetic ten times slower; it looks for races, not for digits.
func init() { raceDetector = true }
