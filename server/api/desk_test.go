package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// atDesk returns a client of the desk and the context of somebody there, by name.
func (r *running) atDesk(t testing.TB, name string) (lightoffv1.DeskServiceClient, context.Context) {
	t.Helper()
	token, _, err := r.store.MakeToken(t.Context(), name, store.Desk, time.Hour)
	require.NoError(t, err)
	r.handles = newHandles(token)
	return lightoffv1.NewDeskServiceClient(r.conn), WithBearerToken(r.ctx, token)
}

// keyOf is the key behind a handle of the desk that came last.
func (r *running) keyOf(t *testing.T, handle string) string {
	t.Helper()
	id, err := r.handles.open(handle)
	require.NoError(t, err)
	return id
}

func code(err error) codes.Code { return status.Code(err) }

// live is the danger of the kettle's.
func live() []*lightoffv1.Observation {
	return []*lightoffv1.Observation{state("deposit", "thick"), number("element_resistance", 0.5)}
}

func TestDeskNeedsItsToken(t *testing.T) {
	r := start(t)
	desk := lightoffv1.NewDeskServiceClient(r.conn)
	program, _, err := r.store.MakeToken(t.Context(), "bot", store.Program, time.Hour)
	require.NoError(t, err)
	for want, ctx := range map[codes.Code]context.Context{codes.Unauthenticated: r.ctx,
		codes.PermissionDenied: WithBearerToken(r.ctx, program)} {
		_, err = desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
		assert.Equal(t, want, code(err))
		_, err = desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: r.open(t)})
		assert.Equal(t, want, code(err))
		stream, err := desk.WatchConversations(ctx, &lightoffv1.WatchConversationsRequest{})
		require.NoError(t, err)
		_, err = stream.Recv()
		assert.Equal(t, want, code(err))
	}
}

func TestDeskQueue(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	r.open(t) // in which nothing is told
	older, danger, newest := r.open(t), r.open(t), r.open(t)
	r.answer(t, older, state("fault_code", "supply"))
	r.answer(t, danger, live()...)
	stream, err := desk.WatchConversations(ctx, &lightoffv1.WatchConversationsRequest{})
	require.NoError(t, err)
	list, err := stream.Recv()
	require.NoError(t, err)
	require.Len(t, list.Entries, 2)
	r.answer(t, newest, state("fault_code", "heat"))
	list, err = stream.Recv()
	require.NoError(t, err)
	assert.Equal(t, "Ines", list.Me)
	var ids []string
	for _, e := range list.Entries {
		ids = append(ids, r.keyOf(t, e.Id))
	}
	assert.Equal(t, []string{danger, older, newest}, ids, "danger first, then who has waited longest")
	first := list.Entries[0]
	assert.Equal(t, lightoffv1.Severity_SEVERITY_NO_START, first.Dangers[0].Severity)
	assert.Equal(t, int32(2), first.ToldCount)
	assert.Greater(t, first.Lead.GetProbability(), 0.0)
	assert.NotEmpty(t, first.Told)

	assert.NotNil(t, first.WaitingSince)
	_, err = desk.AssignConversation(ctx, &lightoffv1.AssignConversationRequest{Id: older})
	require.NoError(t, err)
	all, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	assert.Equal(t, newest, r.keyOf(t, all.Entries[1].Id), "whom nobody attends to comes first")
	assert.Equal(t, "Ines", all.Entries[2].AssignedTo)
	assert.Nil(t, all.Entries[2].WaitingSince, "it waits no longer")
	put, err := desk.AssignConversation(ctx, &lightoffv1.AssignConversationRequest{Id: older, ToQueue: true})
	require.NoError(t, err)
	assert.Empty(t, put.Record.AssignedTo)
	all, err = desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	assert.Equal(t, older, r.keyOf(t, all.Entries[2].Id), "what was put back waits from then on")
}

