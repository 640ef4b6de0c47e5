package physics

import "slices"

// AlarmRule is what a carbon monoxide alarm must do in the test of its standard at one concentration: sound no earlier
// than NotBefore and, where it must sound at all, no later than By. It is about alarms, not about people: it does not
// say what is safe or for how long, and an alarm that is silent proves nothing.
type AlarmRule struct {
	PartsPerMillion int
	NotBefore       Second
	MustSound       bool
	By              Second
}

var alarmRules = []AlarmRule{
	{30, 120 * Minute, false, 0},
	{50, 60 * Minute, true, 90 * Minute},
	{100, 10 * Minute, true, 40 * Minute},
	{300, 0, true, 3 * Minute},
}

// AlarmSource is where the rules stand. Part 2 is for vehicles and boats and uses the same set, from memory.
const AlarmSource = "EN 50291-1; EN 50291-2 for recreational vehicles and craft, the same set from memory"

// AlarmRules are the four test concentrations of EN 50291 and what an alarm must do at each, ascending. The standard
// says nothing in between, and neither does this package. Source: AlarmSource.
func AlarmRules() []AlarmRule { return slices.Clone(alarmRules) }
