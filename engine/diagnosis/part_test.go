package diagnosis_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/diagnosis"
)

func taking(t *testing.T, cause string, told ...string) diagnosis.Taking {
	t.Helper()
	all, err := engine(t).TakesPart(request(told...))
	require.NoError(t, err)
	i := slices.IndexFunc(all, func(x diagnosis.Taking) bool { return x.ID == cause })
	require.GreaterOrEqual(t, i, 0)
	return all[i]
}

// A hose that draws air is about as common as ever beside a lost panel link, and has no part in it. Where the flame was
// lost and bubbles are in the line it has (common practice, no source).
func TestALostLinkIsNoMatterOfTheHose(t *testing.T) {
	lost := taking(t, "soft_line_air", "fault_code=E-07", "complaint=wont_start")
	require.Greater(t, lost.Active, 0.05)
	require.Less(t, lost.Followed, 0.001)
	require.Less(t, lost.Between, 0.01)
	starved := taking(t, "soft_line_air", "fault_code=E-08", "bubbles=many")
	require.Greater(t, starved.Followed, 0.2)
	wire := taking(t, "data_wire_fault", "fault_code=E-07", "complaint=wont_start")
	require.InDelta(t, wire.Active, wire.Followed, 0.02, "a suspect stays one")
	require.LessOrEqual(t, wire.Followed, 1.0)
}

// What takes part in a lost link adds up to about one failure, what is active to two.
func TestWhatTakesPartAddsUp(t *testing.T) {
	all, err := engine(t).TakesPart(request("fault_code=E-07", "complaint=wont_start"))
	require.NoError(t, err)
	followed, active := 0.0, 0.0
	for _, x := range all {
		followed, active = followed+x.Followed, active+x.Active
	}
	require.InDelta(t, 1, followed, 0.15)
	require.Greater(t, active, 1.8)
}

// What is shown, and where it stands, is that a cause takes part.
func TestWhatIsShownIsThatItTakesPart(t *testing.T) {
	told := []string{"fault_code=E-08", "bubbles=many"}
	a := assess(t, told...)
	for i, c := range a.Causes {
		require.Equal(t, taking(t, c.ID, told...).Between, c.Probability)
		require.True(t, i == 0 || a.Causes[i-1].Probability >= c.Probability)
	}
}
