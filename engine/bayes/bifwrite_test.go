package bayes_test

import (
	"bytes"
	"errors"
	"fmt"
	"log"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

func written(t require.TestingT, n *bayes.Network) string {
	var b bytes.Buffer
	require.NoError(t, bayes.WriteBIF(&b, n))
	return b.String()
}

// sameNetwork compares names, parents and, to the last bit, full tables.
func sameNetwork(t require.TestingT, want, got *bayes.Network) {
	require.Equal(t, want.NumVariables(), got.NumVariables())
	for v := range bayes.VarID(want.NumVariables()) {
		require.Equal(t, want.Variable(v), got.Variable(v))
		require.Equal(t, append([]bayes.VarID{}, want.Parents(v)...), append([]bayes.VarID{}, got.Parents(v)...))
		if table := want.FullTable(v); table != nil {
			require.Equal(t, table, got.FullTable(v))
		}
	}
}

// rewritten reads back what was written, and checks that this changes nothing any more.
func rewritten(t require.TestingT, n *bayes.Network) *bayes.Network {
	text := written(t, n)
	again, err := bayes.ReadBIF(strings.NewReader(text))
	require.NoError(t, err)
	sameNetwork(t, n, again)
	require.Equal(t, text, written(t, again))
	return again
}

func TestWriteBIFGivesTheText(t *testing.T) {
	var b bayes.Builder
	rain := b.Add("rain today", "no", "yes")
	wet := b.Add("wet", "n/a", "<5", "a,b")
	b.Table(rain, nil, []float64{0.75, 0.25})
	b.Table(wet, []bayes.VarID{rain}, []float64{1, 0, 0, 0.125, 0.5, 0.375})
	n, err := b.Build()
	require.NoError(t, err)
	require.Equal(t, `network bayes {}
variable "rain today" { type discrete [ 2 ] { no, yes }; }
variable wet { type discrete [ 3 ] { n/a, <5, "a,b" }; }
probability ( "rain today" ) { table 0.75, 0.25; }
probability ( wet | "rain today" ) {
  (no) 1, 0, 0;
  (yes) 0.125, 0.5, 0.375;
}
`, written(t, n))
	rewritten(t, n)
}

// Whatever the kinds of distribution, what comes back answers alike.
func TestWrittenNetworksAnswerAlike(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 13))
		m := randomModel(r, 2+r.IntN(7))
		n, err := m.b.Build()
		require.NoError(t, err)
		tree, err := bayes.Compile(rewritten(t, n))
		require.NoError(t, err)
		q := tree.NewQuery()
		e := randomEvidence(r, m, q, nil)
		if !t.Run("", func(t *testing.T) { m.agree(t, q, e) }) {
			t.Fatalf("seed %d", seed)
		}
	}
}

func TestWriteBIFKeepsStandardNetworks(t *testing.T) {
	for _, name := range referenceNetworks {
		t.Run(name, func(t *testing.T) { rewritten(t, readNetwork(t, name)) })
	}
}

func TestWriteBIFQuotesStrangeNames(t *testing.T) {
	var b bayes.Builder
	for i, name := range []string{"//", "/*", "a//b", "a/*b", "{", "line\nbreak", "property", "|", " ", "table", "\xff",
		"ü", "\v"} {
		v := b.Add(name, name, "", "default", fmt.Sprint("s", i))
		b.Table(v, nil, []float64{0.1, 0.2, 0.3, 0.4})
		if i > 0 {
			child := b.Add(name+" child", "x", "y")
			b.Table(child, []bayes.VarID{v}, []float64{0, 1, 1, 0, 0.5, 0.5, 1e-300, 1})
		}
	}
	n, err := b.Build()
	require.NoError(t, err)
	rewritten(t, n)
}

// failingWriter takes some bytes and then no more.
type failingWriter struct{ room int }

var errFull = errors.New("full")

func (w *failingWriter) Write(p []byte) (int, error) {
	if len(p) > w.room {
		return w.room, errFull
	}
	w.room -= len(p)
	return len(p), nil
}

func TestWriteBIFReportsWhatItCannotWrite(t *testing.T) {
	n := mustRead(t, asia)
	for room := range len(written(t, n)) {
		require.ErrorIs(t, bayes.WriteBIF(&failingWriter{room}, n), errFull)
	}
	var b bayes.Builder
	b.Table(b.Add(`5" pipe`, "no", "yes"), nil, []float64{0.5, 0.5})
	n, err := b.Build()
	require.NoError(t, err)
	var text bytes.Buffer
	require.EqualError(t, bayes.WriteBIF(&text, n),
		`the name "5\" pipe" contains a quote, which the format cannot express`)

	n, err = manyCauses(20).Build()
	require.NoError(t, err)
	require.EqualError(t, bayes.WriteBIF(&text, n),
		`the full table of the noisy family of "effect" has more than 1048576 entries`)
	require.Zero(t, text.Len())
}

// manyCauses is a noisy-OR of independent coins.
func manyCauses(count int) *bayes.Builder {
	var b bayes.Builder
	var causes []bayes.VarID
	p := make([]float64, count)
	for i := range count {
		causes = append(causes, coin(&b, fmt.Sprint("v", i)))
		p[i] = 0.5
	}
	b.NoisyOr(b.Add("effect", "no", "yes"), causes, p, 0)
	return &b
}

// Whatever can be read can be written, and reading and writing that is a fixed point.
func FuzzWriteBIF(f *testing.F) {
	for _, text := range []string{burglary, sprinkler, asia, student,
		`variable "/*" { type discrete [3] { "", "a b", c }; } probability ( "/*" ) { table 0.1 0.2 0.7; }`} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if n, err := bayes.ReadBIF(strings.NewReader(text)); err == nil {
			rewritten(t, n)
		}
	})
}

func ExampleWriteBIF() {
	var b bayes.Builder
	pump := b.Add("pump", "ok", "stuck")
	flame := b.Add("flame", "steady", "none")
	b.Table(pump, nil, []float64{0.95, 0.05})
	b.NoisyOr(flame, []bayes.VarID{pump}, []float64{0.75}, 0.5)
	n, err := b.Build()
	if err != nil {
		log.Fatal(err)
	}
	if err := bayes.WriteBIF(os.Stdout, n); err != nil {
		log.Fatal(err)
	}
	// Output:
	// network bayes {}
	// variable pump { type discrete [ 2 ] { ok, stuck }; }
	// variable flame { type discrete [ 2 ] { steady, none }; }
	// probability ( pump ) { table 0.95, 0.05; }
	// probability ( flame | pump ) {
	//   (ok) 0.5, 0.5;
	//   (stuck) 0.125, 0.875;
	// }
}
