package api

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
	"lightoff/server/store/pgtest"
)

// onBoth runs a test on a server on SQLite and on one on PostgreSQL.
func onBoth(t *testing.T, test func(t *testing.T, r *running)) {
	t.Helper()
	m, err := kettle()
	require.NoError(t, err)
	t.Run("sqlite", func(t *testing.T) { test(t, startAt(t, m, t.TempDir(), Options{})) })
	t.Run("postgres", func(t *testing.T) { test(t, startAt(t, m, pgtest.Database(t), Options{})) })
}

// crowd takes all processors and all places in the line for them, until it is called off.
func (r *running) crowd(t *testing.T) (over func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(r.ctx)
	t.Cleanup(cancel)
	var leaves []func()
	for {
		leave, err := r.server.line.acquire(ctx, "crowd", atOnce)
		if err != nil {
			break
		}
		leaves = append(leaves, leave)
	}
	full := make(chan struct{})
	go func() {
		defer close(full)
		for range maxInLine + 1 {
			refused := make(chan struct{})
			go func() {
				_, err := r.server.line.acquire(ctx, "crowd", inTurn)
				var busy *busy
				if errors.As(err, &busy) {
					close(refused)
				}
			}()
			select {
			case <-refused:
				return
			case <-time.After(time.Millisecond):
			}
		}
	}()
	<-full
	return func() {
		cancel()
		require.Eventually(t, func() bool {
			r.server.line.mu.Lock()
			defer r.server.line.mu.Unlock()
			return r.server.line.waiting == 0
		}, patience, time.Millisecond)
		for _, leave := range leaves {
			leave()
		}
	}
}

// TestDangerNeedsNoInference tells of a danger while there is nothing to think with.
func TestDangerNeedsNoInference(t *testing.T) { onBoth(t, checkDangerNeedsNoInference) }

func checkDangerNeedsNoInference(t *testing.T, r *running) {
	calm, told, said, read := r.open(t), r.open(t), r.open(t), r.open(t)
	r.answer(t, said, number("element_resistance", 0.5))
	whole := r.answer(t, read, live()...)
	require.NotEmpty(t, whole.Assessment.Dangers)
	stream := r.watch(t, told, 1)
	_, err := stream.Header()
	require.NoError(t, err)
	over := r.crowd(t)

	// What was told is new to the server, or it would not have to think.
	age := number("age", 17)
	answered, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: told,
		Observations: append(live(), age), ClientKey: "k"})
	require.NoError(t, err)
	first := answered.Conversation
	assert.True(t, first.Assessment.Pending)
	same := func(c *lightoffv1.Conversation) {
		t.Helper()
		require.Len(t, c.Assessment.Dangers, len(whole.Assessment.Dangers))
		for i, d := range c.Assessment.Dangers {
			assert.True(t, proto.Equal(whole.Assessment.Dangers[i], d), "%v", d)
		}
	}
	same(first)
	assert.Len(t, first.Told, 3)
	require.Len(t, first.Next, 1, "the card can be answered meanwhile")
	assert.Equal(t, "lamp", first.Next[0].Id)
	assert.True(t, proto.Equal(first, next(t, stream)), "and so whoever watches sees it")
	again, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: told, Observations: append(live(), age),
		ClientKey: "k"})
	require.NoError(t, err, "asked again it says the same")
	same(again.Conversation)
	sentence, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: said, Text: "Thick crust.", AskedId: "deposit",
		Locale: "de"})
	require.NoError(t, err)
	assert.True(t, sentence.Conversation.Assessment.Pending)
	assert.Len(t, sentence.Conversation.Assessment.Dangers, len(whole.Assessment.Dangers))
	got, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: told, Locale: "fr"})
	require.NoError(t, err)
	assert.True(t, got.Conversation.Assessment.Pending)
	same(got.Conversation)

	assessed, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{Observations: live()})
	require.NoError(t, err)
	assert.True(t, assessed.Pending)
	assert.Equal(t, whole.Assessment.ModelVersion, assessed.ModelVersion)
	assert.True(t, proto.Equal(whole.Assessment.Dangers[0], assessed.Dangers[0]))
	assert.Empty(t, assessed.Causes)

	// The safety card goes through, too, and so does the way to it.
	card, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: calm,
		Observations: observations{state("lamp", "off")}})
	require.NoError(t, err)
	assert.True(t, card.Conversation.Assessment.Pending)
	opened, err := r.OpenConversation(r.ctx, &lightoffv1.OpenConversationRequest{Tools: []string{"multimeter"}})
	require.NoError(t, err)
	assert.True(t, opened.Conversation.Assessment.Pending)
	assert.Equal(t, "lamp", opened.Conversation.Next[0].Id)

	// All else is refused at once, and nothing of it is kept.
	_, err = r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: calm,
		Observations: observations{state("deposit", "thin")}})
	assert.Equal(t, retryAfter, wait(t, err))
	assert.Equal(t, "BUSY", reason(t, err))
	for _, known := range []*lightoffv1.AssessRequest{{Observations: observations{age}},
		{Observations: live(), DangersKnown: true}} {
		_, err = r.Assess(r.ctx, known)
		assert.Equal(t, "BUSY", reason(t, err))
	}
	kept, err := r.store.Read(r.ctx, calm)
	require.NoError(t, err)
	assert.Len(t, kept.Events, 2)

	over()
	full := next(t, stream)
	assert.False(t, full.Assessment.Pending)
	assert.Equal(t, first.LastEvent, full.LastEvent)
	assert.NotEmpty(t, full.Assessment.Causes)
	same(full)
	got, err = r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: told})
	require.NoError(t, err)
	assert.True(t, proto.Equal(full, got.Conversation))
	known, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{Observations: live(), DangersKnown: true})
	require.NoError(t, err)
	assert.False(t, known.Pending)
	assert.NotEmpty(t, known.Causes)
	assert.Empty(t, r.log.String())
}

