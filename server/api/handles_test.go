package api

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"pgregory.net/rapid"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

func TestHandles(t *testing.T) {
	ours, theirs := newHandles("one token"), newHandles("another token")
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.StringMatching(`[A-Z2-7]{1,40}`).Draw(t, "id")
		handle := ours.handleOf(id)
		assert.Equal(t, handle, ours.handleOf(id), "it names the same conversation tomorrow")
		assert.LessOrEqual(t, len(handle), maxName)
		opened, err := ours.open(handle)
		require.NoError(t, err)
		assert.Equal(t, id, opened)
		_, err = theirs.open(handle)
		assert.ErrorIs(t, err, store.ErrNotFound)
		i := rapid.IntRange(1, len(handle)-1).Draw(t, "sign")
		sign := rapid.SampledFrom([]byte("Aa9_")).Draw(t, "instead")
		changed := []byte(handle)
		if changed[i] = sign; string(changed) != handle {
			// The last sign may hold spare bits, which decoding leaves out.
			if opened, err := ours.open(string(changed)); err == nil {
				assert.Equal(t, id, opened)
				assert.Equal(t, len(handle)-1, i)
			}
		}
	})
	for _, bad := range []string{"", "d", "d?", "dAAAA", "d" + strings.Repeat("A", 60)} {
		_, err := ours.open(bad)
		assert.ErrorIs(t, err, store.ErrNotFound, bad)
		_, err = (*handles)(nil).open(bad)
		assert.ErrorIs(t, err, store.ErrNotFound, bad)
	}
}

// TestDeskNeverLearnsAKey drives every call of a desk's that answers about a conversation and looks for the key in what
// comes back. When the token goes, what it saw is no way in any more.
func TestDeskNeverLearnsAKey(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	id := r.open(t)
	r.answer(t, id, live()...)
	made, err := r.MakeCode(r.ctx, &lightoffv1.MakeCodeRequest{Id: id})
	require.NoError(t, err)
	list, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{PageSize: 1})
	require.NoError(t, err)
	require.Len(t, list.Entries, 1)
	handle := list.Entries[0].Id

	found, err := desk.FindConversation(ctx, &lightoffv1.FindConversationRequest{Code: made.Code})
	require.NoError(t, err)
	assert.Equal(t, handle, found.Id)
	redeemed, err := r.RedeemCode(ctx, &lightoffv1.RedeemCodeRequest{Code: made.Code})
	require.NoError(t, err)
	assert.Equal(t, handle, redeemed.Id, "a desk's way in ends with its token")
	got, err := r.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: handle})
	require.NoError(t, err)
	assert.Equal(t, handle, got.Conversation.Id)
	noted, err := desk.AddNote(ctx, &lightoffv1.AddNoteRequest{Id: handle, Text: "rings back"})
	require.NoError(t, err)
	assert.Equal(t, handle, noted.Record.Id)
	record, err := desk.GetRecord(ctx, &lightoffv1.GetRecordRequest{Id: handle})
	require.NoError(t, err)
	stream, err := r.WatchConversation(ctx, &lightoffv1.WatchConversationRequest{Id: handle})
	require.NoError(t, err)
	pushed, err := stream.Recv()
	require.NoError(t, err)
	assert.Equal(t, handle, pushed.Conversation.Id)
	lists, err := desk.WatchConversations(ctx, &lightoffv1.WatchConversationsRequest{})
	require.NoError(t, err)
	listed, err := lists.Recv()
	require.NoError(t, err)
	report, err := desk.GetReport(ctx, &lightoffv1.GetReportRequest{Id: handle,
		Form: lightoffv1.ReportForm_REPORT_FORM_JSON})
	require.NoError(t, err)
	assert.NotContains(t, report.Text+report.FileName, id)
	for _, m := range []interface{ String() string }{list, found, redeemed, got, noted, record, pushed, listed} {
		assert.NotContains(t, m.String(), id)
	}
	for name, err := range map[string]error{
		"change the key": second(r.ChangeKey(ctx, &lightoffv1.ChangeKeyRequest{Id: handle, ClientKey: "0123456789abcdef"})),
		"make a code":    second(r.MakeCode(ctx, &lightoffv1.MakeCodeRequest{Id: handle})),
		"look on":        second(r.MakeLookOnKey(ctx, &lightoffv1.MakeLookOnKeyRequest{Id: handle})),
		"by the key":     second(r.ChangeKey(ctx, &lightoffv1.ChangeKeyRequest{Id: id, ClientKey: "0123456789abcdef"})),
	} {
		assert.Equal(t, codes.PermissionDenied, code(err), name)
		assert.Equal(t, "OWNER_ONLY", reason(t, err), name)
	}
	_, err = r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: handle})
	assert.Equal(t, codes.NotFound, code(err), "a handle is no key")
	other, otherCtx := r.atDesk(t, "Otto")
	_, err = other.GetRecord(otherCtx, &lightoffv1.GetRecordRequest{Id: handle})
	assert.Equal(t, codes.NotFound, code(err), "it is good with its own token only")

	tokens, err := r.store.Tokens(r.ctx)
	require.NoError(t, err)
	for _, token := range tokens {
		if token.Name == "Ines" {
			require.NoError(t, r.store.RevokeToken(r.ctx, token.ID))
		}
	}
	for _, err := range []error{
		second(r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: handle})),
		second(r.GetConversation(otherCtx, &lightoffv1.GetConversationRequest{Id: handle})),
		second(r.DeleteConversation(otherCtx, &lightoffv1.DeleteConversationRequest{Id: handle})),
	} {
		assert.Equal(t, codes.NotFound, code(err))
	}
	_, err = r.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: handle})
	assert.Equal(t, codes.Unauthenticated, code(err))
}

