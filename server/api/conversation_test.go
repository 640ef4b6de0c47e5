package api

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"sync"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

func TestConversation(t *testing.T) {
	r := start(t)
	opened, err := r.OpenConversation(r.ctx, &lightoffv1.OpenConversationRequest{Tools: []string{"multimeter"}})
	require.NoError(t, err)
	c := opened.Conversation
	assert.Equal(t, int64(1), c.LastEvent)
	assert.Equal(t, "en", c.Locale)
	assert.Equal(t, []string{"multimeter"}, c.Tools)
	assert.Len(t, c.Assessment.Causes, 4)
	require.NotEmpty(t, c.Next, "the safety card comes first")
	assert.True(t, proto.Equal(&lightoffv1.ObservationInfo{
		Id: "lamp", Title: "Lamp", Question: "Does the lamp come on?", How: "Press the switch and look.",
		Why: "It tells whether current arrives.", Minutes: 1, Difficulty: 1, SafetyCard: true,
		States: []*lightoffv1.StateInfo{{Id: "on", Title: "lamp glows"}, {Id: "off", Title: "lamp stays dark"}},
	}, c.Next[0]), "%v", c.Next[0])

	c = r.answer(t, c.Id, state("lamp", "on"), number("age", 12.5), unknown("element_resistance", true))
	assert.Equal(t, map[string]string{"lamp": "on", "age": "number", "element_resistance": "unknown"}, told(c))
	for _, thing := range c.Told {
		assert.Equal(t, int64(2), thing.Event)
		assert.NotEmpty(t, thing.Text, thing.Observation.Id)
		assert.Equal(t, thing.Observation.Id, thing.Info.GetId())
	}
	assert.True(t, c.Told[1].Info.Setup)
	assert.Equal(t, "years", c.Told[1].Info.Unit)
	assert.Empty(t, c.Told[1].Info.States, "a number has none")

	skipped, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: c.Id,
		SkippedIds: []string{"deposit", "deposit"}})
	require.NoError(t, err)
	c = skipped.Conversation
	require.Equal(t, "skipped", told(c)["deposit"])
	assert.True(t, c.Told[3].Skipped)
	assert.Equal(t, "Deposit: skipped", c.Told[3].Text)

	c = r.answer(t, c.Id, state("lamp", "off"))
	assert.Equal(t, "off", c.Told[0].Observation.GetState(), "a new value takes the place of the old")
	assert.Equal(t, int64(4), c.Told[0].Event)

	retracted, err := r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: c.Id, ObservationId: "deposit"})
	require.NoError(t, err, "a skipped question can be asked again")
	assert.NotContains(t, told(retracted.Conversation), "deposit")
	_, err = r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: c.Id, ObservationId: "deposit"})
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))

	tools, err := r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: c.Id})
	require.NoError(t, err)
	assert.Empty(t, tools.Conversation.Tools)

	got, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: c.Id})
	require.NoError(t, err)
	assert.True(t, proto.Equal(tools.Conversation, got.Conversation))
	kept, err := r.store.Read(r.ctx, c.Id)
	require.NoError(t, err)
	m, err := kettle()
	require.NoError(t, err)
	fresh := conversations{core: NewDiagnosis(m).core, recent: newRecent()}
	afresh, err := fresh.show(r.ctx, kept, "", inTurn)
	require.NoError(t, err)
	assert.True(t, proto.Equal(tools.Conversation, afresh), "the log folds to the same again")
	assert.Equal(t, int64(6), got.Conversation.LastEvent)
	assert.True(t, proto.Equal(opened.Conversation.OpenedAt, got.Conversation.OpenedAt))
	assert.Empty(t, r.log.String(), "nothing that went well is logged")
}

func TestAnswerMustFitWhatWasTold(t *testing.T) {
	r := start(t)
	id := r.open(t)
	r.answer(t, id, state("code_table", "two_digit"), state("fault_code", "07"))
	_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
		Observations: observations{state("lamp", "on"), state("fault_code", "99")}})
	for _, field := range fields(t, err) {
		assert.Contains(t, field, "observations")
	}
	now, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.Equal(t, map[string]string{"code_table": "two_digit", "fault_code": "07"}, told(now.Conversation),
		"all or none")
}