// TestDeskFinds: a desk's own calls, tickets, and words that occur in what was told, noted and found.
func TestDeskFinds(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	supply, heat, ended := r.open(t), r.open(t), r.open(t)
	r.answer(t, supply, state("fault_code", "supply"))
	r.answer(t, heat, state("fault_code", "heat"))
	r.answer(t, ended, state("fault_code", "heat"))
	_, err := desk.AssignConversation(ctx, &lightoffv1.AssignConversationRequest{Id: heat})
	require.NoError(t, err)
	_, err = desk.AddNote(ctx, &lightoffv1.AddNoteRequest{Id: heat, Text: "Rings back AT SIX"})
	require.NoError(t, err)
	kept, err := desk.SetTicket(ctx, &lightoffv1.SetTicketRequest{Id: supply, Ticket: "  HD-2217 \u202e b"})
	require.NoError(t, err)
	assert.Equal(t, "HD-2217 b", kept.Record.Ticket)
	_, err = desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: ended, Closing: &lightoffv1.Closing{
		Outcome: lightoffv1.Outcome_OUTCOME_SETTLED, CauseIds: []string{"scaled_up"}, FoundBy: 2, Surety: 2,
		Remark: "scale of a thumb"}})
	require.NoError(t, err)
	for name, tt := range map[string]struct {
		req  *lightoffv1.ListConversationsRequest
		want []string
	}{
		"mine":                       {&lightoffv1.ListConversationsRequest{Mine: true}, []string{heat}},
		"a ticket, in another case":  {&lightoffv1.ListConversationsRequest{Search: "hd-2217"}, []string{supply}},
		"a note, its words anyhow":   {&lightoffv1.ListConversationsRequest{Search: "six rings"}, []string{heat}},
		"of ended ones the remark":   {&lightoffv1.ListConversationsRequest{Search: "thumb"}, []string{ended}},
		"every word must occur":      {&lightoffv1.ListConversationsRequest{Search: "thumb six"}, nil},
		"no more than is wanted":     {&lightoffv1.ListConversationsRequest{Search: "six", Mine: true}, []string{heat}},
		"in nobody's who is another": {&lightoffv1.ListConversationsRequest{Search: "hd", Mine: true}, nil},
	} {
		list, err := desk.ListConversations(ctx, tt.req)
		require.NoError(t, err, name)
		var ids []string
		for _, e := range list.Entries {
			ids = append(ids, r.keyOf(t, e.Id))
		}
		assert.Equal(t, tt.want, ids, name)
	}
	list, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	assert.Equal(t, "HD-2217 b", list.Entries[0].Ticket)
	_, err = desk.SetTicket(ctx, &lightoffv1.SetTicketRequest{Id: supply, Ticket: strings.Repeat("x", 41)})
	assert.Equal(t, codes.InvalidArgument, code(err))
	_, err = desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{Search: strings.Repeat("x", 101)})
	assert.Equal(t, codes.InvalidArgument, code(err))
	gone, err := desk.SetTicket(ctx, &lightoffv1.SetTicketRequest{Id: supply})
	require.NoError(t, err)
	assert.Empty(t, gone.Record.Ticket)
}

func TestDeskRecord(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	id := r.open(t)
	r.answer(t, id, live()...)
	note := &lightoffv1.AddNoteRequest{Id: id, Text: " =SUM(1) rings back at six ", ClientKey: "k"}
	_, err := desk.AddNote(ctx, note)
	require.NoError(t, err)
	_, err = desk.AddNote(ctx, note)
	require.NoError(t, err)
	taken, err := desk.AssignConversation(ctx, &lightoffv1.AssignConversationRequest{Id: id, To: "Otto",
		Note: "knows boats"})
	require.NoError(t, err)
	assert.Equal(t, "Otto", taken.Record.AssignedTo)
	require.Len(t, taken.Record.Notes, 2, "a repeated note is one")
	assert.Equal(t, "=SUM(1) rings back at six", taken.Record.Notes[0].Text)
	assert.Equal(t, "Ines", taken.Record.Notes[0].By)
	assert.WithinDuration(t, time.Now(), taken.Record.Notes[0].At.AsTime(), time.Minute)

	seen, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.Equal(t, "Otto", seen.Conversation.AssignedTo, "the caller knows who attends")
	raw, err := protojson.Marshal(seen)
	require.NoError(t, err)
	assert.NotContains(t, string(raw), "rings back", "the caller sees no note")

	settled := &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_SETTLED, CauseIds: []string{"scaled_up"},
		FoundBy: lightoffv1.Finder_FINDER_OWNER, Surety: lightoffv1.Surety_SURETY_PROVED, Remark: "descaled"}
	_, err = desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: id, Closing: settled})
	assert.Equal(t, codes.FailedPrecondition, code(err), "nothing is settled past a danger")
	_, err = r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id, ObservationId: "element_resistance"})
	require.NoError(t, err)
	closed, err := desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: id, Closing: settled})
	require.NoError(t, err)
	assert.Equal(t, "Ines", closed.Record.ClosedBy)
	open, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	assert.Empty(t, open.Entries)
	all, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{Closed: true})
	require.NoError(t, err)
	require.Len(t, all.Entries, 1)
	assert.Equal(t, []string{"scaled_up"}, all.Entries[0].Closing.CauseIds)

	r.reports(t, desk, ctx, id)
	_, err = desk.ReopenConversation(ctx, &lightoffv1.ReopenConversationRequest{Id: id})
	require.NoError(t, err)
	_, err = desk.ReopenConversation(ctx, &lightoffv1.ReopenConversationRequest{Id: id})
	assert.Equal(t, codes.FailedPrecondition, code(err))
	_, err = desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: id, Closing: settled})
	require.NoError(t, err)
	r.answer(t, id, state("fault_code", "heat"))
	record, err := desk.GetRecord(ctx, &lightoffv1.GetRecordRequest{Id: id})
	require.NoError(t, err)
	assert.Nil(t, record.Record.Closing, "whoever goes on opens it again")
}

