package bayes_test

import (
	"compress/gzip"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

// referenceTolerance leaves room for two engines' roundings over some hundred tables.
const referenceTolerance = 1e-9

// carriedFolder holds the networks that every copy of the source has. Its README names where each comes from.
var carriedFolder = filepath.Join("..", "..", "testdata", "networks")

// outsideFolder is where the larger networks lie, with posteriors computed by an independent engine. A test of one of
// them is skipped where the variable is not set.
func outsideFolder() string { return os.Getenv("LIGHTOFF_NETWORKS") }

// folderOf is where a network lies.
func folderOf(t testing.TB, name string) string {
	if slices.Contains(carriedNetworks, name) {
		return carriedFolder
	}
	return outside(t, name)
}

// outside is the folder of the larger networks, or skips the test.
func outside(t testing.TB, name string) string {
	folder := outsideFolder()
	if folder == "" {
		t.Skipf("no LIGHTOFF_NETWORKS, where %s would be", name)
	}
	return folder
}

// openPlainOrGzipped opens the file, or the one with .gz behind its name.
func openPlainOrGzipped(t testing.TB, folder, name string) io.Reader {
	f, err := os.Open(filepath.Join(folder, name))
	if err == nil {
		t.Cleanup(func() { _ = f.Close() })
		return f
	}
	f, err = os.Open(filepath.Join(folder, name+".gz"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = f.Close() })
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	return z
}

func readNetwork(t testing.TB, name string) *bayes.Network {
	return networkIn(t, folderOf(t, name), name)
}

func networkIn(t testing.TB, folder, name string) *bayes.Network {
	n, err := bayes.ReadBIF(openPlainOrGzipped(t, folder, name+".bif"))
	require.NoError(t, err)
	return n
}

// referenceSet is one set of findings and the posteriors by state name.
type referenceSet struct {
	Evidence  map[string]string             `json:"evidence"`
	LogPE     float64                       `json:"log_pe"`
	Marginals map[string]map[string]float64 `json:"marginals"`
}

func readReference(t testing.TB, name string) []referenceSet {
	return referenceIn(t, folderOf(t, name), name)
}

func referenceIn(t testing.TB, folder, name string) []referenceSet {
	var file struct{ Sets []referenceSet }
	require.NoError(t, json.NewDecoder(openPlainOrGzipped(t, folder, name+".posteriors.json")).Decode(&file))
	return file.Sets
}

func (s referenceSet) enter(t testing.TB, n *bayes.Network, q *bayes.Query) {
	q.Reset()
	for name, state := range s.Evidence {
		v, ok := n.Lookup(name)
		require.True(t, ok, name)
		q.Observe(v, slices.Index(n.Variable(v).States, state))
	}
}

func (s referenceSet) compare(t *testing.T, n *bayes.Network, q *bayes.Query) {
	log, err := q.LogEvidence()
	require.NoError(t, err)
	require.InDelta(t, s.LogPE, log, referenceTolerance)
	post, err := q.Marginals(nil)
	require.NoError(t, err)
	for name, want := range s.Marginals {
		v, ok := n.Lookup(name)
		require.True(t, ok, name)
		for i, state := range n.Variable(v).States {
			require.InDelta(t, want[state], post[v][i], referenceTolerance, "%s=%s", name, state)
		}
	}
}

// carriedNetworks lie in testdata; referenceNetworks are those whose join tree without evidence fits.
var (
	carriedNetworks = []string{"cancer", "earthquake", "asia", "survey", "sachs", "child", "insurance", "alarm",
		"hailfinder", "win95pts"}
	referenceNetworks = append(slices.Clone(carriedNetworks), "andes", "pathfinder", "pigs", "mildew")
)

func TestStandardNetworks(t *testing.T) {
	for _, name := range referenceNetworks {
		t.Run(name, func(t *testing.T) {
			n := readNetwork(t, name)
			tree, err := bayes.Compile(n)
			require.NoError(t, err)
			q := tree.NewQuery()
			for _, set := range readReference(t, name) {
				set.enter(t, n, q)
				set.compare(t, n, q)
			}
		})
	}
}

// states is the set as a case of the network.
func (s referenceSet) states(n *bayes.Network) bayes.Case {
	states := make(bayes.Case, n.NumVariables())
	for v := range states {
		states[v] = bayes.Unknown
		if seen, ok := s.Evidence[n.Variable(bayes.VarID(v)).Name]; ok {
			states[v] = slices.Index(n.Variable(bayes.VarID(v)).States, seen)
		}
	}
	return states
}

// Without findings munin1 needs a clique of 2^27 entries, so it is compiled anew for each set of observations.
func TestMunin1WithItsFindings(t *testing.T) {
	n := readNetwork(t, "munin1")
	for _, set := range readReference(t, "munin1") {
		cut := n.Given(set.states(n))
		tree, err := bayes.Compile(cut)
		require.NoError(t, err)
		q := tree.NewQuery()
		set.enter(t, cut, q)
		set.compare(t, cut, q)
	}
}
