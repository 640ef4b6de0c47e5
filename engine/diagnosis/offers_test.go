package diagnosis_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

// said is a text of which nothing was believed, with what it likely means.
func said(number int64, danger bool, alternatives ...string) diagnosis.Event {
	var all []diagnosis.Reading
	for _, s := range alternatives {
		all = append(all, diagnosis.Reading{Observation: observation(s), Words: "so and so"})
	}
	o := diagnosis.Offer{Reading: all[0], Alternatives: all[1:], Danger: danger}
	return diagnosis.Event{Number: number, Kind: diagnosis.Said, Text: "so and so", Offers: []diagnosis.Offer{o}}
}

func answered(number int64, told ...string) diagnosis.Event {
	return diagnosis.Event{Number: number, Kind: diagnosis.Answered, Observations: request(told...).Observations}
}

func waiting(events ...diagnosis.Event) []string {
	var ids []string
	for _, p := range diagnosis.Fold(events).Offers {
		ids = append(ids, p.ID)
	}
	return ids
}

// What is likely meant is no evidence; it waits until it is answered, skipped or dismissed.
func TestAnOfferWaitsUntilItIsSettled(t *testing.T) {
	bubbles := said(1, false, "bubbles=many", "bubbles=few")
	volts := said(2, false, "rest_voltage=12.4", "panel_voltage=12.4")
	require.Empty(t, diagnosis.Fold([]diagnosis.Event{bubbles, volts}).Request().Observations)
	require.Equal(t, []string{"1.0", "2.0"}, waiting(bubbles, volts))
	require.Equal(t, []string{"2.0"}, waiting(bubbles, volts, answered(3, "bubbles=none")))
	require.Equal(t, []string{"1.0"}, waiting(bubbles, volts, answered(3, "panel_voltage=12.4")))
	require.Equal(t, []string{"1.0", "2.0"}, waiting(bubbles, volts, answered(3, "panel_voltage=12.1")))
	require.Equal(t, []string{"2.0"}, waiting(bubbles, volts,
		diagnosis.Event{Number: 3, Kind: diagnosis.Answered, Skipped: []string{"bubbles"}}))
	require.Equal(t, []string{"1.0"}, waiting(bubbles, volts,
		diagnosis.Event{Number: 3, Kind: diagnosis.Answered, Dismissed: []string{"2.0", "9.9"}}))
	require.Empty(t, waiting(answered(1, "bubbles=many"), said(2, false, "bubbles=many")), "it stands already")
}

// What may be a danger is asked before all else, even where it was denied before.
func TestAFearedDangerIsAskedAtOnce(t *testing.T) {
	events := []diagnosis.Event{
		answered(1, "people_unwell=no", "flames_or_smoke_inside=no", "smell_exhaust_inside=no", "smell_fuel=no",
			"smell_gas=no", "smell_burning=no",
			"co_alarm=silent_tested", "fault_code=E-08"),
	}
	next := func(events ...diagnosis.Event) []string {
		g, err := engine(t).Guide(diagnosis.Fold(events))
		require.NoError(t, err)
		return g.Next
	}
	feared := append(events, said(2, true, "smell_exhaust_inside=yes"))
	assert.Equal(t, []string{"smell_exhaust_inside"}, next(feared...))
	assert.NotEqual(t, []string{"smell_exhaust_inside"}, next(append(feared, answered(3, "smell_exhaust_inside=no"))...))
	assert.NotEqual(t, []string{"bubbles"}, next(append(events, said(2, false, "bubbles=many"))...),
		"only dangers come first")
}