func TestSayKeepsTheSentence(t *testing.T) {
	r := start(t)
	id := r.open(t)
	text := "ёлки-палки — nothing of this says anything about kettles"
	said, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: text, AskedId: "lamp"})
	require.NoError(t, err)
	require.Len(t, said.Conversation.Sayings, 1)
	saying := said.Conversation.Sayings[0]
	assert.Equal(t, text, saying.Text)
	assert.Equal(t, int64(2), saying.Event)
	assert.Empty(t, r.log.String())
}

func TestSayTakesWhatIsUnderstood(t *testing.T) {
	r := start(t)
	id := r.open(t)
	said, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: "Thick crust.", AskedId: "deposit"})
	require.NoError(t, err)
	c := said.Conversation
	require.Equal(t, map[string]string{"deposit": "thick"}, told(c))
	assert.NotEmpty(t, c.Told[0].Words)
	require.Len(t, c.Sayings[0].Readings, 1)
	assert.NotEmpty(t, c.Sayings[0].Readings[0].Text)
	read, err := r.ReadText(r.ctx, &lightoffv1.ReadTextRequest{Text: "Thick crust.", AskedId: "deposit"})
	require.NoError(t, err)
	require.Len(t, read.Readings, 1)
	assert.True(t, proto.Equal(c.Sayings[0].Readings[0], read.Readings[0]))

	said, err = r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: "7 years", AskedId: "age"})
	require.NoError(t, err)
	assert.Equal(t, 7.0, said.Conversation.Told[1].Observation.GetNumber())
	said, err = r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: "70", AskedId: "age"})
	require.NoError(t, err, "no kettle is that old, but the sentence is kept")
	c = said.Conversation
	assert.Equal(t, 7.0, c.Told[1].Observation.GetNumber())
	assert.Empty(t, c.Sayings[2].Readings)
	assert.Equal(t, []string{"70"}, c.Sayings[2].Unclear)
}

// TestReadingsThatCannotStand feeds readings that the reader of text might one day bring.
func TestReadingsThatCannotStand(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	c := NewDiagnosis(m).core
	reading := func(id, state, words string) diagnosis.Reading {
		return diagnosis.Reading{Observation: diagnosis.Observation{ID: id, State: state}, Words: words}
	}
	before := []diagnosis.Event{
		{Number: 1, Kind: diagnosis.Opened},
		{Number: 2, Kind: diagnosis.Answered, Observations: []diagnosis.Observation{{ID: "code_table", State: "two_digit"}}},
	}
	said := c.account(before, "").admit(diagnosis.Event{Kind: diagnosis.Said, Unclear: []string{"hm"},
		Readings: []diagnosis.Reading{
			reading("lamp", "on", "glows"), reading("lampe", "on", "Lampe"), reading("deposit", "green", "green stuff"),
			reading("fault_code", "99", "99"), {Words: "hm"},
		}})
	assert.Equal(t, []diagnosis.Reading{reading("lamp", "on", "glows")}, said.Readings)
	assert.Equal(t, []string{"hm", "Lampe", "green stuff", "99"}, said.Unclear)
}

func TestRepeatedRequestsChangeNothing(t *testing.T) {
	r := start(t)
	id := r.open(t)
	calls := []struct {
		name string
		call func(key string) (*lightoffv1.Conversation, error)
	}{
		{"Say", func(key string) (*lightoffv1.Conversation, error) {
			a, err := r.SayText(r.ctx, &lightoffv1.SayTextRequest{Id: id, Text: "thin crust", ClientKey: key})
			return a.GetConversation(), err
		}},
		{"Answer", func(key string) (*lightoffv1.Conversation, error) {
			a, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
				Observations: observations{state("lamp", "on")}, ClientKey: key})
			return a.GetConversation(), err
		}},
		{"Retract", func(key string) (*lightoffv1.Conversation, error) {
			a, err := r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id, ObservationId: "lamp", ClientKey: key})
			return a.GetConversation(), err
		}},
		{"SetTools", func(key string) (*lightoffv1.Conversation, error) {
			a, err := r.SetTools(r.ctx, &lightoffv1.SetToolsRequest{Id: id, Tools: []string{"multimeter"}, ClientKey: key})
			return a.GetConversation(), err
		}},
	}
	for i, call := range calls {
		first, err := call.call(call.name)
		require.NoError(t, err, call.name)
		assert.Equal(t, int64(i)+2, first.LastEvent)
		again, err := call.call(call.name)
		require.NoError(t, err, call.name)
		assert.True(t, proto.Equal(first, again), call.name)
	}
}

