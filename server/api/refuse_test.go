package api

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

type observations = []*lightoffv1.Observation

// badObservations are lists that every RPC with a field "observations" must refuse, with the fields to be named.
var badObservations = []struct {
	name string
	in   observations
	want []string
}{
	{"unknown id", observations{state("lamp", "on"), state("lampe", "on")}, []string{"observations[1].id"}},
	{"a cause is no observation", observations{state("scaled_up", "yes")}, []string{"observations[0].id"}},
	{"unknown id, can't tell", observations{unknown("lampe", true)}, []string{"observations[0].id"}},
	{"empty id", observations{state("", "on")}, []string{"observations[0].id"}},
	{"endless id", observations{state(strings.Repeat("x", 101), "on")}, []string{"observations[0].id"}},
	{"impossible state", observations{state("lamp", "green")}, []string{"observations[0].state"}},
	{"empty state", observations{state("lamp", "")}, []string{"observations[0].state"}},
	{"state for a number", observations{state("element_resistance", "high")}, []string{"observations[0].state"}},
	{"number for a state", observations{number("lamp", 1)}, []string{"observations[0].number"}},
	{"below any possible number", observations{number("element_resistance", -1)}, []string{"observations[0].number"}},
	{"above any possible number", observations{number("age", 51)}, []string{"observations[0].number"}},
	{"not a number", observations{number("age", math.NaN())}, []string{"observations[0].number"}},
	{"infinite", observations{number("age", math.Inf(1)), number("element_resistance", math.Inf(-1))},
		[]string{"observations[0].number", "observations[1].number"}},
	{"no value", observations{{Id: "lamp"}}, []string{"observations[0].value"}},
	{"nothing at all", observations{{}}, []string{"observations[0].id", "observations[0].value"}},
	{"unknown is false", observations{unknown("lamp", false)}, []string{"observations[0].unknown"}},
	{"code of no table", observations{state("code_table", "two_digit"), state("fault_code", "99")},
		[]string{"observations[1].state"}},
	{"too many", make(observations, 301), []string{"observations"}},
}

func TestBadObservations(t *testing.T) {
	r := start(t)
	id := r.open(t)
	for _, test := range badObservations {
		t.Run(test.name, func(t *testing.T) {
			for i := range test.in {
				if test.in[i] == nil {
					test.in[i] = state("lamp", "on")
				}
			}
			_, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{Observations: test.in})
			assert.Equal(t, test.want, fields(t, err), "Assess")
			_, err = r.Explain(r.ctx, &lightoffv1.ExplainRequest{Observations: test.in, CauseId: "scaled_up"})
			assert.Equal(t, test.want, fields(t, err), "Explain")
			_, err = r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, Observations: test.in})
			assert.Equal(t, test.want, fields(t, err), "Answer")
		})
	}
	twice := observations{state("lamp", "on"), state("deposit", "thin"), state("lamp", "off")}
	_, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{EurosPerMinute: -1, Willingness: 9})
	assert.Equal(t, []string{"euros_per_minute", "willingness"}, fields(t, err))
	_, err = r.Assess(r.ctx, &lightoffv1.AssessRequest{Observations: twice})
	for _, field := range fields(t, err) {
		assert.Regexp(t, `^observations\[[02]\]`, field, "one id with two values")
	}
	now, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.Equal(t, int64(1), now.Conversation.LastEvent, "nothing is half-accepted")
}

