package knowledge

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

// linted is what the lint says of the pump's model with gate words, and one text of a check and one of a repair
// replaced.
func linted(t *testing.T, gates, hum, renew string) string {
	t.Helper()
	files := good(t)
	files["text/en/gates.yaml"] = &fstest.MapFile{Data: []byte(gates)}
	replace(t, files, "text/en/observations.yaml", "hum: {title: Hum, question: How does it hum?,",
		"hum: {title: Hum, question: How does it hum?, how: \""+hum+"\",")
	replace(t, files, "text/en/repairs.yaml",
		"renew_hose: {title: Renew the hose, parts: [Hose], cautions: [Unplug the pump first.]}",
		"renew_hose: {title: Renew the hose, parts: [Hose], cautions: [\""+renew+"\"]}")
	m, err := Load(files, nil)
	require.NoError(t, err)
	problems, err := m.Lint()
	require.NoError(t, err)
	var all []string
	for _, p := range problems {
		all = append(all, p.Message)
	}
	return strings.Join(all, "\n")
}

const pumpGates = `
needs_start: {words: ["\\bstart the pump\\b", "while it runs"], not: ["never start", "before you start"]}
`

// Words and gates must agree: a check whose words need a start carries the gate, and one that carries it says so.
func TestLintComparesWordsWithGates(t *testing.T) {
	all := linted(t, pumpGates, "Start the pump. Listen.", "Unplug it first.")
	require.NotContains(t, all, "hum: its words")
	require.NotContains(t, all, "hum: it has the gate")
	require.Contains(t, all, "motor_current: it has the gate needs_start, of which its words in en say nothing")
	require.NotContains(t, all, "renew_hose: its words")

	all = linted(t, pumpGates, "Listen.", "First start the pump. Then look.")
	require.Contains(t, all, "hum: it has the gate needs_start, of which its words in en say nothing")
	require.Contains(t, all, `renew_hose: its words need the gate needs_start (en: "First start the pump")`)
	all = linted(t, pumpGates, "Listen while it runs.",
		"Look before you start the pump. Never start the pump while it runs dry.")
	require.NotContains(t, all, "renew_hose: its words")

	require.Contains(t, all, "wet_plug: no steps in en")
	require.Contains(t, all, "wet_plug: nothing lifts it")
}

// What is wrong with words is named where the words stand, and what a repair lacks.
func TestLintNamesTheLineOfTheWords(t *testing.T) {
	files := good(t)
	files["text/en/gates.yaml"] = &fstest.MapFile{Data: []byte(pumpGates)}
	m, err := Load(files, nil)
	require.NoError(t, err)
	problems, err := m.Lint()
	require.NoError(t, err)
	found := map[string]int{}
	for _, p := range problems {
		found[p.File+" "+p.Message] = p.Line
	}
	line := func(file, at, message string) {
		require.Contains(t, found, file+" "+message)
		require.Equal(t, lineOf(t, files, file, at), found[file+" "+message], message)
	}
	line("text/en/repairs.yaml", "renew_motor:", "renew_motor: no steps, of which there are at least two, in en")
	line("text/en/repairs.yaml", "renew_motor:", "renew_motor: no proof in en")
	line("text/en/repairs.yaml", "renew_hose:", "renew_hose: no prevention in en")
	line("text/en/observations.yaml", "motor_current:",
		"motor_current: it has the gate needs_start, of which its words in en say nothing; "+
			"text/en/gates.yaml has the phrases that do, and takes more")
	require.NotContains(t, found, "text/en/repairs.yaml wait_for_rain: no proof in en")
}

func TestBadGateWordsAreNamed(t *testing.T) {
	files := good(t)
	files["text/en/gates.yaml"] = &fstest.MapFile{Data: []byte("needs_water: {words: [a]}\nneeds_start: {words: [\"(\"]}\n")}
	_, err := Load(files, nil)
	require.ErrorContains(t, err, `"needs_water" is no gate`)
	require.ErrorContains(t, err, "not a regular expression")
}