// reports reads the report of a conversation in all forms.
func (r *running) reports(t *testing.T, desk lightoffv1.DeskServiceClient, ctx context.Context, id string) {
	t.Helper()
	get := func(form lightoffv1.ReportForm) string {
		answer, err := desk.GetReport(ctx, &lightoffv1.GetReportRequest{Id: id, Form: form})
		require.NoError(t, err)
		assert.NotContains(t, answer.Text, id, "no key")
		assert.NotEmpty(t, answer.FileName)
		return answer.Text
	}
	plain := get(lightoffv1.ReportForm_REPORT_FORM_PLAIN)
	for _, want := range []string{"settled; ", "found by the owner", "descaled", "Ines: =SUM(1) rings back",
		"Attended to by: Otto"} {
		assert.Contains(t, plain, want)
	}
	text := get(lightoffv1.ReportForm_REPORT_FORM_JSON)
	require.True(t, json.Valid([]byte(text)))
	var report lightoffv1.Report
	require.NoError(t, protojson.Unmarshal([]byte(text), &report))
	assert.Equal(t, "descaled", report.Closing.Remark)
	rows, err := csv.NewReader(strings.NewReader(get(lightoffv1.ReportForm_REPORT_FORM_CSV))).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, []string{"section", "id", "text", "value"}, rows[0])
	sections := map[string]int{}
	for _, row := range rows[1:] {
		sections[row[0]]++
		if row[0] == "note" && row[1] == "Ines" && strings.Contains(row[2], "SUM") {
			assert.True(t, strings.HasPrefix(row[2], "'="), "no formula")
		}
	}
	assert.Equal(t, map[string]int{"opened": 1, "model": 1, "told": 1, "cause": 4, "note": 2, "outcome": 1, "found": 1,
		"repair": sections["repair"]}, sections)
}

