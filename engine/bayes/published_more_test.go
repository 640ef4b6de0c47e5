package bayes_test

import (
	"math"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

const trainStrike = `network train_strike {}
variable Strike { type discrete [ 2 ] { true, false }; }
variable Oversleep { type discrete [ 2 ] { true, false }; }
variable MartinLate { type discrete [ 2 ] { true, false }; }
variable NormanLate { type discrete [ 2 ] { true, false }; }
probability ( Strike ) { table 0.1, 0.9; }
probability ( Oversleep ) { table 0.4, 0.6; }
probability ( MartinLate | Oversleep, Strike ) { (true, true) 0.8, 0.2; (false, true) 0.6, 0.4; default 0.5, 0.5; }
probability ( NormanLate | Strike ) { (true) 0.8, 0.2; (false) 0.1, 0.9; }
`

const fluFever = `network flu_fever {}
variable Flu { type discrete [ 2 ] { true, false }; }
variable Cold { type discrete [ 2 ] { true, false }; }
variable PF { type discrete [ 2 ] { true, false }; }
probability ( Flu ) { table 0.0001, 0.9999; }
probability ( Cold ) { table 0.01, 0.99; }
probability ( PF | Flu, Cold ) {
  (false, false) 0.01, 0.99;
  (false, true) 0.1, 0.9;
  (true, false) 0.9, 0.1;
  (true, true) 0.95, 0.05;
}
`

const umbrella = `network umbrella {}
variable R1 { type discrete [ 2 ] { true, false }; }
variable R2 { type discrete [ 2 ] { true, false }; }
variable U1 { type discrete [ 2 ] { true, false }; }
variable U2 { type discrete [ 2 ] { true, false }; }
probability ( R1 ) { table 0.5, 0.5; }
probability ( R2 | R1 ) { (true) 0.7, 0.3; (false) 0.3, 0.7; }
probability ( U1 | R1 ) { (true) 0.9, 0.1; (false) 0.2, 0.8; }
probability ( U2 | R2 ) { (true) 0.9, 0.1; (false) 0.2, 0.8; }
`

// The guest chose door 1; the host, who knows, opens one of the other two that hides a goat.
const montyHall = `network monty_hall {}
variable Prize { type discrete [ 3 ] { 1, 2, 3 }; }
variable Opened { type discrete [ 3 ] { 1, 2, 3 }; }
probability ( Prize ) { table 0.3333333333333333, 0.3333333333333333, 0.3333333333333333; }
probability ( Opened | Prize ) { (1) 0, 0.5, 0.5; (2) 0, 0, 1; (3) 0, 1, 0; }
`

const cookies = `network cookies {}
variable Bowl { type discrete [ 2 ] { 1, 2 }; }
variable Cookie { type discrete [ 2 ] { plain, chocolate }; }
probability ( Bowl ) { table 0.5, 0.5; }
probability ( Cookie | Bowl ) { (1) 0.75, 0.25; (2) 0.5, 0.5; }
`

// More printed answers. Where print and arithmetic differ by more than the last digit, the note says how.
func TestMorePublishedPosteriors(t *testing.T) {
	const (
		fenton = "Queen Mary Univ. of London tutorial (Fenton), explaining away"
		aima   = "Russell & Norvig, AIMA 3rd ed., sect. 15.2"
	)
	tests := []struct {
		network, what, given string
		want, within         float64
		source               string
	}{
		{trainStrike, "NormanLate=true", "", 0.17, 1e-12, fenton},
		{trainStrike, "MartinLate=true", "", 0.518, 1e-12, "exact; " + fenton + " keeps 0.51 from a simpler network"},
		{trainStrike, "Strike=true", "MartinLate=true", 0.13, 5e-3, fenton},
		{trainStrike, "Oversleep=true", "MartinLate=true", 0.41, 5e-3, fenton},
		{trainStrike, "Strike=true", "MartinLate=true NormanLate=true", 0.54, 8e-3, fenton + ", cut, exact 0.547"},
		{trainStrike, "Oversleep=true", "MartinLate=true NormanLate=true", 0.44, 5e-3, fenton},
		{fluFever, "Flu=true", "PF=true", 0.00819, 5e-6,
			"Baclawski & Niu 2005, sect. 14.2, without its rounding of the terms, which gives 0.009"},
		{umbrella, "R1=true", "U1=true", 0.818, 5e-4, aima},
		{umbrella, "R2=true", "U1=true", 0.627, 5e-4, aima},
		{umbrella, "R2=true", "U1=true U2=true", 0.883, 5e-4, aima},
		{umbrella, "R1=true", "U1=true U2=true", 0.883, 5e-4, aima + "; from memory"},
		{montyHall, "Prize=2", "Opened=3", 0.6667, 5e-5, "Selvin 1975"},
		{montyHall, "Prize=1", "Opened=3", 0.3333, 5e-5, "Selvin 1975"},
		{cookies, "Bowl=1", "Cookie=plain", 0.6, 1e-12, "Downey, Think Bayes"},
	}
	for _, tt := range tests {
		t.Run(tt.what+"|"+tt.given, func(t *testing.T) {
			require.InDelta(t, tt.want, probability(t, mustRead(t, tt.network), tt.what, tt.given), tt.within, tt.source)
		})
	}
}

// The umbrella's most probable weather, found by hand: 0.5·0.9·0.7·0.9 for two days of rain.
func TestMostProbableWeather(t *testing.T) {
	n := mustRead(t, umbrella)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	observe(t, n, q, "U1=true U2=true")
	got, err := q.MostProbable(1)
	require.NoError(t, err)
	require.Equal(t, []int{0, 0, 0, 0}, got[0].States)
	require.InDelta(t, math.Log(0.5*0.9*0.7*0.9), got[0].LogP, tolerance)
}

// The chances of a disease after a positive test.
func TestPublishedTestResults(t *testing.T) {
	tests := []struct {
		source                              string
		prevalence, sensitivity, falseAlarm float64
		want, within                        float64
	}{
		{"mammography in the form of Eddy 1982; answer from memory", 0.01, 0.8, 0.096, 0.078, 5e-4},
		{"textbook biopsy", 0.0001, 0.9, 0.001, 0.083, 5e-4},
		{"National Cancer Institute, ages 50 to 59", 0.0238, 0.85, 0.05, 0.29302, 5e-6},
		{"a question page at 3.36 %, whose answer takes the specificity for false alarms; exact", 0.0336, 0.85, 0.05, 0.3715,
			5e-5},
		{"AIMA 2nd ed. ch. 13, meningitis; P(stiff neck) = 1/20", 1.0 / 50000, 0.5, (1.0/20 - 0.5/50000) / (1 - 1.0/50000),
			0.0002, 1e-12},
		{"AIMA 3rd ed. sect. 13.5, meningitis; P(stiff neck) = 0.01; from memory", 1.0 / 50000, 0.7,
			(0.01 - 0.7/50000) / (1 - 1.0/50000), 0.0014, 1e-12},
	}
	for _, tt := range tests {
		t.Run(tt.source, func(t *testing.T) {
			m := &model{}
			ill, positive := m.add(2), m.add(2)
			m.table(ill, nil, []float64{1 - tt.prevalence, tt.prevalence})
			m.table(positive, []bayes.VarID{ill}, []float64{1 - tt.falseAlarm, tt.falseAlarm, 1 - tt.sensitivity,
				tt.sensitivity})
			q := compiled(t, m).NewQuery()
			q.Observe(positive, 1)
			p, err := q.Marginal(ill)
			require.NoError(t, err)
			require.InDelta(t, tt.want, p[1], tt.within)
		})
	}
}

// Two variables with a printed joint table, rows y: their entropies and mutual information in bits.
func TestPublishedEntropies(t *testing.T) {
	const (
		cover    = "Cover & Thomas, example 2.2.1 (table found, answers from memory)"
		lntwww   = "LNTwww (TU Munich), exercise 3.7 (table found, answers from memory)"
		lntwwwUV = "LNTwww (TU Munich), exercise 3.7, independent variables"
	)
	const e = 1.0 / 8
	tests := []struct {
		source                   string
		columns                  int
		table                    []float64
		hx, hy, hxy, information float64
		within                   float64
	}{
		{cover, 4, []float64{e, e / 2, e / 4, e / 4, e / 2, e, e / 4, e / 4, e / 2, e / 2, e / 2, e / 2, 2 * e, 0, 0, 0},
			1.75, 2, 3.375, 0.375, 1e-12},
		{lntwww, 2, []float64{0.18, 0.16, 0.02, 0.64}, 0.722, 0.925, 1.393, 0.254, 6e-4},
		{lntwwwUV, 2, []float64{0.068, 0.132, 0.272, 0.528}, 0.925, 0.722, 1.647, 0, 6e-4},
	}
	for _, tt := range tests {
		t.Run(tt.source, func(t *testing.T) {
			m := &model{}
			rows := len(tt.table) / tt.columns
			y, x := m.add(rows), m.add(tt.columns)
			var prior, given []float64
			for i := range rows {
				row, total := tt.table[i*tt.columns:(i+1)*tt.columns], 0.0
				for _, p := range row {
					total += p
				}
				prior = append(prior, total)
				given = append(given, scaled(row, 1/total)...)
			}
			m.table(y, nil, prior)
			m.table(x, []bayes.VarID{y}, given)
			q := compiled(t, m).NewQuery()
			p, err := q.Marginals(nil)
			require.NoError(t, err)
			joint, err := q.Joint([]bayes.VarID{y, x})
			require.NoError(t, err)
			info, err := q.MutualInformation([]bayes.VarID{x}, []bayes.VarID{y})
			require.NoError(t, err)
			values, err := q.ValueOfInformation(x, []bayes.VarID{y}, nil)
			require.NoError(t, err)
			require.InDeltaSlice(t, tt.table, joint, tolerance)
			require.InDelta(t, tt.hx, entropy(p[x]), tt.within, "H(X)")
			require.InDelta(t, tt.hy, entropy(p[y]), tt.within, "H(Y)")
			require.InDelta(t, tt.hxy, entropy(joint), tt.within, "H(X,Y)")
			require.InDelta(t, tt.information, info[0][0], tt.within, "I(X;Y)")
			require.InDelta(t, tt.hxy-tt.hy, values[0].ExpectedEntropy, 2*tt.within, "H(X|Y)")
		})
	}
}
