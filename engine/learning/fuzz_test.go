package learning

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightoff/engine/knowledge"
)

// FuzzReadCSV feeds the reader of histories: what it takes, the model takes, and it comes back the same when it is
// written.
func FuzzReadCSV(f *testing.F) {
	m, err := knowledge.Load(os.DirFS("../knowledge/testdata/good"), nil)
	require.NoError(f, err)
	head := strings.Join(Columns, ",") + "\n"
	var told []string
	for _, o := range m.Observations {
		if len(o.States) > 0 {
			told = append(told, o.ID+"="+o.States[0])
		} else {
			told = append(told, o.ID+"=12.5")
		}
	}
	f.Add([]byte(head + "2031-02-03,yard," + strings.Join(told, ";") + "," + m.Causes[0].ID + ",workshop,proved\n"))
	f.Add([]byte(head + "2031-02-03,\"=1+1\",," + m.Causes[0].ID + ",owner,0.5\n2031-02-03,b,,,guess,\n"))
	f.Add([]byte("\xef\xbb\xbf" + head))
	f.Add([]byte("sure,by,causes,told,source,date,date\nNaN,desk,,x,y,2031-02-03,9\n"))
	f.Add([]byte(head + "2031-02-03,a,\"" + told[0] + "; " + told[0] + "\",,desk,1e-400\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		cases, err := ReadCSV(m, bytes.NewReader(text))
		if err != nil {
			require.Empty(t, cases)
			return
		}
		for _, c := range cases {
			for _, finding := range c.Told {
				_, problem := m.Check(finding, "")
				require.Empty(t, problem, "%+v", finding)
			}
			require.True(t, c.Sure >= 0 && c.Sure <= 1)
		}
		var out bytes.Buffer
		require.NoError(t, WriteCSV(&out, cases))
		again, err := ReadCSV(m, &out)
		require.NoError(t, err, "%s", text)
		require.Equal(t, cases, again)
	})
}
