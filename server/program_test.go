package main

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

func TestRestartKeepsEverything(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	p := newProgram(folder)
	require.NoError(t, p.Open(t.Context()))
	client := lightoffv1.NewConversationServiceClient(dial(t, p))
	open, err := client.OpenConversation(t.Context(), &lightoffv1.OpenConversationRequest{})
	require.NoError(t, err)
	request := &lightoffv1.AnswerQuestionsRequest{Id: open.Conversation.Id, ClientKey: "key",
		Observations: []*lightoffv1.Observation{{Id: "lamp", Value: &lightoffv1.Observation_State{State: "off"}}}}
	before, err := client.AnswerQuestions(t.Context(), request)
	require.NoError(t, err)
	closed(t, p)
	closed(t, p) // again does no harm

	opened(t, p)
	client = lightoffv1.NewConversationServiceClient(dial(t, p))
	after, err := client.GetConversation(t.Context(), &lightoffv1.GetConversationRequest{Id: open.Conversation.Id})
	require.NoError(t, err)
	assert.True(t, proto.Equal(before.Conversation, after.Conversation))
	again, err := client.AnswerQuestions(t.Context(), request)
	require.NoError(t, err)
	assert.True(t, proto.Equal(before.Conversation, again.Conversation), "the request of before is known")
}

func TestPages(t *testing.T) {
	p := opened(t, newProgram(t.TempDir()))
	answer, err := http.Get(p.URL())
	require.NoError(t, err)
	defer answer.Body.Close()
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	page, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	assert.Contains(t, strings.ToLower(string(page)), "<html")
}

// TestClosing follows one conversation over a socket and one over gRPC while the program ends.
func TestClosing(t *testing.T) {
	p := opened(t, newProgram(t.TempDir()))
	socket, _, err := websocket.DefaultDialer.DialContext(t.Context(), "ws"+strings.TrimPrefix(p.URL(), "http")+"socket",
		nil)
	require.NoError(t, err)
	defer socket.Close()
	require.NoError(t, socket.WriteMessage(websocket.TextMessage, []byte(`{"re":1,"do":"open","request":{}}`)))
	_, frame, err := socket.ReadMessage()
	require.NoError(t, err)
	var reply struct {
		Reply struct{ Conversation struct{ ID string } }
	}
	require.NoError(t, json.Unmarshal(frame, &reply), string(frame))
	require.NotEmpty(t, reply.Reply.Conversation.ID, string(frame))

	conn := dial(t, p)
	watch, err := lightoffv1.NewConversationServiceClient(conn).WatchConversation(t.Context(),
		&lightoffv1.WatchConversationRequest{Id: reply.Reply.Conversation.ID})
	require.NoError(t, err)
	_, err = watch.Recv()
	require.NoError(t, err)
	health, err := healthv1.NewHealthClient(conn).Watch(t.Context(),
		&healthv1.HealthCheckRequest{Service: "lightoff.v1.ConversationService"})
	require.NoError(t, err)
	state, err := health.Recv()
	require.NoError(t, err)
	assert.Equal(t, healthv1.HealthCheckResponse_SERVING, state.Status)

	done := make(chan struct{})
	go func() { closed(t, p); close(done) }()
	// Either says the same; which comes first is the network's choice.
	if state, err = health.Recv(); err == nil {
		assert.Equal(t, healthv1.HealthCheckResponse_NOT_SERVING, state.Status)
	} else {
		assert.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
	}
	for err = nil; err == nil; {
		_, _, err = socket.ReadMessage()
	}
	assert.True(t, websocket.IsCloseError(err, websocket.CloseServiceRestart), "%v", err)
	_, err = watch.Recv()
	assert.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
	<-done
}

func TestServeUntilTold(t *testing.T) {
	ctx, end := context.WithCancel(t.Context())
	folder := filepath.Join(t.TempDir(), "data")
	out, in := io.Pipe()
	code := make(chan int, 1)
	go func() {
		c := command{in: strings.NewReader(""), out: in, err: io.Discard, model: kettle}
		code <- c.run(ctx, []string{"-grpc", "127.0.0.1:0", "-web", "127.0.0.1:0", "-data", folder})
		in.Close()
	}()
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	url := strings.Fields(line)[1]
	answer, err := http.Get(url)
	require.NoError(t, err, line)
	answer.Body.Close()
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	assert.DirExists(t, folder)
	end()
	assert.Equal(t, exitDone, <-code)
	_, err = http.Get(url)
	assert.Error(t, err, "nobody answers any more")
}