func TestDeskRefuses(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	id := r.open(t)
	closings := []struct {
		closing *lightoffv1.Closing
		want    []string
	}{
		{nil, []string{"closing.outcome"}},
		{&lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_SETTLED},
			[]string{"closing.cause_ids", "closing.found_by", "closing.surety"}},
		{&lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_WORKSHOP, CauseIds: []string{"scaled_up"}},
			[]string{"closing.cause_ids"}},
		{&lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_NOT_REACHED, Remark: strings.Repeat("x", 2001)},
			[]string{"closing.remark"}},
		{&lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_SETTLED, CauseIds: []string{"ghost"}, FoundBy: 1, Surety: 1},
			[]string{"closing.cause_ids"}},
	}
	for _, tt := range closings {
		_, err := desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: id, Closing: tt.closing})
		assert.Equal(t, tt.want, fields(t, err))
	}
	_, err := desk.AddNote(ctx, &lightoffv1.AddNoteRequest{Id: id, Text: " "})
	assert.Equal(t, []string{"text"}, fields(t, err))
	_, err = desk.AssignConversation(ctx, &lightoffv1.AssignConversationRequest{Id: id, To: "a\nb"})
	assert.Equal(t, []string{"to"}, fields(t, err))
	_, err = desk.AssignConversation(ctx, &lightoffv1.AssignConversationRequest{Id: id, To: "a", ToQueue: true})
	assert.Equal(t, []string{"to"}, fields(t, err))
	_, err = desk.GetStatistics(ctx, &lightoffv1.GetStatisticsRequest{Weeks: 53})
	assert.Equal(t, []string{"weeks"}, fields(t, err))
	_, err = desk.GetReport(ctx, &lightoffv1.GetReportRequest{Id: id, Form: 9})
	assert.Equal(t, []string{"form"}, fields(t, err))
	for _, id := range []string{"NOBODY", "x'; --"} {
		_, err = desk.GetRecord(ctx, &lightoffv1.GetRecordRequest{Id: id})
		assert.Equal(t, codes.NotFound, code(err))
		_, err = desk.AddNote(ctx, &lightoffv1.AddNoteRequest{Id: id, Text: "x"})
		assert.Equal(t, codes.NotFound, code(err))
	}
	kept, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.Equal(t, int64(1), kept.Conversation.LastEvent, "nothing refused is kept")
}

func TestSpokenCode(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	id := r.open(t)
	made, err := r.MakeCode(r.ctx, &lightoffv1.MakeCodeRequest{Id: id})
	require.NoError(t, err)
	assert.Regexp(t, `^([34679CDFGHJKMNPQRTWXY]{3}-){2}[34679CDFGHJKMNPQRTWXY]{3}$`, made.Code)
	assert.WithinDuration(t, time.Now().Add(store.SpokenValid), made.ExpiresAt.AsTime(), time.Minute)
	for _, typed := range []string{made.Code, strings.ToLower(made.Code), strings.ReplaceAll(made.Code, "-", " ")} {
		found, err := desk.FindConversation(ctx, &lightoffv1.FindConversationRequest{Code: typed})
		require.NoError(t, err, typed)
		assert.Equal(t, id, r.keyOf(t, found.Id))
	}
	back, err := r.RedeemCode(r.ctx, &lightoffv1.RedeemCodeRequest{Code: made.Code})
	require.NoError(t, err)
	assert.NotContains(t, back.Id, id)
	assert.WithinDuration(t, time.Now().Add(store.VisitValid), back.ExpiresAt.AsTime(), time.Minute)
	seen, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: back.Id})
	require.NoError(t, err)
	assert.Equal(t, back.Id, seen.Conversation.Id)
	_, err = r.MakeCode(r.ctx, &lightoffv1.MakeCodeRequest{Id: "NOBODY"})
	assert.Equal(t, codes.NotFound, code(err))

	tries := 1
	for ; tries < 1000; tries++ {
		if _, err = r.RedeemCode(r.ctx, &lightoffv1.RedeemCodeRequest{Code: "333-333-333"}); code(err) != codes.NotFound {
			break
		}
	}
	assert.Greater(t, wait(t, err), time.Second, "guessing is slow, whatever other limits there are")
	assert.Equal(t, 10, tries)
	_, err = r.DeleteConversation(r.ctx, &lightoffv1.DeleteConversationRequest{Id: id})
	require.NoError(t, err)
	_, err = desk.FindConversation(ctx, &lightoffv1.FindConversationRequest{Code: made.Code})
	assert.Equal(t, codes.NotFound, code(err), "a code goes with its conversation")
}

