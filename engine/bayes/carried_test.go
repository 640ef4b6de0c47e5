package bayes_test

import (
	"bufio"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"lightoff/engine/bayes"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write testdata/networks anew from the folder that LIGHTOFF_NETWORKS names")

// The carried networks and posteriors are those of the outside folder, figure for figure. With -update they are written
// first.
func TestCarriedNetworksAreThoseOutside(t *testing.T) {
	for _, name := range carriedNetworks {
		t.Run(name, func(t *testing.T) {
			n, sets := networkIn(t, outside(t, name), name), referenceIn(t, outside(t, name), name)
			if *update {
				writeCarried(t, name, n, sets)
			}
			sameNetwork(t, n, readNetwork(t, name))
			require.Equal(t, sets, readReference(t, name))
		})
	}
}

// writeCarried writes one line for each set of findings.
func writeCarried(t *testing.T, name string, n *bayes.Network, sets []referenceSet) {
	f, err := os.Create(filepath.Join(carriedFolder, name+".bif"))
	require.NoError(t, err)
	require.NoError(t, bayes.WriteBIF(f, n))
	require.NoError(t, f.Close())

	f, err = os.Create(filepath.Join(carriedFolder, name+".posteriors.json"))
	require.NoError(t, err)
	b := bufio.NewWriter(f)
	b.WriteString(`{"sets": [` + "\n")
	for i, set := range sets {
		line, err := json.Marshal(set)
		require.NoError(t, err)
		b.Write(line)
		if i < len(sets)-1 {
			b.WriteByte(',')
		}
		b.WriteByte('\n')
	}
	b.WriteString("]}\n")
	require.NoError(t, b.Flush())
	require.NoError(t, f.Close())
}