// TestNobodyUpToDateCostsAnInference connects watchers anew, as after a restart.
func TestNobodyUpToDateCostsAnInference(t *testing.T) {
	r := start(t)
	id := r.open(t)
	r.answer(t, id, live()...)
	r.server.conversations.recent.drop(id)
	over := r.crowd(t)
	stream := r.watch(t, id, 2)
	_, err := stream.Header()
	require.NoError(t, err)
	r.server.conversations.heard(store.Change{}) // as when a connection to the database is there again
	over()
	r.answer(t, id, state("lamp", "on"))
	assert.Equal(t, int64(3), next(t, stream).LastEvent, "nothing came before")
}

// TestDeskNeedsNoInference: what a desk does waits for nobody.
func TestDeskNeedsNoInference(t *testing.T) {
	r := start(t)
	desk, ctx := r.atDesk(t, "Ines")
	id := r.open(t)
	r.answer(t, id, state("deposit", "thin"))
	r.server.conversations.guided.mu.Lock()
	clear(r.server.conversations.guided.known)
	r.server.conversations.guided.mu.Unlock()
	over := r.crowd(t)
	defer over()
	_, err := desk.AddNote(ctx, &lightoffv1.AddNoteRequest{Id: id, Text: "rings back"})
	require.NoError(t, err)
	list, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Entries, 1)
	assert.Nil(t, list.Entries[0].Lead, "for want of thought")
}

// TestKeyOfAnotherRequest: an answer to the safety card does not vanish behind one that was sent before it.
func TestKeyOfAnotherRequest(t *testing.T) { onBoth(t, checkKeyOfAnotherRequest) }

func checkKeyOfAnotherRequest(t *testing.T, r *running) {
	id := r.open(t)
	calm := &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: "k1", Observations: observations{state("lamp", "on")}}
	first, err := r.AnswerQuestions(r.ctx, calm)
	require.NoError(t, err)
	alarm := &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: "k1",
		Observations: append(live(), state("lamp", "off"))}
	calls := map[string]func() error{
		"other answers": func() error { _, err := r.AnswerQuestions(r.ctx, alarm); return err },
		"skipping": func() error {
			_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: "k1",
				SkippedIds: []string{"lamp"}})
			return err
		},
		"something else": func() error {
			_, err := r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id, ClientKey: "k1", ObservationId: "lamp"})
			return err
		},
		"other tools": func() error {
			_, err := r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: id, ClientKey: "k1"})
			return err
		},
		"the same as another": func() error {
			_, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, ClientKey: "k1", Text: "lamp on"})
			return err
		},
	}
	for name, call := range calls {
		err := call()
		require.Equal(t, codes.AlreadyExists, code(err), "%s: %v", name, err)
		assert.Equal(t, "CLIENT_KEY_REUSED", reason(t, err))
	}
	calm.Locale = "de"
	again, err := r.AnswerQuestions(r.ctx, calm)
	require.NoError(t, err, "in another language it is the same request")
	assert.Equal(t, first.Conversation.LastEvent, again.Conversation.LastEvent)
	alarm.ClientKey = "k2"
	alarmed, err := r.AnswerQuestions(r.ctx, alarm)
	require.NoError(t, err)
	assert.NotEmpty(t, alarmed.Conversation.Assessment.Dangers)

	desk, ctx := r.atDesk(t, "Ines")
	note := &lightoffv1.AddNoteRequest{Id: id, Text: "rings back", ClientKey: "k1"}
	_, err = desk.AddNote(ctx, note)
	require.NoError(t, err, "a desk's keys are its own")
	note.Text = "does not"
	_, err = desk.AddNote(ctx, note)
	assert.Equal(t, "CLIENT_KEY_REUSED", reason(t, err))
	key, err := r.MakeLookOnKey(r.ctx, &lightoffv1.MakeLookOnKeyRequest{Id: id})
	require.NoError(t, err)
	_, err = r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id, ObservationId: "element_resistance"})
	require.NoError(t, err)
	look := lightoffv1.NewLookOnServiceClient(r.conn)
	suggested := &lightoffv1.SuggestAnswerRequest{Key: key.Key, ClientKey: "k1", Observation: state("fault_code", "heat")}
	_, err = look.SuggestAnswer(r.ctx, suggested)
	require.NoError(t, err)
	suggested.Observation = state("fault_code", "supply")
	_, err = look.SuggestAnswer(r.ctx, suggested)
	assert.Equal(t, "CLIENT_KEY_REUSED", reason(t, err))
}

