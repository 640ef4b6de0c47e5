package heater_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Every repair is told in steps: at least two, of a sentence each, as many in every language, none of them twice.
func TestRepairsAreSteps(t *testing.T) {
	m := load(t)
	for _, r := range m.Repairs {
		english := m.Text("en").Repairs[r.ID].Steps
		for _, locale := range m.Locales() {
			steps := m.Text(locale).Repairs[r.ID].Steps
			assert.GreaterOrEqual(t, len(steps), 2, "%s %s", locale, r.ID)
			assert.Len(t, steps, len(english), "%s %s", locale, r.ID)
			seen := map[string]bool{}
			for _, s := range steps {
				assert.True(t, strings.HasSuffix(s, "."), "%s %s: %s", locale, r.ID, s)
				assert.NotContains(t, strings.TrimSuffix(s, "."), ". ", "%s %s: %s", locale, r.ID, s)
				assert.LessOrEqual(t, len([]rune(s)), 130, "%s %s: %s", locale, r.ID, s)
				assert.False(t, seen[s], "%s %s: %s", locale, r.ID, s)
				seen[s] = true
			}
		}
	}
}
