package diagnosis_test

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every phrase that the code asks for has words, in every language, and no words are left over.
func TestPhrasesAreThoseThatTheCodeUses(t *testing.T) {
	name := regexp.MustCompile(
		`"((?:likelihood|unused|reason|plan|jobcard)_[a-z_]+|pair(?:_perhaps)?(?:_advice)?|chain_(?:advice|habit)|not_told|contradiction|skipped)"`)
	step := regexp.MustCompile(`\{0\.\d+, "([a-z_]+)"\}`)
	used := map[string]bool{}
	for _, pattern := range []string{"*.go", "../knowledge/*.go", "../../server/api/*.go"} {
		files, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, file := range files {
			if matched, _ := filepath.Match("*_test.go", filepath.Base(file)); matched {
				continue
			}
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			for _, m := range name.FindAllSubmatch(text, -1) {
				used[string(m[1])] = true
			}
			for _, m := range step.FindAllSubmatch(text, -1) {
				used["likelihood_"+string(m[1])] = true
			}
		}
	}
	m := engineModel(t)
	// Chains name the effects between two causes, where there are words for them.
	for _, end := range m.SecondaryCauses() {
		for _, c := range m.Causes {
			between, _ := m.Path(c.ID, m.Causes[end].ID)
			for _, effect := range between {
				if key := "chain_" + effect; m.Text("en").Phrases[key] != "" {
					used[key] = true
				}
			}
		}
	}
	for _, locale := range m.Locales() {
		phrases := m.Text(locale).Phrases
		for key := range used {
			assert.NotEmpty(t, phrases[key], "%s: %s", locale, key)
		}
		for key := range phrases {
			assert.True(t, used[key], "%s: nothing uses %s", locale, key)
		}
	}
}
