package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/learning"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// TestSettledConversationsAreWhatLearnReads: from the page's calls to the cases.
func TestSettledConversationsAreWhatLearnReads(t *testing.T) {
	folder := t.TempDir()
	p := newProgram(folder)
	require.NoError(t, p.Open(t.Context()))
	calls := lightoffv1.NewConversationServiceClient(dial(t, p))
	open := func(told ...*lightoffv1.Observation) string {
		c, err := calls.OpenConversation(t.Context(), &lightoffv1.OpenConversationRequest{})
		require.NoError(t, err)
		_, err = calls.AnswerQuestions(t.Context(), &lightoffv1.AnswerQuestionsRequest{Id: c.Conversation.Id,
			Observations: told})
		require.NoError(t, err)
		return c.Conversation.Id
	}
	thick := &lightoffv1.Observation{Id: "deposit", Value: &lightoffv1.Observation_State{State: "thick"}}
	none := &lightoffv1.Observation{Id: "deposit", Value: &lightoffv1.Observation_State{State: "none"}}
	ohms := &lightoffv1.Observation{Id: "element_resistance", Value: &lightoffv1.Observation_Number{Number: 25.5}}
	settle := func(id string, surety lightoffv1.Surety) {
		_, err := calls.SettleConversation(t.Context(),
			&lightoffv1.SettleConversationRequest{Id: id, CauseIds: []string{"scaled_up"},
				FoundBy: lightoffv1.Finder_FINDER_OWNER, Surety: surety})
		require.NoError(t, err)
	}
	open(thick) // never settled
	settle(open(ohms), lightoffv1.Surety_SURETY_GUESSED)
	proved := open(thick, ohms)
	_, err := calls.ReportRepair(t.Context(), &lightoffv1.ReportRepairRequest{Id: proved, RepairId: "descale"})
	require.NoError(t, err)
	_, err = calls.ReportStart(t.Context(), &lightoffv1.ReportStartRequest{Id: proved, Ran: proto.Bool(true),
		Observations: []*lightoffv1.Observation{none}})
	require.NoError(t, err)
	settle(proved, lightoffv1.Surety_SURETY_PROVED)
	_, err = calls.ReportHolding(t.Context(), &lightoffv1.ReportHoldingRequest{Id: proved,
		Holding: lightoffv1.Holding_HOLDING_WELL})
	require.NoError(t, err)
	closed(t, p)

	got := run(t, "", "history", "-data", folder)
	require.Equal(t, exitDone, got.code, got.err)
	assert.NotContains(t, got.out, proved, "no key")
	m, err := kettle()
	require.NoError(t, err)
	cases, err := learning.ReadCSV(m, strings.NewReader(got.out))
	require.NoError(t, err, got.out)
	require.Len(t, cases, 2)
	assert.False(t, cases[0].Teaches(), "nothing is learnt from a guess")
	assert.True(t, cases[1].Teaches())
	assert.Equal(t, learning.Sureties["held"], cases[1].Sure)
	assert.Equal(t, ownersSource, cases[1].Source)
	assert.Equal(t, []string{"scaled_up"}, cases[1].Causes)
	require.Len(t, cases[1].Told, 2)
	assert.Equal(t, "thick", cases[1].Told[0].State, "as it was before anything was mended")
	assert.Equal(t, 25.5, cases[1].Told[1].Number)
	assert.Equal(t, exitUse, run(t, "", "history", "-data", folder, "more").code)
}
