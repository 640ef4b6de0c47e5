//go:build race

package judge_test

// The race detector makes table arithmetic ten times slower; it looks for races, not for digits.
func init() { cases = 1 }
