package api

import (
	"os"
	"slices"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// What people type brings out the danger that it speaks of, or is asked back at once as one that may.
func TestSentencesBringOutTheirDanger(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	text, err := os.ReadFile("../../testdata/danger_sentences.yaml")
	require.NoError(t, err)
	var rows []struct {
		Say, Locale, Danger string
		Asks                bool
	}
	require.NoError(t, yaml.UnmarshalWithOptions(text, &rows, yaml.Strict()))
	require.Greater(t, len(rows), 30)
	r := startWith(t, m)
	for _, row := range rows {
		read, err := r.ReadText(r.ctx, &lightoffv1.ReadTextRequest{Text: row.Say, Locale: row.Locale})
		require.NoError(t, err)
		told := &lightoffv1.AssessRequest{Locale: row.Locale}
		add := func(o *lightoffv1.Observation) {
			same := func(x *lightoffv1.Observation) bool { return x.GetId() == o.GetId() }
			told.Observations = slices.DeleteFunc(told.Observations, same)
			told.Observations = append(told.Observations, o)
		}
		for _, x := range read.GetReadings() {
			add(x.GetObservation())
		}
		asked := false
		for _, x := range read.GetSuggestions() {
			asked = asked || x.GetDanger()
			add(x.GetReading().GetObservation())
		}
		a, err := r.Assess(r.ctx, told)
		require.NoError(t, err, row.Say)
		stands := slices.ContainsFunc(a.GetDangers(), func(d *lightoffv1.Danger) bool { return d.GetId() == row.Danger })
		asked = asked || len(read.GetUnclear()) > 0
		assert.True(t, stands || row.Asks && asked, "%s (%s): %s does not stand: %v", row.Say, row.Locale, row.Danger, read)
	}
}

// What a sentence likely means waits until its owner says yes or taps it, and counts from then on.
func TestWhatIsOfferedCountsOnceConfirmed(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	r := startWith(t, m)
	say := func(id, text, asked string) *lightoffv1.Conversation {
		out, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: text, AskedId: asked})
		require.NoError(t, err)
		return out.Conversation
	}
	const doubted = "maybe the fuse is blown"
	waits := func(t *testing.T) (string, *lightoffv1.Offer) {
		id := r.open(t)
		c := say(id, doubted, "")
		require.NotContains(t, told(c), "fuse")
		i := slices.IndexFunc(c.Offers, func(o *lightoffv1.Offer) bool {
			return o.GetSuggestion().GetReading().GetObservation().GetId() == "fuse"
		})
		require.GreaterOrEqual(t, i, 0, "%v", c.Offers)
		return id, c.Offers[i]
	}
	settled := func(t *testing.T, c *lightoffv1.Conversation, state string) {
		assert.Equal(t, state, told(c)["fuse"])
		assert.False(t, slices.ContainsFunc(c.Offers, func(o *lightoffv1.Offer) bool {
			return o.GetSuggestion().GetReading().GetObservation().GetId() == "fuse"
		}), "what is told waits no more")
	}
	t.Run("yes", func(t *testing.T) {
		id, _ := waits(t)
		settled(t, say(id, "yes", ""), "blown")
	})
	t.Run("ja", func(t *testing.T) {
		id, _ := waits(t)
		settled(t, say(id, "Ja, genau", "fuse"), "blown")
	})
	t.Run("a tap", func(t *testing.T) {
		id, o := waits(t)
		out, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
			Observations: observations{o.GetSuggestion().GetReading().GetObservation()}})
		require.NoError(t, err)
		settled(t, out.Conversation, "blown")
	})
	t.Run("a tap on another", func(t *testing.T) {
		id, o := waits(t)
		require.NotEmpty(t, o.GetSuggestion().GetAlternatives())
		out, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
			Observations: observations{o.GetSuggestion().GetAlternatives()[0].GetObservation()}})
		require.NoError(t, err)
		settled(t, out.Conversation, "intact")
	})
	t.Run("dismissed", func(t *testing.T) {
		id, o := waits(t)
		out, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, DismissedOfferIds: []string{o.Id}})
		require.NoError(t, err)
		assert.NotContains(t, told(out.Conversation), "fuse")
		assert.NotContains(t, told(say(id, "yes", "")), "fuse", "nothing waits that a yes could mean")
	})
	t.Run("a yes to another question", func(t *testing.T) {
		id, _ := waits(t)
		c := say(id, "yes", "bang_on_lighting")
		assert.NotContains(t, told(c), "fuse")
		assert.Equal(t, "yes", told(c)["bang_on_lighting"])
	})
}