// second is the error of a call.
func second[T any](_ T, err error) error { return err }

// TestDeskLetsItsOwnCallersIn: who opened a card at a desk has no key of it but by a code.
func TestDeskLetsItsOwnCallersIn(t *testing.T) {
	r := start(t)
	_, ctx := r.atDesk(t, "Ines")
	opened, err := r.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{ClientKey: "0123456789abcdef"})
	require.NoError(t, err)
	id := r.keyOf(t, opened.Conversation.Id)
	made, err := r.MakeCode(ctx, &lightoffv1.MakeCodeRequest{Id: opened.Conversation.Id})
	require.NoError(t, err)
	back, err := r.RedeemCode(r.ctx, &lightoffv1.RedeemCodeRequest{Code: made.Code})
	require.NoError(t, err)
	told, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: back.Id,
		Observations: []*lightoffv1.Observation{state("lamp", "on")}})
	require.NoError(t, err)
	assert.Equal(t, back.Id, told.Conversation.Id)
	kept, err := r.store.Read(r.ctx, id)
	require.NoError(t, err)
	assert.Len(t, kept.Events, 2)
}

// TestVisitorsKey: a spoken code opens a card, and neither hands out its key nor lets others in or ends it.
func TestVisitorsKey(t *testing.T) {
	r := start(t)
	id := r.open(t)
	made, err := r.MakeCode(r.ctx, &lightoffv1.MakeCodeRequest{Id: id})
	require.NoError(t, err)
	back, err := r.RedeemCode(r.ctx, &lightoffv1.RedeemCodeRequest{Code: made.Code})
	require.NoError(t, err)
	stream, err := r.WatchConversation(r.ctx, &lightoffv1.WatchConversationRequest{Id: back.Id})
	require.NoError(t, err)
	_, err = stream.Recv()
	require.NoError(t, err)
	r.answer(t, id, state("lamp", "on"))
	pushed, err := stream.Recv()
	require.NoError(t, err)
	text, err := protojson.Marshal(pushed)
	require.NoError(t, err)
	assert.NotContains(t, string(text), id)
	assert.Equal(t, back.Id, pushed.Conversation.Id)
	for name, err := range map[string]error{
		"change the key": second(r.ChangeKey(r.ctx, &lightoffv1.ChangeKeyRequest{Id: back.Id,
			ClientKey: "0123456789abcdef"})),
		"delete":      second(r.DeleteConversation(r.ctx, &lightoffv1.DeleteConversationRequest{Id: back.Id})),
		"make a code": second(r.MakeCode(r.ctx, &lightoffv1.MakeCodeRequest{Id: back.Id})),
		"look on":     second(r.MakeLookOnKey(r.ctx, &lightoffv1.MakeLookOnKeyRequest{Id: back.Id})),
	} {
		assert.Equal(t, codes.PermissionDenied, code(err), name)
	}
	for _, bad := range []string{"v", "vNOBODY", "v" + id, strings.ToUpper(back.Id)} {
		_, err = r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: bad})
		assert.Equal(t, codes.NotFound, code(err), bad)
	}
}

