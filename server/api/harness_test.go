package api

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// patience is how long a test waits for what ought to come at once.
const patience = 20 * time.Second

var kettle = sync.OnceValues(func() (*knowledge.Model, error) {
	return knowledge.Load(os.DirFS("../testdata/kettle"), nil)
})

// running is a server on a new store with a client of each service.
type running struct {
	lightoffv1.DiagnosisServiceClient
	lightoffv1.ConversationServiceClient
	lightoffv1.KnowledgeServiceClient
	lightoffv1.CalculationServiceClient
	conn   *grpc.ClientConn
	server *Server
	store  *store.Store
	log    *safeBuffer
	level  slog.LevelVar
	broken bool // the store was closed by the test
	ctx    context.Context

	handles *handles // of the desk that was made last
}

func start(t testing.TB) *running {
	t.Helper()
	m, err := kettle()
	require.NoError(t, err)
	return startWith(t, m)
}

func startWith(t testing.TB, m *knowledge.Model) *running {
	t.Helper()
	return startAt(t, m, t.TempDir(), Options{})
}

// startAt starts a server on the store at a place.
func startAt(t testing.TB, m *knowledge.Model, place string, opts Options) *running {
	t.Helper()
	events, err := store.Open(t.Context(), place)
	require.NoError(t, err)
	r := &running{store: events, log: &safeBuffer{}}
	r.server = New(m, events, slog.New(slog.NewTextHandler(r.log, &slog.HandlerOptions{Level: &r.level})), opts)
	listener := bufconn.Listen(1 << 16)
	served := make(chan error, 1)
	go func() { served <- r.server.Serve(listener) }()
	r.conn, err = grpc.NewClient("passthrough:///test", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	require.NoError(t, err)
	r.DiagnosisServiceClient = lightoffv1.NewDiagnosisServiceClient(r.conn)
	r.ConversationServiceClient = lightoffv1.NewConversationServiceClient(r.conn)
	r.KnowledgeServiceClient = lightoffv1.NewKnowledgeServiceClient(r.conn)
	r.CalculationServiceClient = lightoffv1.NewCalculationServiceClient(r.conn)
	var cancel context.CancelFunc
	r.ctx, cancel = context.WithTimeout(context.Background(), patience)
	t.Cleanup(func() {
		cancel()
		assert.NoError(t, r.conn.Close())
		limited, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		r.server.Close(limited)
		assert.NoError(t, <-served)
		if !r.broken {
			assert.NoError(t, events.Check(limited), "the store after the test")
		}
		assert.NoError(t, events.Close())
	})
	return r
}

// open opens a conversation and returns its id.
func (r *running) open(t testing.TB) string {
	t.Helper()
	answer, err := r.OpenConversation(r.ctx, &lightoffv1.OpenConversationRequest{})
	require.NoError(t, err)
	return answer.Conversation.Id
}

func (r *running) answer(t *testing.T, id string, observations ...*lightoffv1.Observation) *lightoffv1.Conversation {
	t.Helper()
	answer, err := r.AnswerQuestions(r.ctx, &lightoffv1.AnswerQuestionsRequest{Id: id, Observations: observations})
	require.NoError(t, err)
	return answer.Conversation
}

func state(id, state string) *lightoffv1.Observation {
	return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_State{State: state}}
}

func number(id string, x float64) *lightoffv1.Observation {
	return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_Number{Number: x}}
}

func unknown(id string, is bool) *lightoffv1.Observation {
	return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_Unknown{Unknown: is}}
}

// fields are the fields that a refusal names.
func fields(t *testing.T, err error) []string {
	t.Helper()
	require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
	var named []string
	require.Equal(t, "REQUEST_INVALID", reason(t, err))
	for _, detail := range status.Convert(err).Details() {
		bad, ok := detail.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		for _, v := range bad.FieldViolations {
			assert.NotEmpty(t, v.Description, v.Field)
			named = append(named, v.Field)
		}
	}
	return named
}

// reason is why a call was refused, for programs: google.rpc.ErrorInfo as in google/rpc/error_details.proto.
func reason(t *testing.T, err error) string {
	t.Helper()
	for _, detail := range status.Convert(err).Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok {
			assert.Equal(t, "lightoff", info.Domain)
			assert.Contains(t, lightoffv1.ErrorReason_value, "ERROR_REASON_"+info.Reason)
			return info.Reason
		}
	}
	require.Fail(t, "no ErrorInfo", "%v", err)
	return ""
}

// told lists what stands as id=value.
func told(c *lightoffv1.Conversation) map[string]string {
	out := map[string]string{}
	for _, t := range c.Told {
		switch v := t.Observation.Value.(type) {
		case *lightoffv1.Observation_State:
			out[t.Observation.Id] = v.State
		case *lightoffv1.Observation_Number:
			out[t.Observation.Id] = "number"
		case *lightoffv1.Observation_Unknown:
			out[t.Observation.Id] = "unknown"
		default:
			out[t.Observation.Id] = "skipped"
		}
	}
	return out
}

// safeBuffer is a buffer that may be written and read at the same time.
type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *safeBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *safeBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// unset lists the fields of a message, and of messages in it, that hold nothing.
func unset(m protoreflect.Message) []string {
	var names []string
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if !m.Has(field) {
			names = append(names, string(field.Name()))
			continue
		}
		if field.Message() == nil {
			continue
		}
		inner := []protoreflect.Message{}
		if field.IsList() {
			for j := range m.Get(field).List().Len() {
				inner = append(inner, m.Get(field).List().Get(j).Message())
			}
		} else {
			inner = append(inner, m.Get(field).Message())
		}
		for _, message := range inner {
			for _, name := range unset(message) {
				names = append(names, string(field.Name())+"."+name)
			}
		}
	}
	return names
}