func TestBadFields(t *testing.T) {
	r := start(t)
	id := r.open(t)
	long := strings.Repeat("x", 101)
	many := make([]string, 301)
	for i := range many {
		many[i] = "lamp"
	}
	tests := []struct {
		name string
		call func() error
		want []string
	}{
		{"Assess: unknown tool", func() error {
			_, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{Tools: []string{"multimeter", "wand"}})
			return err
		}, []string{"tools[1]"}},
		{"Assess: empty tool", func() error {
			_, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{Tools: []string{""}})
			return err
		}, []string{"tools[0]"}},
		{"Assess: too many tools", func() error {
			_, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{Tools: many})
			return err
		}, []string{"tools"}},
		{"Assess: endless language", func() error {
			_, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{Locale: long})
			return err
		}, []string{"locale"}},
		{"Explain: unknown cause", func() error {
			_, err := r.Explain(r.ctx, &lightoffv1.ExplainRequest{CauseId: "lamp"})
			return err
		}, []string{"cause_id"}},
		{"Explain: no cause", func() error {
			_, err := r.Explain(r.ctx, &lightoffv1.ExplainRequest{})
			return err
		}, []string{"cause_id"}},
		{"ReadText: empty", func() error {
			_, err := r.ReadText(r.ctx, &lightoffv1.ReadTextRequest{Text: " \n"})
			return err
		}, []string{"text"}},
		{"ReadText: too long", func() error {
			_, err := r.ReadText(r.ctx, &lightoffv1.ReadTextRequest{Text: strings.Repeat("ü", 2001)})
			return err
		}, []string{"text"}},
		{"ReadText: unknown question", func() error {
			_, err := r.ReadText(r.ctx, &lightoffv1.ReadTextRequest{Text: "yes", AskedId: "scaled_up"})
			return err
		}, []string{"asked_id"}},
		{"Open: unknown tool and endless language", func() error {
			_, err := r.OpenConversation(r.ctx, &lightoffv1.OpenConversationRequest{Tools: []string{""}, Locale: long})
			return err
		}, []string{"locale", "tools[0]"}},
		{"Open: unknown tool", func() error {
			_, err := r.OpenConversation(r.ctx, &lightoffv1.OpenConversationRequest{Tools: []string{"wand"}})
			return err
		}, []string{"tools[0]"}},
		{"Get: no id", func() error {
			_, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{})
			return err
		}, []string{"id"}},
		{"Say: everything wrong", func() error {
			_, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{ClientKey: long, AskedId: "nothing"})
			return err
		}, []string{"id", "client_key", "text", "asked_id"}},
		{"Say: key with a line break", func() error {
			_, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: "x", ClientKey: "a\nb"})
			return err
		}, []string{"client_key"}},
		{"Answer: nothing", func() error {
			_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id})
			return err
		}, []string{"observations"}},
		{"Answer: unknown skipped", func() error {
			_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
				SkippedIds: []string{"lamp", "lampe", ""}})
			return err
		}, []string{"skipped_ids[1]", "skipped_ids[2]"}},
		{"Answer: answered and skipped", func() error {
			_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
				Observations: observations{state("lamp", "on")}, SkippedIds: []string{"lamp"}})
			return err
		}, []string{"skipped_ids[0]"}},
		{"Answer: too many skipped", func() error {
			_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, SkippedIds: many})
			return err
		}, []string{"skipped_ids"}},
		{"Retract: unknown", func() error {
			_, err := r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id, ObservationId: "scaled_up"})
			return err
		}, []string{"observation_id"}},
		{"Retract: none", func() error {
			_, err := r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id})
			return err
		}, []string{"observation_id"}},
		{"SetTools: unknown", func() error {
			_, err := r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: id, Tools: []string{"wand"}})
			return err
		}, []string{"tools[0]"}},
		{"Watch: no id, event below zero", func() error {
			stream, err := r.WatchConversation(r.ctx, &lightoffv1.WatchConversationRequest{AfterEvent: -1})
			require.NoError(t, err)
			_, err = stream.Recv()
			return err
		}, []string{"id", "after_event"}},
		{"ListCauses: endless language", func() error {
			_, err := r.ListCauses(r.ctx, &lightoffv1.ListCausesRequest{Locale: long})
			return err
		}, []string{"locale"}},
		{"ListObservations: endless language", func() error {
			_, err := r.ListObservations(r.ctx, &lightoffv1.ListObservationsRequest{Locale: long})
			return err
		}, []string{"locale"}},
		{"ListRepairs: endless language", func() error {
			_, err := r.ListRepairs(r.ctx, &lightoffv1.ListRepairsRequest{Locale: long})
			return err
		}, []string{"locale"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) { assert.Equal(t, test.want, fields(t, test.call())) })
	}
	now, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.Equal(t, int64(1), now.Conversation.LastEvent, "nothing is half-accepted")
}

func TestLimitsAreWithinReach(t *testing.T) {
	r := start(t)
	id := r.open(t)
	_, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: strings.Repeat("ü", 2000),
		ClientKey: strings.Repeat("k", 100)})
	require.NoError(t, err, "2,000 characters of two bytes")
	full := make(observations, 300)
	for i := range full {
		full[i] = state("lamp", "on")
	}
	_, err = r.Assess(r.ctx, &lightoffv1.AssessRequest{Observations: full})
	require.NoError(t, err, "the same value again is no contradiction")
	_, err = r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: strings.Repeat("x", maxMessage)})
	assert.Equal(t, codes.ResourceExhausted, status.Code(err), "larger than any message may be")
}

func TestUnknownConversation(t *testing.T) {
	r := start(t)
	calls := map[string]func() error{
		"Get": func() error {
			_, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: "x"})
			return err
		},
		"Say": func() error { _, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: "x", Text: "x"}); return err },
		"Answer": func() error {
			_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: "x", SkippedIds: []string{"lamp"}})
			return err
		},
		"Retract": func() error {
			_, err := r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: "x", ObservationId: "lamp"})
			return err
		},
		"SetTools": func() error { _, err := r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: "x"}); return err },
		"Watch": func() error {
			stream, err := r.WatchConversation(r.ctx, &lightoffv1.WatchConversationRequest{Id: "x"})
			require.NoError(t, err)
			_, err = stream.Recv()
			return err
		},
	}
	for name, call := range calls {
		assert.Equal(t, codes.NotFound, status.Code(call()), name)
	}
}