func TestServeCannotStart(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	address := taken.Addr().String()
	folder := t.TempDir()
	file := filepath.Join(folder, "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	data := filepath.Join(folder, "data")

	free := []string{"-grpc", "127.0.0.1:0", "-web", "127.0.0.1:0", "-data", data}
	tests := []struct {
		name string
		args []string
		want string
	}{
		{"gRPC port in use", append(free, "-grpc", address), "address already in use"},
		{"pages' port in use", append(free, "-web", address), "address already in use"},
		{"no address", append(free, "-web", "nonsense"), "missing port"},
		{"data folder is a file", append(free, "-data", file), "data folder " + file},
		{"data folder below a file", append(free, "-data", filepath.Join(file, "x")), "not a directory"},
		{"unknown flag", append(free, "-wob", "1"), "-wob"},
		{"flag without value", []string{"-grpc"}, "-grpc"},
		{"stray word", append(free, "now"), `"now"`},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			assert.Contains(t, run(t, "", append([]string{"serve"}, test.args...)...).oneLineOf(t, exitUse), test.want)
		})
	}
	assert.NoDirExists(t, data, "what cannot start leaves nothing behind")
	line := runWith(t.Context(), broken, "", free...).oneLineOf(t, exitInput)
	assert.Contains(t, line, "causes.yaml:3:5: what is wrong; causes.yaml:9:1: what else")
}

// TestRealModel is the only test here that leaves the kettle: it talks to the service about a heater for two turns,
// always giving the first answer.
func TestRealModel(t *testing.T) {
	p := newProgram(t.TempDir())
	p.Model = heater.Model
	opened(t, p)
	client := lightoffv1.NewConversationServiceClient(dial(t, p))
	open, err := client.OpenConversation(t.Context(), &lightoffv1.OpenConversationRequest{})
	require.NoError(t, err)
	c := open.Conversation
	require.NotEmpty(t, c.Next)
	for turn := 0; turn < 2 && len(c.Next) > 0; turn++ {
		request := &lightoffv1.AnswerQuestionsRequest{Id: c.Id}
		for _, question := range c.Next {
			assert.NotEmpty(t, question.Question, question.Id)
			o := &lightoffv1.Observation{Id: question.Id, Value: &lightoffv1.Observation_Number{Number: question.Minimum}}
			if len(question.States) > 0 {
				o.Value = &lightoffv1.Observation_State{State: question.States[0].Id}
			}
			request.Observations = append(request.Observations, o)
		}
		answer, err := client.AnswerQuestions(t.Context(), request)
		require.NoError(t, err)
		c = answer.Conversation
		assert.NotEmpty(t, c.Assessment.Causes)
		assert.NotEmpty(t, c.NextReason)
	}
	assert.Equal(t, int64(3), c.LastEvent)
}

// TestConversationInAnotherLanguage reads, follows and writes a conversation in a language other than the one that it
// was opened in; whoever else looks at it goes on reading theirs.
func TestConversationInAnotherLanguage(t *testing.T) {
	p := newProgram(filepath.Join(t.TempDir(), "data"))
	p.Model = heater.Model
	opened(t, p)
	client, ctx := lightoffv1.NewConversationServiceClient(dial(t, p)), t.Context()
	open, err := client.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{Locale: "en"})
	require.NoError(t, err)
	id := open.Conversation.Id
	english, err := client.WatchConversation(ctx, &lightoffv1.WatchConversationRequest{Id: id, AfterEvent: 1})
	require.NoError(t, err)
	german, err := client.WatchConversation(ctx, &lightoffv1.WatchConversationRequest{Id: id, AfterEvent: 1, Locale: "de"})
	require.NoError(t, err)
	for _, stream := range []interface{ Header() (metadata.MD, error) }{english, german} {
		_, err := stream.Header()
		require.NoError(t, err)
	}
	said, err := client.AnswerQuestions(ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, Locale: "de",
		Observations: []*lightoffv1.Observation{
			{Id: "smell_exhaust_inside", Value: &lightoffv1.Observation_State{State: "yes"}}}})
	require.NoError(t, err)
	assert.Equal(t, "de", said.Conversation.Locale)
	assert.Equal(t, "Raus hier: Kohlenmonoxid", said.Conversation.Assessment.Dangers[0].Title)
	change, err := english.Recv()
	require.NoError(t, err)
	assert.Equal(t, "Get out: carbon monoxide", change.Conversation.Assessment.Dangers[0].Title)
	change, err = german.Recv()
	require.NoError(t, err)
	assert.Equal(t, "Raus hier: Kohlenmonoxid", change.Conversation.Assessment.Dangers[0].Title)
	got, err := client.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.Equal(t, "en", got.Conversation.Locale, "it stays what it was opened as")
	assert.Equal(t, "Get out: carbon monoxide", got.Conversation.Assessment.Dangers[0].Title)
}