func TestOpenedOnce(t *testing.T) { onBoth(t, checkOpenedOnce) }

func checkOpenedOnce(t *testing.T, r *running) {
	req := &lightoffv1.OpenConversationRequest{Tools: []string{"multimeter"}, ClientKey: strings.Repeat("k", minOpenKey)}
	first, err := r.OpenConversation(r.ctx, req)
	require.NoError(t, err)
	r.answer(t, first.Conversation.Id, live()...)
	again, err := r.OpenConversation(r.ctx, req)
	require.NoError(t, err)
	assert.Equal(t, first.Conversation.Id, again.Conversation.Id)
	assert.NotEmpty(t, again.Conversation.Assessment.Dangers, "it goes on where it stands")
	_, err = r.OpenConversation(r.ctx, &lightoffv1.OpenConversationRequest{ClientKey: req.ClientKey})
	assert.Equal(t, "CLIENT_KEY_REUSED", reason(t, err))
	_, err = r.OpenConversation(r.ctx, &lightoffv1.OpenConversationRequest{ClientKey: req.ClientKey[1:]})
	assert.Equal(t, []string{"client_key"}, fields(t, err), "it would be guessed")
	assert.NotEqual(t, r.open(t), r.open(t))
}

// TestVitalAnswersAlwaysFit fills a conversation.
func TestVitalAnswersAlwaysFit(t *testing.T) { onBoth(t, checkVitalAnswersAlwaysFit) }

func checkVitalAnswersAlwaysFit(t *testing.T, r *running) {
	id := r.open(t)
	long := diagnosis.Event{Kind: diagnosis.Said, Text: strings.Repeat("x", store.MaxBytes/20)}
	var err error
	for err == nil {
		_, _, err = r.store.Append(r.ctx, id, store.Request{},
			func([]diagnosis.Event) (diagnosis.Event, error) { return long, nil })
	}
	require.ErrorIs(t, err, store.ErrFull)
	_, err = r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
		Observations: observations{state("deposit", "thin")}})
	assert.Equal(t, "CONVERSATION_FULL", reason(t, err))
	_, err = r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
		Observations: observations{state("lamp", "on"), state("deposit", "thin")}})
	assert.Equal(t, "CONVERSATION_FULL", reason(t, err), "the card does not carry others in")
	r.answer(t, id, state("lamp", "off"))
	_, err = r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id, ObservationId: "lamp"})
	require.NoError(t, err)
	c := r.answer(t, id, live()...)
	assert.NotEmpty(t, c.Assessment.Dangers, "what brings out a danger fits, whatever it is")
	size := proto.Size(c)
	assert.Less(t, size, 4<<20, "what a client takes by default (google.golang.org/grpc, MaxCallRecvMsgSize)")
}

// TestDangersComeFirst opens many conversations after one in which there is a danger.
func TestDangersComeFirst(t *testing.T) { onBoth(t, checkDangersComeFirst) }