func TestLookOn(t *testing.T) {
	r := start(t)
	look := lightoffv1.NewLookOnServiceClient(r.conn)
	id := r.open(t)
	r.answer(t, id, state("lamp", "on"))
	_, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: "Ada at Nowhere Pass has 07"})
	require.NoError(t, err)
	made, err := r.MakeLookOnKey(r.ctx, &lightoffv1.MakeLookOnKeyRequest{Id: id})
	require.NoError(t, err)
	assert.Len(t, made.Key, 26)
	stream, err := look.WatchView(r.ctx, &lightoffv1.WatchViewRequest{Key: made.Key})
	require.NoError(t, err)
	first, err := stream.Recv()
	require.NoError(t, err)
	raw, err := protojson.Marshal(first)
	require.NoError(t, err)
	for _, secret := range []string{id, "Ada", "Nowhere"} {
		assert.NotContains(t, string(raw), secret)
	}
	_, err = r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: made.Key})
	assert.Equal(t, codes.NotFound, code(err), "it is not the owner's key")

	suggest := func(o *lightoffv1.Observation) error {
		_, err := look.SuggestAnswer(r.ctx, &lightoffv1.SuggestAnswerRequest{Key: made.Key, Observation: o, By: "Otto"})
		return err
	}
	for _, bad := range []*lightoffv1.SuggestAnswerRequest{{}, {CauseId: "no_such"}, {CheckId: "no_such"}, {Remark: " "},
		{Remark: strings.Repeat("x", 201)},
		{Remark: "look", CheckId: "deposit"}} {
		bad.Key = made.Key
		_, err := look.SuggestAnswer(r.ctx, bad)
		assert.Equal(t, codes.InvalidArgument, code(err), bad)
	}
	for _, s := range []*lightoffv1.SuggestAnswerRequest{{CauseId: "scaled_up"}, {CheckId: "deposit"},
		{Remark: "mine had a kinked hose\u202e"}} {
		s.Key, s.By = made.Key, "Otto"
		reply, err := look.SuggestAnswer(r.ctx, s)
		require.NoError(t, err)
		_, err = stream.Recv()
		require.NoError(t, err)
		last := reply.Conversation.Suggestions[len(reply.Conversation.Suggestions)-1]
		assert.NotEmpty(t, last.Text)
		assert.NotContains(t, last.Text, "\u202e")
		assert.Equal(t, []string{s.CauseId, s.CheckId}, []string{last.CauseId, last.CheckId})
		assert.Nil(t, last.Observation)
		done, err := r.ResolveSuggestion(r.ctx, &lightoffv1.ResolveSuggestionRequest{Id: id, Suggestion: last.Event,
			Confirm: true})
		require.NoError(t, err)
		assert.Empty(t, done.Conversation.Suggestions)
		assert.NotContains(t, told(done.Conversation), "deposit", "nothing that was suggested so is evidence")
		_, err = stream.Recv()
		require.NoError(t, err)
	}
	require.NoError(t, suggest(state("deposit", "thin")))
	waiting, err := stream.Recv()
	require.NoError(t, err)
	require.Len(t, waiting.Conversation.Suggestions, 1)
	assert.Equal(t, "Otto", waiting.Conversation.Suggestions[0].By)
	assert.NotContains(t, told(waiting.Conversation), "deposit", "nothing counts yet")

	event := waiting.Conversation.Suggestions[0].Event
	desk, ctx := r.atDesk(t, "Ines")
	_, err = r.ResolveSuggestion(ctx, &lightoffv1.ResolveSuggestionRequest{Id: id, Suggestion: event, Confirm: true})
	assert.Equal(t, codes.PermissionDenied, code(err), "a desk is not the owner")
	_, err = r.ResolveSuggestion(r.ctx, &lightoffv1.ResolveSuggestionRequest{Id: made.Key, Suggestion: event,
		Confirm: true})
	assert.Equal(t, codes.NotFound, code(err), "nor is who looks on")
	done, err := r.ResolveSuggestion(r.ctx, &lightoffv1.ResolveSuggestionRequest{Id: id, Suggestion: event, Confirm: true})
	require.NoError(t, err)
	assert.Equal(t, "thin", told(done.Conversation)["deposit"])
	assert.Empty(t, done.Conversation.Suggestions)
	_, err = r.ResolveSuggestion(r.ctx, &lightoffv1.ResolveSuggestionRequest{Id: id, Suggestion: event, Confirm: true})
	assert.Equal(t, codes.FailedPrecondition, code(err), "once")

	require.NoError(t, suggest(state("fault_code", "supply")))
	waits := done.Conversation.LastEvent + 1
	r.answer(t, id, live()...)
	assert.Equal(t, codes.FailedPrecondition, code(suggest(state("deposit", "none"))), "never past a danger")
	_, err = r.ResolveSuggestion(r.ctx, &lightoffv1.ResolveSuggestionRequest{Id: id, Suggestion: waits, Confirm: true})
	assert.Equal(t, codes.FailedPrecondition, code(err), "nor confirmed past one")
	_, err = r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id, ObservationId: "element_resistance"})
	require.NoError(t, err)
	_, err = r.ResolveSuggestion(r.ctx, &lightoffv1.ResolveSuggestionRequest{Id: id, Suggestion: waits})
	require.NoError(t, err)
	assert.Equal(t, codes.FailedPrecondition, code(suggest(state("lamp", "off"))), "the safety card is its owner's")
	assert.Equal(t, []string{"observation.unknown"}, fields(t, suggest(unknown("deposit", true))))
	for range maxWaiting {
		require.NoError(t, suggest(number("age", 3)))
	}
	assert.Equal(t, codes.FailedPrecondition, code(suggest(number("age", 3))), "an owner is not flooded")

	_, err = desk.SetConversationHidden(ctx, &lightoffv1.SetConversationHiddenRequest{Id: id, Hidden: true})
	require.NoError(t, err)
	_, err = look.GetView(r.ctx, &lightoffv1.GetViewRequest{Key: made.Key})
	assert.Equal(t, codes.NotFound, code(err), "hidden by a moderator")
	for err = nil; err == nil; {
		_, err = stream.Recv()
	}
	assert.Equal(t, codes.NotFound, code(err), "also from those who look on already")
	_, err = desk.SetConversationHidden(ctx, &lightoffv1.SetConversationHiddenRequest{Id: id})
	require.NoError(t, err)
	_, err = look.GetView(r.ctx, &lightoffv1.GetViewRequest{Key: made.Key})
	require.NoError(t, err)
	found, err := desk.FindConversation(ctx, &lightoffv1.FindConversationRequest{Code: made.Key})
	require.NoError(t, err)
	assert.Equal(t, id, r.keyOf(t, found.Id), "a moderator finds it by its look-on key")
	r.backedUp(t, made.Key, id)
	moderator, _, err := r.store.MakeToken(t.Context(), "Lena", store.Moderator, time.Hour)
	require.NoError(t, err)
	moderation, asLena := lightoffv1.NewModerationServiceClient(r.conn), WithBearerToken(r.ctx, moderator)
	_, err = desk.ListConversations(asLena, &lightoffv1.ListConversationsRequest{})
	assert.Equal(t, codes.PermissionDenied, code(err), "a moderator is no desk")
	_, err = moderation.ModerateConversation(ctx,
		&lightoffv1.ModerateConversationRequest{Key: made.Key, Verdict: lightoffv1.Verdict_VERDICT_HIDE})
	assert.Equal(t, codes.PermissionDenied, code(err), "nor a desk a moderator")
	_, err = moderation.ModerateConversation(asLena, &lightoffv1.ModerateConversationRequest{Key: made.Key})
	assert.Equal(t, []string{"verdict"}, fields(t, err))
	_, err = moderation.ModerateConversation(asLena,
		&lightoffv1.ModerateConversationRequest{Key: id, Verdict: lightoffv1.Verdict_VERDICT_HIDE})
	assert.Equal(t, codes.NotFound, code(err), "only by a look-on key")
	ended, err := moderation.ModerateConversation(asLena,
		&lightoffv1.ModerateConversationRequest{Key: made.Key, Verdict: lightoffv1.Verdict_VERDICT_CLOSE})
	require.NoError(t, err)
	assert.True(t, ended.Closed)
	assert.Equal(t, codes.FailedPrecondition, code(suggest(number("age", 3))))
	_, err = r.WithdrawLookOnKeys(r.ctx, &lightoffv1.WithdrawLookOnKeysRequest{Id: id})
	require.NoError(t, err)
	_, err = look.GetView(r.ctx, &lightoffv1.GetViewRequest{Key: made.Key})
	assert.Equal(t, codes.NotFound, code(err))
}