func TestWatch(t *testing.T) {
	r := start(t)
	id := r.open(t)
	one := r.watch(t, id, 0)
	assert.Equal(t, int64(1), next(t, one).LastEvent, "at once, as nothing has been seen")
	two := r.watch(t, id, 1)
	r.answer(t, id, state("lamp", "off"))
	for _, stream := range []grpc.ServerStreamingClient[lightoffv1.WatchConversationResponse]{one, two} {
		c := next(t, stream)
		assert.Equal(t, int64(2), c.LastEvent, "not event 1 again")
		assert.Equal(t, map[string]string{"lamp": "off"}, told(c))
	}
	assert.Equal(t, int64(2), next(t, r.watch(t, id, 1)).LastEvent, "at once, as there is something new")

	ahead := r.watch(t, id, 99)
	_, err := ahead.Header()
	require.NoError(t, err)
	r.answer(t, id, state("lamp", "on"))
	assert.Equal(t, int64(3), next(t, ahead).LastEvent, "also for a client that has seen what is lost")

	_, err = r.RetractAnswer(r.ctx, &lightoffv1.RetractAnswerRequest{Id: id, ObservationId: "deposit"})
	require.Error(t, err)
	_, err = r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: r.open(t), SkippedIds: []string{"lamp"}})
	require.NoError(t, err)
	r.answer(t, id, state("deposit", "none"))
	assert.Equal(t, int64(3), next(t, one).LastEvent)
	assert.Equal(t, int64(4), next(t, one).LastEvent, "neither what was refused nor another's conversation")
}

func TestWatchEndsWhenTheServerGoesAway(t *testing.T) {
	r := start(t)
	stream := r.watch(t, r.open(t), 0)
	next(t, stream)
	// Two streams of others, which may be idle for ever: one that the server sends on, one that it listens on.
	health, err := healthv1.NewHealthClient(r.conn).Watch(r.ctx, &healthv1.HealthCheckRequest{})
	require.NoError(t, err)
	_, err = health.Recv()
	require.NoError(t, err)
	reflection, err := reflectionv1.NewServerReflectionClient(r.conn).ServerReflectionInfo(r.ctx)
	require.NoError(t, err)
	require.NoError(t, reflection.Send(&reflectionv1.ServerReflectionRequest{
		MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}}))
	_, err = reflection.Recv()
	require.NoError(t, err)

	r.server.Close(r.ctx)
	require.NoError(t, r.ctx.Err(), "nothing had to be cut off")
	_, err = stream.Recv()
	assert.Equal(t, codes.Unavailable, status.Code(err))
	_, err = reflection.Recv()
	assert.Equal(t, codes.Unavailable, status.Code(err))
}

// TestSlowWatcher reads nothing while others write far more than its connection can hold.
func TestSlowWatcher(t *testing.T) {
	r := start(t)
	id := r.open(t)
	slow := r.watch(t, id, 0)
	const changes = 150
	for i := range changes {
		r.answer(t, id, number("age", float64(i%50)))
	}
	seen, last := 0, int64(0)
	for last < 1+changes {
		c := next(t, slow)
		assert.Greater(t, c.LastEvent, last)
		last, seen = c.LastEvent, seen+1
	}
	assert.LessOrEqual(t, seen, 1+changes)
}