func checkDangersComeFirst(t *testing.T, r *running) {
	desk, ctx := r.atDesk(t, "Ines")
	danger := r.open(t)
	r.answer(t, danger, live()...)
	const others = 320
	want := map[string]bool{danger: true}
	for n := range others {
		_, err := r.store.Create(r.ctx, "v", diagnosis.Event{Kind: diagnosis.Opened})
		require.NoError(t, err)
		c, err := r.store.Create(r.ctx, "v", diagnosis.Event{Kind: diagnosis.Opened})
		require.NoError(t, err)
		want[c.ID] = true
		_, _, err = r.store.Append(r.ctx, c.ID, store.Request{}, func([]diagnosis.Event) (diagnosis.Event, error) {
			return diagnosis.Event{Kind: diagnosis.Answered, Observations: []diagnosis.Observation{
				{ID: "age", Kind: diagnosis.NumberValue, Number: float64(n % 50)}}}, nil
		})
		require.NoError(t, err)
	}
	list, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Entries, maxListed, "empty ones do not count")
	assert.Equal(t, danger, r.keyOf(t, list.Entries[0].Id))
	assert.True(t, list.More)

	req, seen := &lightoffv1.ListConversationsRequest{PageSize: 100}, map[string]bool{}
	for pages := 1; ; pages++ {
		list, err := desk.ListConversations(ctx, req)
		require.NoError(t, err)
		for _, e := range list.Entries {
			id := r.keyOf(t, e.Id)
			assert.False(t, seen[id], "none comes twice")
			seen[id] = true
		}
		assert.Equal(t, list.NextPageToken != "", list.More)
		if req.PageToken = list.NextPageToken; req.PageToken == "" {
			assert.Equal(t, 4, pages)
			break
		}
	}
	assert.Equal(t, want, seen)
	for _, bad := range []*lightoffv1.ListConversationsRequest{{PageSize: -1}, {PageSize: maxListed + 1}, {PageToken: "?"},
		{PageToken: "bnVsbA"}} {
		_, err := desk.ListConversations(ctx, bad)
		if bad.PageToken == "bnVsbA" { // null in JSON, which is a position
			require.NoError(t, err)
			continue
		}
		assert.Len(t, fields(t, err), 1)
	}
	_, err = r.DeleteConversation(r.ctx, &lightoffv1.DeleteConversationRequest{Id: danger})
	require.NoError(t, err)
	list, err = desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{PageSize: 1})
	require.NoError(t, err)
	assert.NotEqual(t, danger, list.Entries[0].Id)
}

// TestLine: callers take turns, one address leaves a processor to the others, and who waits is bounded.
func TestLine(t *testing.T) {
	l := newLine(2, 2)
	l.usual = time.Second // so that four may wait
	ctx, end := context.WithTimeout(t.Context(), patience)
	defer end()
	flood, err := l.acquire(ctx, "flood", inTurn)
	require.NoError(t, err)
	_, err = l.acquire(ctx, "flood", atOnce)
	assert.Error(t, err, "the other processor is not for it")
	order := make(chan string, 10)
	wait := func(who string) {
		t.Helper()
		before := l.waiting
		go func() {
			leave, err := l.acquire(ctx, who, inTurn)
			if assert.NoError(t, err) {
				order <- who
				leave()
			}
		}()
		require.Eventually(t, func() bool { l.mu.Lock(); defer l.mu.Unlock(); return l.waiting == before+1 }, patience,
			time.Millisecond)
	}
	wait("flood")
	wait("flood")
	_, err = l.acquire(ctx, "flood", inTurn)
	var full *busy
	require.ErrorAs(t, err, &full, "two wait already")
	other, err := l.acquire(ctx, "one", atOnce)
	require.NoError(t, err, "in the middle of a flood somebody else begins at once")
	wait("two")
	wait("three")
	_, err = l.acquire(ctx, "four", inTurn)
	require.ErrorAs(t, err, &full, "four wait already")
	impatient, cancel := context.WithCancel(ctx)
	cancel()
	other()
	var got []string
	for range 2 {
		got = append(got, <-order)
	}
	assert.Equal(t, []string{"two", "three"}, got)
	flood()
	assert.Equal(t, "flood", <-order)
	assert.Equal(t, "flood", <-order)
	require.Eventually(t, func() bool { l.mu.Lock(); defer l.mu.Unlock(); return len(l.callers) == 0 && l.free == 2 },
		patience, time.Millisecond)

	holds := []func(){}
	for _, who := range []string{"a", "b"} {
		leave, err := l.acquire(ctx, who, inTurn)
		require.NoError(t, err)
		holds = append(holds, leave)
	}
	_, err = l.acquire(impatient, "c", inTurn)
	assert.ErrorIs(t, err, context.Canceled)
	assert.Zero(t, l.waiting, "who has gone does not wait")
	for _, leave := range holds {
		leave()
	}
	assert.Empty(t, l.callers)
	assert.Equal(t, 2, l.free)
}

// TestMadeUpLanguages: whatever languages are asked for, what is remembered are those that there are.
func TestMadeUpLanguages(t *testing.T) {
	r := start(t)
	id := r.open(t)
	want := r.answer(t, id, state("deposit", "thin"))
	assert.Equal(t, "en", want.Locale)
	over := r.crowd(t) // so that anything new could not be thought about
	defer over()
	for _, tag := range []string{"xx-0", "xx-1", "EN_us", "en", "english", "-", "e\x00"} {
		got, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id, Locale: tag})
		require.NoError(t, err, tag)
		assert.True(t, proto.Equal(want, got.Conversation), tag)
	}
}