// backedUp restores a backup elsewhere, where the look-on key leads to the conversation too.
func (r *running) backedUp(t *testing.T, key, id string) {
	t.Helper()
	var copied bytes.Buffer
	require.NoError(t, r.store.Backup(t.Context(), &copied))
	assert.NotContains(t, copied.String(), key)
	other, err := store.Open(t.Context(), t.TempDir())
	require.NoError(t, err)
	defer other.Close()
	require.NoError(t, other.Restore(t.Context(), &copied))
	found, err := other.FindByPass(t.Context(), key, store.LookOn)
	require.NoError(t, err)
	assert.Equal(t, id, found)
}

// TestStatistics: sums over weeks and bars equal the number of conversations; the median is by the definition for an
// even number of values.
func TestStatistics(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	none, err := desk.GetStatistics(ctx, &lightoffv1.GetStatisticsRequest{Weeks: 3})
	require.NoError(t, err)
	assert.Len(t, none.Weeks, 3)
	assert.Nil(t, none.MedianTime)
	settled := &lightoffv1.Closing{Outcome: lightoffv1.Outcome_OUTCOME_SETTLED, CauseIds: []string{"scaled_up"},
		FoundBy: 2, Surety: 2}
	for i, closing := range []*lightoffv1.Closing{settled, settled, {Outcome: lightoffv1.Outcome_OUTCOME_WORKSHOP}, nil} {
		id := r.open(t)
		r.answer(t, id, state("fault_code", "heat"), state("lamp", "on"))
		if i > 0 {
			r.answer(t, id, state("deposit", "thin"))
		}
		if closing != nil {
			_, err := desk.CloseConversation(ctx, &lightoffv1.CloseConversationRequest{Id: id, Closing: closing})
			require.NoError(t, err)
		}
	}
	r.open(t)
	got, err := desk.GetStatistics(ctx, &lightoffv1.GetStatisticsRequest{})
	require.NoError(t, err)
	require.Len(t, got.Weeks, 8)
	now := got.Weeks[7]
	assert.Equal(t, []int32{4, 3, 2}, []int32{now.Opened, now.Closed, now.Settled})
	assert.Equal(t, time.Monday, now.BeginsAt.AsTime().Weekday())
	assert.Equal(t, int32(4), got.Conversations)
	require.Len(t, got.Causes, 1)
	assert.Equal(t, int32(2), got.Causes[0].Count)
	counts := map[string]int32{}
	for _, c := range got.Checks {
		assert.NotEmpty(t, c.Title)
		counts[c.Id] = c.Count
	}
	assert.Equal(t, map[string]int32{"fault_code": 4, "deposit": 3}, counts, "the safety card is no check")
	sum := int32(0)
	for _, bar := range got.Times {
		sum += bar.Count
	}
	assert.Equal(t, got.Conversations, sum)
	assert.False(t, math.Signbit(got.MedianTime.AsDuration().Seconds()))

	require.Len(t, got.Codes, 1)
	assert.Equal(t, []int32{0, 0, 0, 0, 0, 0, 0, 4}, got.Codes[0].Counts, "four came in this week, with one code")
	require.Len(t, got.SettledCauses, 1)
	assert.Equal(t, int32(2), got.SettledCauses[0].Counts[7])
	assert.Equal(t, int32(1), got.ChecksToRepair[1].Count, "the first was settled after its code alone")
	assert.Equal(t, int32(1), got.ChecksToRepair[2].Count, "the second after one check more")
	foretold, said := int32(0), 0.0
	for _, f := range got.Foretold {
		assert.LessOrEqual(t, f.Right, f.Count)
		foretold, said = foretold+f.Count, max(said, f.Said)
	}
	assert.Equal(t, int32(2), foretold+got.NotForetold, "both settled ones")
	assert.Zero(t, got.NotForetold)
	assert.Less(t, said, 1.0, "a mean of probabilities")
}

// TestSigns: no sign of a code is taken for another one, read or typed (common practice, no source).
func TestSigns(t *testing.T) {
	r := start(t)
	id := r.open(t)
	seen := map[rune]bool{}
	for range 60 {
		made, err := r.MakeCode(r.ctx, &lightoffv1.MakeCodeRequest{Id: id})
		require.NoError(t, err)
		for _, sign := range strings.ReplaceAll(made.Code, "-", "") {
			seen[sign] = true
		}
	}
	assert.Len(t, seen, 21, "all signs come up") // the chance that one of 21 stays out in 540 is below 1e-10
	for _, alike := range []string{"0O", "1IL", "2Z", "5S", "8B", "UV"} {
		for _, sign := range alike {
			assert.False(t, seen[sign], string(sign))
		}
	}
}
