package api

import (
	"database/sql"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

func TestFromARepairToAHeaterThatRuns(t *testing.T) {
	r := start(t)
	id := r.open(t)
	c := r.answer(t, id, state("fault_code", "none"), state("deposit", "thick"), state("lamp", "on"))
	assert.Nil(t, c.Recovery, "nothing was mended yet")
	was := c.Assessment.Causes[0]
	require.Equal(t, "scaled_up", was.Id)

	mended, err := r.ReportRepair(r.ctx, &lightoffv1.ReportRepairRequest{Id: id, RepairId: "use_another_socket",
		ClientKey: "m"})
	require.NoError(t, err)
	again, err := r.ReportRepair(r.ctx, &lightoffv1.ReportRepairRequest{Id: id, RepairId: "use_another_socket",
		ClientKey: "m"})
	require.NoError(t, err)
	assert.Equal(t, mended.Conversation.LastEvent, again.Conversation.LastEvent, "a repeated request is one")
	assert.Equal(t, lightoffv1.Stage_STAGE_START, mended.Conversation.Recovery.Stage)
	assert.Equal(t, "use_another_socket", mended.Conversation.Recovery.Repairs[0].RepairId)
	assert.Equal(t, "lamp", mended.Conversation.Recovery.Watch[0].Id)

	ran, err := r.ReportStart(r.ctx, &lightoffv1.ReportStartRequest{Id: id, Ran: proto.Bool(true)})
	require.NoError(t, err)
	doubt := ran.Conversation.Recovery
	assert.Equal(t, lightoffv1.Stage_STAGE_DOUBTFUL, doubt.Stage, "scale does not go with a socket")
	assert.Equal(t, "scaled_up", doubt.Remaining[0].Id)
	failed, err := r.ReportStart(r.ctx, &lightoffv1.ReportStartRequest{Id: id, Ran: proto.Bool(false)})
	require.NoError(t, err)
	assert.Equal(t, lightoffv1.Stage_STAGE_UNSPECIFIED, failed.Conversation.Recovery.Stage)

	_, err = r.ReportRepair(r.ctx, &lightoffv1.ReportRepairRequest{Id: id, RepairId: "descale"})
	require.NoError(t, err)
	_, err = r.SettleConversation(r.ctx, settled(id, lightoffv1.Surety_SURETY_PROVED))
	assert.Equal(t, codes.FailedPrecondition, code(err), "nothing proves it yet")
	ran, err = r.ReportStart(r.ctx, &lightoffv1.ReportStartRequest{Id: id, Ran: proto.Bool(true),
		Observations: []*lightoffv1.Observation{state("deposit", "none")}})
	require.NoError(t, err)
	well := ran.Conversation.Recovery
	assert.Equal(t, lightoffv1.Stage_STAGE_WELL, well.Stage)
	assert.Greater(t, well.ProbabilityWell, doubt.ProbabilityWell)
	assert.NotEmpty(t, well.Likelihood)
	assert.Empty(t, ran.Conversation.Next)

	done, err := r.SettleConversation(r.ctx, settled(id, lightoffv1.Surety_SURETY_PROVED))
	require.NoError(t, err)
	s := done.Conversation.Settlement
	assert.True(t, done.Conversation.Closed)
	assert.Equal(t, "scaled_up", s.Causes[0].Id)
	assert.Equal(t, checkBackAfter, s.CheckBackAt.AsTime().Sub(s.SettledAt.AsTime()))
	held, err := r.ReportHolding(r.ctx, &lightoffv1.ReportHoldingRequest{Id: id, Holding: lightoffv1.Holding_HOLDING_WELL})
	require.NoError(t, err)
	assert.Nil(t, held.Conversation.Settlement.CheckBackAt, "asked once")
	back, err := r.ReportHolding(r.ctx, &lightoffv1.ReportHoldingRequest{Id: id,
		Holding: lightoffv1.Holding_HOLDING_CAME_BACK})
	require.NoError(t, err)
	assert.False(t, back.Conversation.Closed, "it goes on")
	_, err = r.ReportHolding(r.ctx, &lightoffv1.ReportHoldingRequest{Id: id, Holding: lightoffv1.Holding_HOLDING_WELL})
	assert.Equal(t, codes.FailedPrecondition, code(err))

	_, err = r.ReportRepair(r.ctx, &lightoffv1.ReportRepairRequest{Id: id, RepairId: "descale", TakeBack: true})
	require.NoError(t, err)
	_, err = r.ReportRepair(r.ctx, &lightoffv1.ReportRepairRequest{Id: id, RepairId: "descale", TakeBack: true})
	assert.Equal(t, codes.FailedPrecondition, code(err))
}

func settled(id string, surety lightoffv1.Surety) *lightoffv1.SettleConversationRequest {
	return &lightoffv1.SettleConversationRequest{Id: id, CauseIds: []string{"scaled_up"},
		FoundBy: lightoffv1.Finder_FINDER_OWNER, Surety: surety}
}

func TestNothingIsSettledPastADanger(t *testing.T) {
	r := start(t)
	id := r.open(t)
	r.answer(t, id, live()...)
	_, err := r.SettleConversation(r.ctx, settled(id, lightoffv1.Surety_SURETY_LIKELY))
	assert.Equal(t, codes.FailedPrecondition, code(err))
}

func TestRecoveryRefuses(t *testing.T) {
	r := start(t)
	id := r.open(t)
	_, err := r.ReportRepair(r.ctx, &lightoffv1.ReportRepairRequest{Id: id, RepairId: "wish"})
	assert.Equal(t, []string{"repair_id"}, fields(t, err))
	_, err = r.ReportStart(r.ctx, &lightoffv1.ReportStartRequest{Id: id,
		Observations: []*lightoffv1.Observation{state("lamp", "on")}})
	assert.Equal(t, []string{"ran"}, fields(t, err))
	_, err = r.ReportStart(r.ctx, &lightoffv1.ReportStartRequest{Id: id, Ran: proto.Bool(true),
		Observations: []*lightoffv1.Observation{state("lamp", "pink")}})
	assert.Equal(t, []string{"observations[0].state"}, fields(t, err))
	_, err = r.SettleConversation(r.ctx, &lightoffv1.SettleConversationRequest{Id: id})
	assert.ElementsMatch(t, []string{"cause_ids", "found_by", "surety"}, fields(t, err))
	_, err = r.ReportHolding(r.ctx, &lightoffv1.ReportHoldingRequest{Id: id})
	assert.Equal(t, []string{"holding"}, fields(t, err))
	_, err = r.Assess(r.ctx, &lightoffv1.AssessRequest{MendedIds: []string{"wish"}})
	assert.Equal(t, []string{"mended_ids[0]"}, fields(t, err))
	_, err = r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: id, EurosPerMinute: proto.Float64(-1)})
	assert.Equal(t, []string{"euros_per_minute"}, fields(t, err))
	kept, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.Equal(t, int64(1), kept.Conversation.LastEvent, "nothing of it was kept")
}

