package knowledge

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Finding is one thing told: a state or a number.
type Finding struct {
	ID       string
	State    string
	Number   float64
	IsNumber bool
}

// Check says what is wrong with a finding taken by itself: an unknown id, an impossible state or number. table is the
// code table that was told, or empty. field is "id", "state" or "number".
func (m *Model) Check(f Finding, table string) (field, problem string) {
	r, ok := m.byID[f.ID]
	if !ok || (r.kind != refObservation && r.kind != refSetup) {
		return "id", fmt.Sprintf("%q is no observation or setup fact", f.ID)
	}
	states, unit, low, high := m.allowed(r)
	if unit == "" {
		return m.checkState(f, states, table)
	}
	switch {
	case !f.IsNumber && slices.Contains(states, f.State):
		return "", "" // a setup fact that is roughly known
	case !f.IsNumber && len(states) > 0:
		return "state", fmt.Sprintf("%s is a number in %s or one of %s, not %q", f.ID, unit, strings.Join(states, ", "),
			f.State)
	case !f.IsNumber:
		return "state", fmt.Sprintf("%s is a number in %s, not a state", f.ID, unit)
	case math.IsNaN(f.Number) || f.Number < low || f.Number > high:
		return "number", fmt.Sprintf("%s must lie between %g and %g %s", f.ID, low, high, unit)
	}
	return "", ""
}

func (m *Model) checkState(f Finding, states []string, table string) (field, problem string) {
	if f.IsNumber {
		return "number", fmt.Sprintf("%s takes one of %s, not a number", f.ID, strings.Join(states, ", "))
	}
	if slices.Contains(states, m.translate(f, table)) {
		return "", ""
	}
	return "state", fmt.Sprintf("%s has no state %q; it has %s", f.ID, f.State, strings.Join(states, ", "))
}

// allowed is what may be told: states, or a unit and the numbers between which it must lie.
func (m *Model) allowed(r ref) (states []string, unit string, low, high float64) {
	if r.kind == refObservation {
		o := m.Observations[r.index]
		return o.States, o.Unit, o.Min, o.Max
	}
	s := m.Setup[r.index]
	for _, st := range s.States {
		states = append(states, st.ID)
	}
	return states, s.Unit, s.Min, s.Max
}

// translate turns a code of the named table into a state of the fault code observation. What the table does not hold,
// and every other observation's state, stays as it is.
func (m *Model) translate(f Finding, table string) string {
	if f.ID == m.Roles.Code || f.ID == m.Roles.EarlierCode {
		for _, t := range m.CodeTables {
			if state, ok := t.Codes[strings.ToLower(f.State)]; ok && t.ID == table {
				return state
			}
		}
	}
	return f.State
}

func stateOf(findings []Finding, id string) string {
	for _, f := range findings {
		if f.ID == id {
			return f.State
		}
	}
	return ""
}