func TestManyAtOnce(t *testing.T) {
	r := start(t)
	id := r.open(t)
	stream := r.watch(t, id, 0)
	const writers, each = 4, 10
	var work sync.WaitGroup
	for w := range writers {
		work.Go(func() {
			for i := range each {
				_, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: fmt.Sprint(w, i),
					Observations: observations{state("lamp", []string{"on", "off"}[i%2])}})
				assert.NoError(t, err)
			}
		})
	}
	work.Wait()
	for last := int64(0); last < 1+writers*each; {
		c := next(t, stream)
		require.Greater(t, c.LastEvent, last, "never backwards")
		last = c.LastEvent
	}
}

// TestLogOutlivesModel keeps what an earlier model understood and today's does not.
func TestLogOutlivesModel(t *testing.T) {
	r := start(t)
	kept, err := r.store.Create(r.ctx, "older", diagnosis.Event{Kind: diagnosis.Opened,
		Tools: []string{"wand", "multimeter"}})
	require.NoError(t, err)
	old := []diagnosis.Event{
		{Kind: diagnosis.Said, Text: "the whistle is mute", Readings: []diagnosis.Reading{
			{Observation: diagnosis.Observation{ID: "whistle", State: "mute"}, Words: "whistle is mute"}}},
		{Kind: diagnosis.Answered, Skipped: []string{"lid"}, Observations: []diagnosis.Observation{
			{ID: "lamp", State: "on"}, {ID: "deposit", State: "furry"}}},
	}
	for _, e := range old {
		_, _, err := r.store.Append(r.ctx, kept.ID, store.Request{},
			func([]diagnosis.Event) (diagnosis.Event, error) { return e, nil })
		require.NoError(t, err)
	}
	got, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: kept.ID})
	require.NoError(t, err)
	assert.Equal(t, map[string]string{"lamp": "on"}, told(got.Conversation))
	assert.Equal(t, []string{"multimeter"}, got.Conversation.Tools)
	assert.Equal(t, "whistle is mute", got.Conversation.Sayings[0].Readings[0].Words)
	assert.NotContains(t, r.log.String(), "mute")

	c := r.answer(t, kept.ID, state("deposit", "thin"))
	assert.Equal(t, map[string]string{"lamp": "on", "deposit": "thin"}, told(c), "it can be continued")
}

// TestWhatCannotBeAssessedIsNotKept gives the kettle a state that its model holds impossible, which no good model does.
func TestWhatCannotBeAssessedIsNotKept(t *testing.T) {
	files := fstest.MapFS{}
	original := os.DirFS("../testdata/kettle")
	require.NoError(t, fs.WalkDir(original, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := fs.ReadFile(original, path)
		files[path] = &fstest.MapFile{Data: text}
		return err
	}))
	files["bell.yaml"] = &fstest.MapFile{Data: []byte(
		`observations: [{id: bell, states: [mute, rings], rules: [{then: {mute: 1}}], slips: 0, basis: invented}]`)}
	texts := files["text/en/observations.yaml"]
	texts.Data = append(texts.Data,
		"bell: {title: Bell, question: Does it ring?, states: {mute: no bell, rings: a bell}}\n"...)
	m, err := knowledge.Load(files, nil)
	require.NoError(t, err)

	r := startWith(t, m)
	id := r.open(t)
	before := r.answer(t, id, state("lamp", "on"))
	_, err = r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id,
		Observations: observations{state("bell", "rings")}})
	assert.Equal(t, codes.Internal, status.Code(err))
	after, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.True(t, proto.Equal(before, after.Conversation))
	r.answer(t, id, state("bell", "mute"))
}

func (r *running) watch(t *testing.T, id string,
	after int64) grpc.ServerStreamingClient[lightoffv1.WatchConversationResponse] {
	t.Helper()
	ctx, cancel := context.WithCancel(r.ctx)
	t.Cleanup(cancel)
	stream, err := r.WatchConversation(ctx, &lightoffv1.WatchConversationRequest{Id: id, AfterEvent: after})
	require.NoError(t, err)
	return stream
}

func next(t *testing.T,
	stream grpc.ServerStreamingClient[lightoffv1.WatchConversationResponse]) *lightoffv1.Conversation {
	t.Helper()
	message, err := stream.Recv()
	require.NoError(t, err)
	return message.Conversation
}
