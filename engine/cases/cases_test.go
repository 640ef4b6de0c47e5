package cases_test

import (
	"testing"
	"testing/fstest"

	"lightoff/engine/cases"
	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"

	"github.com/stretchr/testify/require"
)

func folder(files map[string]string) fstest.MapFS {
	out := fstest.MapFS{}
	for name, text := range files {
		out[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return out
}

const (
	ordinary = "fuse: intact\nrest_voltage: 12.7\nfuel_in_exhaust: \"no\"\n"
	flat     = `
- id: flat
  story: Left the lights on.
  causes: [battery_low]
  told: {fault_code: E-01, panel_voltage: 11.2}
  finds: {rest_voltage: 11.4}
  tools: [multimeter]
`
)

func TestBadCasesAreRefused(t *testing.T) {
	for name, tt := range map[string]struct {
		files map[string]string
		want  string
	}{
		"none":          {map[string]string{"ordinary.yaml": ordinary}, "no cases"},
		"no ordinary":   {map[string]string{"a.yaml": flat}, "no ordinary.yaml"},
		"unknown field": {map[string]string{"ordinary.yaml": ordinary, "a.yaml": flat + "  colour: red\n"}, "a.yaml"},
		"twice": {map[string]string{"ordinary.yaml": ordinary, "a.yaml": flat, "b.yaml": flat},
			`b.yaml: case "flat" has no id of its own`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := cases.Read(folder(tt.files))
			require.ErrorContains(t, err, tt.want)
		})
	}
}

func TestCheckNamesWhatTheModelLacks(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	suite, err := cases.Read(folder(map[string]string{"ordinary.yaml": ordinary, "a.yaml": `
- id: bad
  story: Nothing fits.
  causes: [gremlins]
  told: {fault_code: E-77, rest_voltage: 12}
  finds: {rest_voltage: 11, fuse: melted}
  warned: [boredom]
  advised: [crystal_ball]
`}))
	require.NoError(t, err)
	problems := suite.Check(m, diagnosis.New(m))
	require.Len(t, problems, 6)
	for i, want := range []string{"gremlins is no cause", "boredom is no danger", "crystal_ball is neither", "told:",
		"both told and found", "finds:"} {
		require.Contains(t, problems[i], want)
	}
}

// A caller answers what is asked from what there is to find, then from what is ordinary, then not at all.
func TestRunAsksAndAnswers(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	e := diagnosis.New(m)
	suite, err := cases.Read(folder(map[string]string{"ordinary.yaml": ordinary, "kept/a.yaml": flat}))
	require.NoError(t, err)
	require.True(t, suite.Cases[0].Kept)
	r, err := suite.Run(m, e, &suite.Cases[0])
	require.NoError(t, err)
	require.True(t, r.First())
	require.Len(t, r.Places, 1+len(r.Asked))
	require.LessOrEqual(t, len(r.Asked), cases.MostChecks)
	require.Empty(t, r.Unsafe)
	s := cases.Summarise([]*cases.Result{r}, func(*cases.Result) bool { return true })
	require.Equal(t, cases.Summary{Cases: 1, First: 1, FirstOfThree: 1, Led: 1}, s)
}

// What a case demands and does not get is told.
func TestRunTellsWhatIsAmiss(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	suite, err := cases.Read(folder(map[string]string{"ordinary.yaml": ordinary,
		"a.yaml": flat + "  warned: [fire_inside]\n  advised: [burner_look]\n"}))
	require.NoError(t, err)
	r, err := suite.Run(m, diagnosis.New(m), &suite.Cases[0])
	require.NoError(t, err)
	require.Equal(t, []string{"no warning of fire_inside"}, r.Unsafe)
	require.Len(t, r.Amiss, 1)
}
