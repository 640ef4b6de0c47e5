package api

import (
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// TestListedRulesAreTheOnesThatHold tells what each rule's first trigger asks for: the danger then stands, with the
// same words.
func TestListedRulesAreTheOnesThatHold(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	r := startWith(t, m)
	for _, locale := range []string{"en", "de"} {
		listed, err := r.ListDangers(r.ctx, &lightoffv1.ListDangersRequest{Locale: locale})
		require.NoError(t, err)
		require.Len(t, listed.GetRules(), len(m.Dangers))
		for _, rule := range listed.GetRules() {
			request := &lightoffv1.AssessRequest{Locale: locale}
			for _, c := range rule.GetAny()[0].GetAll() {
				request.Observations = append(request.Observations, meeting(t, c))
			}
			answer, err := r.Assess(r.ctx, request)
			require.NoError(t, err, rule.GetDanger().GetId())
			same := func(d *lightoffv1.Danger) bool { return d.GetId() == rule.GetDanger().GetId() }
			i := slices.IndexFunc(answer.GetDangers(), same)
			require.GreaterOrEqual(t, i, 0, rule.GetDanger().GetId())
			stands := answer.GetDangers()[i]
			assert.Equal(t, stands.GetText(), rule.GetDanger().GetText())
			assert.Equal(t, stands.GetTitle(), rule.GetDanger().GetTitle())
			assert.Equal(t, stands.GetSeverity(), rule.GetDanger().GetSeverity())
			assert.Equal(t, stands.GetCallEmergency(), rule.GetDanger().GetCallEmergency())
		}
		for _, a := range listed.GetAlarms() {
			assert.NotEmpty(t, a.GetQuestion())
			for _, group := range a.GetGroups() {
				assert.NotEmpty(t, group)
				_, err := regexp.Compile(group)
				assert.NoError(t, err)
			}
		}
		assert.NotEmpty(t, listed.GetGrammar().GetNegate())
	}
}

// meeting is an answer that meets a condition.
func meeting(t *testing.T, c *lightoffv1.DangerCondition) *lightoffv1.Observation {
	t.Helper()
	switch {
	case c.Below != nil:
		return number(c.GetObservationId(), c.GetBelow()-1)
	case c.Above != nil:
		return number(c.GetObservationId(), c.GetAbove())
	}
	require.NotEmpty(t, c.GetStates())
	require.False(t, c.GetNot(), "the first trigger names what it wants")
	return state(c.GetObservationId(), c.GetStates()[0])
}