// TestChangeKey: whatever led to a card before leads nowhere, the log stays as it was, and an answer that was lost
// locks nobody out.
func TestChangeKey(t *testing.T) {
	r := start(t)
	look := lightoffv1.NewLookOnServiceClient(r.conn)
	desk, ctx := r.atDesk(t, "Ines")
	opening := &lightoffv1.OpenConversationRequest{ClientKey: "fedcba9876543210"}
	opened, err := r.OpenConversation(r.ctx, opening)
	require.NoError(t, err)
	id := opened.Conversation.Id
	before := r.answer(t, id, state("lamp", "on"))
	made, err := r.MakeCode(r.ctx, &lightoffv1.MakeCodeRequest{Id: id})
	require.NoError(t, err)
	back, err := r.RedeemCode(r.ctx, &lightoffv1.RedeemCodeRequest{Code: made.Code})
	require.NoError(t, err)
	key, err := r.MakeLookOnKey(r.ctx, &lightoffv1.MakeLookOnKeyRequest{Id: id})
	require.NoError(t, err)
	handle, err := desk.FindConversation(ctx, &lightoffv1.FindConversationRequest{Code: made.Code})
	require.NoError(t, err)
	stream, err := r.WatchConversation(r.ctx, &lightoffv1.WatchConversationRequest{Id: id, AfterEvent: 2})
	require.NoError(t, err)
	_, err = stream.Header()
	require.NoError(t, err)

	assert.Equal(t, []string{"client_key"}, fields(t, second(r.ChangeKey(r.ctx, &lightoffv1.ChangeKeyRequest{Id: id}))))
	change := &lightoffv1.ChangeKeyRequest{Id: id, ClientKey: "0123456789abcdef"}
	changed, err := r.ChangeKey(r.ctx, change)
	require.NoError(t, err)
	again, err := r.ChangeKey(r.ctx, change)
	require.NoError(t, err, "sent again")
	assert.Equal(t, changed.Id, again.Id)
	assert.NotEqual(t, id, changed.Id)
	assert.Regexp(t, `^[A-Z2-7]{26}$`, changed.Id)

	_, err = stream.Recv()
	assert.Equal(t, codes.NotFound, code(err), "who watches by the old key is told")
	for name, err := range map[string]error{
		"old key":     second(r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})),
		"visitor":     second(r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: back.Id})),
		"code":        second(r.RedeemCode(r.ctx, &lightoffv1.RedeemCodeRequest{Code: made.Code})),
		"look-on key": second(look.GetView(r.ctx, &lightoffv1.GetViewRequest{Key: key.Key})),
		"handle":      second(desk.GetRecord(ctx, &lightoffv1.GetRecordRequest{Id: handle.Id})),
		"another":     second(r.ChangeKey(r.ctx, &lightoffv1.ChangeKeyRequest{Id: id, ClientKey: "another0123456789"})),
	} {
		assert.Equal(t, codes.NotFound, code(err), name)
	}
	other, err := r.OpenConversation(r.ctx, opening)
	require.NoError(t, err)
	assert.NotEqual(t, changed.Id, other.Conversation.Id, "nor does the key of its opening")
	now, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: changed.Id})
	require.NoError(t, err)
	assert.Equal(t, before.LastEvent, now.Conversation.LastEvent)
	assert.Equal(t, told(before), told(now.Conversation))
	list, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Entries, 1)
	assert.Equal(t, changed.Id, r.keyOf(t, list.Entries[0].Id), "the desk still sees it")
}

// TestDeletionSaysByWhat: the log tells the kind of credential, and no key.
func TestDeletionSaysByWhat(t *testing.T) {
	r := start(t)
	_, ctx := r.atDesk(t, "Ines")
	id := r.open(t)
	_, err := r.DeleteConversation(r.ctx, &lightoffv1.DeleteConversationRequest{Id: id})
	require.NoError(t, err)
	second := r.open(t)
	_, err = r.DeleteConversation(ctx, &lightoffv1.DeleteConversationRequest{Id: r.handles.handleOf(second)})
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		return strings.Contains(r.log.String(), `by=handle token=Ines`)
	}, patience, time.Millisecond)
	assert.Contains(t, r.log.String(), `by=key token=""`)
	assert.NotContains(t, r.log.String(), id)
	assert.NotContains(t, r.log.String(), second)
}
