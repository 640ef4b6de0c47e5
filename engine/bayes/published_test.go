package bayes_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

const burglary = `network burglary {}
variable Burglary { type discrete [ 2 ] { true, false }; }
variable Earthquake { type discrete [ 2 ] { true, false }; }
variable Alarm { type discrete [ 2 ] { true, false }; }
variable JohnCalls { type discrete [ 2 ] { true, false }; }
variable MaryCalls { type discrete [ 2 ] { true, false }; }
probability ( Burglary ) { table 0.001, 0.999; }
probability ( Earthquake ) { table 0.002, 0.998; }
probability ( Alarm | Burglary, Earthquake ) {
  (true, true) 0.95, 0.05;
  (true, false) 0.94, 0.06;
  (false, true) 0.29, 0.71;
  (false, false) 0.001, 0.999;
}
probability ( JohnCalls | Alarm ) { (true) 0.9, 0.1; (false) 0.05, 0.95; }
probability ( MaryCalls | Alarm ) { (true) 0.7, 0.3; (false) 0.01, 0.99; }
`

const sprinkler = `network sprinkler {}
variable Cloudy { type discrete [ 2 ] { true, false }; }
variable Sprinkler { type discrete [ 2 ] { true, false }; }
variable Rain { type discrete [ 2 ] { true, false }; }
variable WetGrass { type discrete [ 2 ] { true, false }; }
probability ( Cloudy ) { table 0.5, 0.5; }
probability ( Sprinkler | Cloudy ) { (true) 0.1, 0.9; (false) 0.5, 0.5; }
probability ( Rain | Cloudy ) { (true) 0.8, 0.2; (false) 0.2, 0.8; }
probability ( WetGrass | Sprinkler, Rain ) {
  (true, true) 0.99, 0.01;
  (true, false) 0.9, 0.1;
  (false, true) 0.9, 0.1;
  (false, false) 0, 1;
}
`

const asia = `network asia {}
variable asia { type discrete [ 2 ] { true, false }; }
variable smoke { type discrete [ 2 ] { true, false }; }
variable tub { type discrete [ 2 ] { true, false }; }
variable lung { type discrete [ 2 ] { true, false }; }
variable bronc { type discrete [ 2 ] { true, false }; }
variable either { type discrete [ 2 ] { true, false }; }
variable xray { type discrete [ 2 ] { true, false }; }
variable dysp { type discrete [ 2 ] { true, false }; }
probability ( asia ) { table 0.01, 0.99; }
probability ( smoke ) { table 0.5, 0.5; }
probability ( tub | asia ) { (true) 0.05, 0.95; (false) 0.01, 0.99; }
probability ( lung | smoke ) { (true) 0.1, 0.9; (false) 0.01, 0.99; }
probability ( bronc | smoke ) { (true) 0.6, 0.4; (false) 0.3, 0.7; }
probability ( either | tub, lung ) { default 1, 0; (false, false) 0, 1; }
probability ( xray | either ) { (true) 0.98, 0.02; (false) 0.05, 0.95; }
probability ( dysp | either, bronc ) {
  (true, true) 0.9, 0.1;
  (true, false) 0.7, 0.3;
  (false, true) 0.8, 0.2;
  (false, false) 0.1, 0.9;
}
`

const student = `network student {}
variable D { type discrete [ 2 ] { d0, d1 }; }
variable I { type discrete [ 2 ] { i0, i1 }; }
variable G { type discrete [ 3 ] { g1, g2, g3 }; }
variable S { type discrete [ 2 ] { s0, s1 }; }
variable L { type discrete [ 2 ] { l0, l1 }; }
probability ( D ) { table 0.6, 0.4; }
probability ( I ) { table 0.7, 0.3; }
probability ( G | I, D ) {
  (i0, d0) 0.3, 0.4, 0.3;
  (i0, d1) 0.05, 0.25, 0.7;
  (i1, d0) 0.9, 0.08, 0.02;
  (i1, d1) 0.5, 0.3, 0.2;
}
probability ( S | I ) { (i0) 0.95, 0.05; (i1) 0.2, 0.8; }
probability ( L | G ) { (g1) 0.1, 0.9; (g2) 0.4, 0.6; (g3) 0.99, 0.01; }
`

