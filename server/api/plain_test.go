package api

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// TestPlain: what nobody sees is left out of a text (Unicode 15, categories Cc and Cf; UTR 36 on bidirectional
// overrides).
func TestPlain(t *testing.T) {
	for in, want := range map[string]string{
		"code 07":                     "code 07",
		"a\x00b":                      "ab",
		"a\u202egnp.exe":              "agnp.exe",
		"\u2066left\u2069 \u200fto":   "left to",
		"ze\u200bro \ufeffwi\u2060de": "zero wide",
		"one\r\ntwo\rthree\tfour":     "one\ntwo\nthree\tfour",
		"نمی\u200cخواهم":              "نمی\u200cخواهم", // which needs its joiner
		"bell\a escape\x1b[31m":       "bell escape[31m",
	} {
		assert.Equal(t, want, plain(in), "%q", in)
	}
	r := start(t)
	id := r.open(t)
	said, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: "Thick\u202e\x00 crust.", AskedId: "deposit"})
	require.NoError(t, err)
	assert.Equal(t, "Thick crust.", said.Conversation.Sayings[0].Text)
	assert.Equal(t, map[string]string{"deposit": "thick"}, told(said.Conversation))
	_, err = r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: "\u200b\x00\u202e"})
	assert.Equal(t, []string{"text"}, fields(t, err), "nothing is left of it")
}

// TestHarmless: OWASP, CSV injection (2025): a cell that a table program would calculate gets an apostrophe.
func TestHarmless(t *testing.T) {
	for in, want := range map[string]string{
		"=1+1": "'=1+1", "+cmd": "'+cmd", "-cmd": "'-cmd", "@SUM(1)": "'@SUM(1)", "\t=1": "'\t=1", "\r=1": "'\n=1",
		"-1.5": "-1.5", "+2": "+2", "12.4 V": "12.4 V", "": "",
		"\x00=1": "'=1", "＝1": "'＝1", "\u200b=1": "'=1", "\ufeff=1": "'=1", "  =1": "'  =1", "\n=1": "'\n=1",
		"\u200d=1": "'\u200d=1", "＠x": "'＠x",
		"a=1": "a=1",
	} {
		assert.Equal(t, want, harmless(in), "%q", in)
	}
}

// TestNoPlacesForWhoLooksOn: wherever in a conversation a fact of the place is named, those do not see it.
func TestNoPlacesForWhoLooksOn(t *testing.T) {
	fact := number("altitude", 1800)
	c := &lightoffv1.Conversation{Id: "KEY",
		Told: []*lightoffv1.Told{{Observation: fact, Text: "Altitude: 1,800 m"},
			{Observation: state("smoke", "black"), Words: "black"}},
		Suggestions: []*lightoffv1.Suggestion{{Observation: fact, Text: "Altitude: 1,800 m"}},
		Next:        []*lightoffv1.ObservationInfo{{Id: "ambient_temperature"}, {Id: "smoke"}},
		Recovery:    &lightoffv1.Recovery{Watch: []*lightoffv1.ObservationInfo{{Id: "altitude"}}},
		Assessment: &lightoffv1.AssessResponse{
			Dangers: []*lightoffv1.Danger{{Id: "frost", TriggerIds: []string{"ambient_temperature", "smoke"}}},
			Causes: []*lightoffv1.RankedCause{{Id: "rich", Weights: []*lightoffv1.WeightOfEvidence{
				{ObservationId: "altitude", Text: "Altitude: 1,800 m"}, {ObservationId: "smoke"}}}},
			Contradictions: []*lightoffv1.Contradiction{{ObservationIds: []string{"smoke", "altitude"}, Text: "1,800 m"}},
			Unused:         []*lightoffv1.UnusedObservation{{Id: "altitude"}},
		}}
	out, err := seen(c, "LOOK")
	require.NoError(t, err)
	text, err := protojson.Marshal(out)
	require.NoError(t, err)
	for _, hidden := range []string{"altitude", "Altitude", "ambient", "1,800", "KEY"} {
		assert.NotContains(t, string(text), hidden)
	}
	assert.Len(t, out.Told, 1)
	assert.Equal(t, []string{"smoke"}, out.Assessment.Dangers[0].TriggerIds, "the danger stays")
	assert.Len(t, out.Assessment.Causes[0].Weights, 1)
	assert.Len(t, c.Told, 2, "its owner's view is as it was")
}