func TestAnOwnersPriceAndWillingnessStay(t *testing.T) {
	r := start(t)
	id := r.open(t)
	willing := lightoffv1.Willingness_WILLINGNESS_SIMPLE
	set, err := r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: id, Tools: []string{"multimeter"},
		EurosPerMinute: proto.Float64(0.5), Willingness: &willing})
	require.NoError(t, err)
	assert.Equal(t, 0.5, set.Conversation.EurosPerMinute)
	set, err = r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: id})
	require.NoError(t, err)
	assert.Empty(t, set.Conversation.Tools)
	assert.Equal(t, willing, set.Conversation.Willingness, "left out, it stays")
}

func TestDueBack(t *testing.T) {
	at := time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC)
	events := []diagnosis.Event{{Number: 1, Kind: diagnosis.Opened},
		{Number: 2, Kind: diagnosis.Closed, Closing: &diagnosis.Closing{Outcome: diagnosis.Settled}}}
	c := store.Conversation{Events: events, At: []time.Time{at, at}}
	state := diagnosis.Fold(events)
	assert.False(t, dueBack(c, state, at.Add(checkBackAfter-time.Second)))
	assert.True(t, dueBack(c, state, at.Add(checkBackAfter)))
	state.Held = diagnosis.NotKnown
	assert.False(t, dueBack(c, state, at.Add(2*checkBackAfter)), "it was asked")
	events[1].Closing.Outcome = diagnosis.ToWorkshop
	assert.False(t, dueBack(c, diagnosis.Fold(events), at.Add(2*checkBackAfter)))
}

// TestDeskAsksBack: what was settled weeks ago is listed until somebody has asked.
func TestDeskAsksBack(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	folder := t.TempDir()
	r := startAt(t, m, folder, Options{})
	desk, ctx := r.atDesk(t, "Ines")
	id, fresh := r.open(t), r.open(t)
	for _, one := range []string{id, fresh} {
		r.answer(t, one, state("deposit", "thick"))
		_, err = r.SettleConversation(r.ctx, settled(one, lightoffv1.Surety_SURETY_LIKELY))
		require.NoError(t, err)
	}
	files, err := filepath.Glob(filepath.Join(folder, "*.db"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	db, err := sql.Open("sqlite", files[0])
	require.NoError(t, err)
	weeks := (checkBackAfter + time.Hour).Microseconds()
	_, err = db.Exec(`update event set at = at - $1 where conversation_id = $2`, weeks, id)
	require.NoError(t, err)
	_, err = db.Exec(`update conversation set opened_at = opened_at - $1 where id = $2`, weeks, id)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	due, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{DueBack: true})
	require.NoError(t, err)
	require.Len(t, due.Entries, 1, "the other one is too fresh")
	assert.Equal(t, id, r.keyOf(t, due.Entries[0].Id))
	assert.Len(t, due.Entries[0].Causes, 1)
	_, err = r.ReportHolding(ctx, &lightoffv1.ReportHoldingRequest{Id: id, Holding: lightoffv1.Holding_HOLDING_UNKNOWN})
	require.NoError(t, err)
	due, err = desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{DueBack: true})
	require.NoError(t, err)
	assert.Empty(t, due.Entries)
}