func mustRead(t testing.TB, text string) *bayes.Network {
	n, err := bayes.ReadBIF(strings.NewReader(text))
	require.NoError(t, err)
	return n
}

// observe enters findings written as "A=true B=false".
func observe(t testing.TB, n *bayes.Network, q *bayes.Query, findings string) {
	for _, f := range strings.Fields(findings) {
		name, state, _ := strings.Cut(f, "=")
		v, ok := n.Lookup(name)
		require.True(t, ok, name)
		s := slices.Index(n.Variable(v).States, state)
		require.GreaterOrEqual(t, s, 0, f)
		q.Observe(v, s)
	}
}

// probability is P(all of what | all of given), as a ratio of two evidence probabilities.
func probability(t testing.TB, n *bayes.Network, what, given string) float64 {
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	observe(t, n, q, given)
	before, err := q.LogEvidence()
	require.NoError(t, err)
	observe(t, n, q, what)
	after, err := q.LogEvidence()
	require.NoError(t, err)
	return math.Exp(after - before)
}

// The textbooks' answers, to the digits they print; within is half a unit of the last digit, or more where the note
// says why. "From memory" marks figures whose page was not at hand.
func TestPublishedPosteriors(t *testing.T) {
	const (
		aimaFigure    = "Russell & Norvig, AIMA 3rd ed., fig. 14.2 and 14.4"
		murphy        = "Murphy, A brief introduction to graphical models (1998)"
		murphyFourth  = murphy + ", three digits; the fourth from memory"
		chestClinic   = "Lauritzen & Spiegelhalter 1988, JRSS B 50:157, as printed by gRain (Højsgaard 2012)"
		chestMemory   = "Lauritzen & Spiegelhalter 1988, JRSS B 50:157; from memory"
		koller        = "Koller & Friedman 2009, sect. 3.2.1 and fig. 3.4, two digits found"
		kollerMemory  = "Koller & Friedman 2009, sect. 3.2.1; from memory"
		kollerExample = "Koller & Friedman 2009, chain rule example; from memory"
	)
	tests := []struct {
		network, what, given string
		want, within         float64
		source               string
	}{
		{burglary, "Burglary=true", "JohnCalls=true MaryCalls=true", 0.284, 5e-4, aimaFigure},
		{burglary, "JohnCalls=true MaryCalls=true Alarm=true Burglary=false Earthquake=false", "", 0.000628, 5e-7,
			"AIMA sect. 14.2; from memory"},
		{burglary, "Burglary=true", "Alarm=true", 0.376, 3e-3, "AIMA 1st ed. and slides, a rounding by hand of 0.3736"},
		{burglary, "Burglary=true", "Alarm=true Earthquake=true", 0.003, 5e-4, "AIMA slides"},
		{burglary, "Alarm=true", "JohnCalls=true Earthquake=false", 0.03, 5e-3, "AIMA 1st ed.; from memory"},
		{burglary, "Burglary=true", "JohnCalls=true", 0.016, 5e-4, "AIMA 1st ed.; from memory"},
		{burglary, "JohnCalls=true", "Burglary=true", 0.849017, 5e-7, "student laboratory page on AIMA's network"},
		{burglary, "MaryCalls=true", "Burglary=true", 0.6586138, 5e-8, "student laboratory page on AIMA's network"},
		{burglary, "JohnCalls=true MaryCalls=true", "Burglary=true", 0.5922, 5e-5, "Vidakovic 2011, p. 94"},
		{sprinkler, "WetGrass=true", "", 0.6471, 5e-5, murphy},
		{sprinkler, "Sprinkler=true", "WetGrass=true", 0.4298, 5e-5, murphyFourth},
		{sprinkler, "Rain=true", "WetGrass=true", 0.7079, 5e-5, murphyFourth},
		{sprinkler, "Sprinkler=true", "WetGrass=true Rain=true", 0.1945, 5e-5, murphyFourth},
		{asia, "lung=true", "", 0.055, 5e-4, chestClinic},
		{asia, "bronc=true", "", 0.45, 5e-3, chestClinic},
		{asia, "tub=true", "", 0.0104, 5e-5, chestMemory},
		{asia, "lung=true bronc=true", "", 0.0315, 5e-5, chestClinic},
		{asia, "lung=true bronc=false", "", 0.0235, 5e-5, chestClinic},
		{asia, "lung=false bronc=true", "", 0.4185, 5e-5, chestClinic},
		{asia, "asia=true dysp=true", "", 0.004501375, 5e-10, chestClinic},
		{asia, "lung=true", "asia=true dysp=true", 0.09952515, 5e-9, chestClinic},
		{asia, "bronc=true", "asia=true dysp=true", 0.8114021, 5e-8, chestClinic},
		{asia, "tub=true", "asia=true dysp=true", 0.08775096, 5e-9, chestMemory},
		{asia, "lung=true", "asia=true dysp=true smoke=true", 0.1455191, 5e-8, chestClinic},
		{asia, "bronc=true", "asia=true dysp=true smoke=true", 0.8672582, 5e-8, chestClinic},
		{student, "L=l1", "", 0.502, 5e-4, koller},
		{student, "L=l1", "I=i0", 0.389, 5e-4, koller},
		{student, "L=l1", "I=i0 D=d0", 0.513, 5e-4, koller},
		{student, "I=i1", "G=g3", 0.079, 5e-4, koller},
		{student, "D=d1", "G=g3", 0.629, 5e-4, koller},
		{student, "I=i1", "G=g3 D=d1", 0.11, 5e-3, koller},
		{student, "I=i1", "L=l0", 0.14, 5e-3, kollerMemory},
		{student, "I=i1", "L=l0 G=g3", 0.079, 5e-4, kollerMemory},
		{student, "I=i1", "G=g3 S=s1", 0.578, 5e-4, koller},
		{student, "D=d1", "G=g3 S=s1", 0.76, 5e-3, koller},
		{student, "I=i1", "G=g2", 0.175, 5e-4, koller},
		{student, "I=i1", "G=g2 D=d1", 0.34, 5e-3, koller},
		{student, "I=i1 D=d0 G=g2 S=s1 L=l0", "", 0.004608, 5e-7, kollerExample},
	}
	for _, tt := range tests {
		t.Run(tt.what+"|"+tt.given, func(t *testing.T) {
			got := probability(t, mustRead(t, tt.network), tt.what, tt.given)
			require.InDelta(t, tt.want, got, tt.within, tt.source)
		})
	}
}

// The fever table of AIMA sect. 14.3: inhibitions 0.6, 0.2 and 0.1 for cold, flu and malaria.
func TestPublishedNoisyOr(t *testing.T) {
	want := []float64{0, 0.9, 0.8, 0.98, 0.4, 0.94, 0.88, 0.988}
	var b bayes.Builder
	var causes []bayes.VarID
	for _, name := range []string{"cold", "flu", "malaria"} {
		v := b.Add(name, "no", "yes")
		b.Table(v, nil, []float64{0.5, 0.5})
		causes = append(causes, v)
	}
	fever := b.Add("fever", "no", "yes")
	b.NoisyOr(fever, causes, []float64{0.4, 0.8, 0.9}, 0)
	n, err := b.Build()
	require.NoError(t, err)
	tree, err := bayes.Compile(n)
	require.NoError(t, err)
	q := tree.NewQuery()
	for i, p := range want {
		for k, c := range causes {
			q.Observe(c, i>>(2-k)&1)
		}
		got, err := q.Marginal(fever)
		require.NoError(t, err)
		require.InDelta(t, p, got[1], 1e-15)
	}
}
