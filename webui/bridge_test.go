package webui_test

import (
	"context"
	"encoding/json"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui"
)

// frame is what the bridge sends.
type frame struct {
	Re    int64 `json:"re"`
	Reply *struct {
		Conversation conversation `json:"conversation"`
	} `json:"reply"`
	Error *struct {
		Code       string `json:"code"`
		Message    string `json:"message"`
		Violations []struct{ Field, Description string }
		RetryAfter float64 `json:"retryAfter"`
		Reason     string  `json:"reason"`
	} `json:"error"`
	Push *conversation `json:"push"`
}

type conversation struct {
	ID        string `json:"id"`
	LastEvent string `json:"lastEvent"`
	Told      []struct {
		Text string `json:"text"`
	} `json:"told"`
	Assessment struct {
		Pending bool `json:"pending"`
	} `json:"assessment"`
}

// peer is a page's end of a socket, without the page.
type peer struct {
	t    *testing.T
	conn *websocket.Conn
}

func socketURL(site *httptest.Server) string {
	return "ws" + strings.TrimPrefix(site.URL, "http") + "/socket"
}

func dial(t *testing.T, site *httptest.Server) *peer {
	t.Helper()
	conn, resp, err := websocket.DefaultDialer.Dial(socketURL(site), http.Header{"Origin": {site.URL}})
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	t.Cleanup(func() { _ = conn.Close() })
	require.NoError(t, conn.SetReadDeadline(time.Now().Add(patience)))
	return &peer{t: t, conn: conn}
}

func (p *peer) send(text string) {
	p.t.Helper()
	require.NoError(p.t, p.conn.WriteMessage(websocket.TextMessage, []byte(text)))
}

func (p *peer) read() frame {
	p.t.Helper()
	_, raw, err := p.conn.ReadMessage()
	require.NoError(p.t, err)
	var f frame
	require.NoError(p.t, json.Unmarshal(raw, &f), string(raw))
	return f
}

// ask sends a request and returns the next frame.
func (p *peer) ask(text string) frame {
	p.t.Helper()
	p.send(text)
	return p.read()
}

// closedWith reads until the socket is closed and returns the close code.
func (p *peer) closedWith() int {
	p.t.Helper()
	for {
		_, _, err := p.conn.ReadMessage()
		if err == nil {
			continue
		}
		var closed *websocket.CloseError
		require.ErrorAs(p.t, err, &closed)
		return closed.Code
	}
}

// TestOrigin: the Origin header is compared with a list, as the OWASP WebSocket Security Cheat Sheet (2025) advises
// against hijacking from other sites; the refusal is RFC 6455's, section 4.2.2.
func TestOrigin(t *testing.T) {
	site := serve(t, newFake(), webui.Options{AllowedOrigins: []string{"https://forum.example"}})
	tests := []struct {
		name, origin string
		want         int
	}{
		{"the page's own host", site.URL, http.StatusSwitchingProtocols},
		{"a listed site", "https://forum.example", http.StatusSwitchingProtocols},
		{"no browser", "", http.StatusSwitchingProtocols},
		{"another site", "https://elsewhere.example", http.StatusForbidden},
		{"a listed name without its scheme", "http://forum.example", http.StatusForbidden},
		{"own host as a prefix only", site.URL + ".elsewhere.example", http.StatusForbidden},
		{"no site at all", "null", http.StatusForbidden},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			head := http.Header{}
			if tt.origin != "" {
				head.Set("Origin", tt.origin)
			}
			conn, resp, err := websocket.DefaultDialer.Dial(socketURL(site), head)
			if err == nil {
				defer conn.Close()
			}
			require.NotNil(t, resp)
			defer resp.Body.Close()
			assert.Equal(t, tt.want, resp.StatusCode)
		})
	}
}

// TestBadFramesCloseTheirOwnSocketOnly: the close codes are those of RFC 6455, section 7.4.1.
func TestBadFramesCloseTheirOwnSocketOnly(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	bystander := dial(t, site)
	long := `{"re":1,"do":"say","request":{"text":"` + strings.Repeat("x", 17<<10) + `"}}`
	tests := []struct {
		name string
		kind int
		text string
		want int
	}{
		{"not JSON", websocket.TextMessage, `{"re":1,`, websocket.CloseInvalidFramePayloadData},
		{"two values", websocket.TextMessage, `{"re":1,"do":"get"} {}`, websocket.CloseInvalidFramePayloadData},
		{"another shape", websocket.TextMessage, `[1]`, websocket.CloseInvalidFramePayloadData},
		{"an unknown field", websocket.TextMessage, `{"re":1,"do":"get","as":"root"}`,
			websocket.CloseInvalidFramePayloadData},
		{"not UTF-8", websocket.TextMessage, "{\"re\":1,\"do\":\"\xff\"}", websocket.CloseInvalidFramePayloadData},
		{"no number", websocket.TextMessage, `{"do":"get"}`, websocket.ClosePolicyViolation},
		{"a negative number", websocket.TextMessage, `{"re":-1,"do":"get"}`, websocket.ClosePolicyViolation},
		{"binary", websocket.BinaryMessage, `{"re":1,"do":"get"}`, websocket.CloseUnsupportedData},
		{"too long", websocket.TextMessage, long, websocket.CloseMessageTooBig},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := dial(t, site)
			require.NoError(t, p.conn.WriteMessage(tt.kind, []byte(tt.text)))
			assert.Equal(t, tt.want, p.closedWith())
		})
	}
	t.Run("short on the wire, too long unfolded", func(t *testing.T) {
		dialer := websocket.Dialer{EnableCompression: true}
		conn, resp, err := dialer.Dial(socketURL(site), nil)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		defer conn.Close()
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(patience)))
		p := &peer{t: t, conn: conn}
		p.send(long)
		assert.Equal(t, websocket.CloseMessageTooBig, p.closedWith())
	})
	assert.Equal(t, "card-1", bystander.ask(`{"re":1,"do":"open"}`).Reply.Conversation.ID)
}

func TestErrorsArePassedOn(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	p := dial(t, site)
	p.ask(`{"re":1,"do":"open","request":{}}`)
	tests := []struct{ name, frame, code, field string }{
		{"violations", `{"re":2,"do":"answer","request":{"id":"card-1","observations":[{"id":"smoke","state":"pink"}]}}`,
			"INVALID_ARGUMENT", "observations[0].state"},
		{"unknown conversation", `{"re":2,"do":"get","request":{"id":"nobody"}}`, "NOT_FOUND", ""},
		{"never told", `{"re":2,"do":"retract","request":{"id":"card-1","observationId":"smoke"}}`, "FAILED_PRECONDITION",
			""},
		{"a field the request lacks", `{"re":2,"do":"get","request":{"id":"card-1","all":true}}`, "INVALID_ARGUMENT", ""},
		{"a field of another type", `{"re":2,"do":"get","request":{"id":7}}`, "INVALID_ARGUMENT", ""},
		{"a request there is not", `{"re":2,"do":"settle","request":{}}`, "UNIMPLEMENTED", ""},
		{"a watch of nothing", `{"re":2,"do":"watch","request":{"id":7}}`, "INVALID_ARGUMENT", ""},
	}
	// what the bridge refuses itself
	own := map[string]string{"INVALID_ARGUMENT": "REQUEST_INVALID", "UNIMPLEMENTED": "NO_SUCH_CALL"}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := p.ask(tt.frame)
			require.NotNil(t, got.Error)
			assert.EqualValues(t, 2, got.Re)
			assert.Equal(t, tt.code, got.Error.Code)
			assert.NotEmpty(t, got.Error.Message)
			if reason := own[tt.code]; reason != "" {
				assert.Equal(t, reason, got.Error.Reason)
			}
			if tt.field != "" {
				require.Len(t, got.Error.Violations, 1)
				assert.Equal(t, tt.field, got.Error.Violations[0].Field)
				assert.NotEmpty(t, got.Error.Violations[0].Description)
			}
		})
	}
}

func TestUnreachableServiceIsSaidWithoutAddresses(t *testing.T) {
	conn := dialFake(t, newFake())
	require.NoError(t, conn.Close())
	site := httptest.NewServer(webui.Handler(conn, webui.Options{CallTimeout: time.Second}))
	defer site.Close()
	got := dial(t, site).ask(`{"re":1,"do":"open"}`)
	require.NotNil(t, got.Error)
	assert.Contains(t, []string{"CANCELLED", "UNAVAILABLE"}, got.Error.Code)
	assert.NotContains(t, got.Error.Message, "passthrough")
}

func TestWatch(t *testing.T) {
	site := serve(t, newFake(), webui.Options{})
	one, two := dial(t, site), dial(t, site)
	one.ask(`{"re":1,"do":"open"}`)

	assert.NotNil(t, two.ask(`{"re":1,"do":"watch","request":{"id":"card-1"}}`).Reply, "a watch is answered at once")
	assert.Equal(t, "1", two.read().Push.LastEvent, "then comes the conversation as it stands")

	one.ask(`{"re":2,"do":"watch","request":{"id":"card-1","afterEvent":"1"}}`)
	one.send(
		`{"re":3,"do":"answer","request":{"id":"card-1","clientKey":"k","observations":[{"id":"smoke","state":"black"}]}}`)
	push := two.read().Push
	require.NotNil(t, push)
	assert.Equal(t, "2", push.LastEvent)
	assert.Equal(t, "Smoke: black", push.Told[0].Text)

	two.send(`{"re":4,"do":"retract","request":{"id":"card-1","observationId":"smoke","clientKey":"k2"}}`)
	replied, last := false, ""
	for last != "3" {
		f := one.read()
		if f.Reply != nil {
			replied = true
			assert.Equal(t, "2", f.Reply.Conversation.LastEvent)
			continue
		}
		require.NotNil(t, f.Push)
		assert.Greater(t, f.Push.LastEvent, last, "pushes come in order")
		assert.False(t, replied && f.Push.LastEvent == "2", "what a reply has carried is not pushed again")
		last = f.Push.LastEvent
	}
	for reply := (frame{}); reply.Re != 4; {
		reply = two.read()
	}

	two.ask(`{"re":5,"do":"watch","request":{"id":"nobody"}}`)
	gone := two.read()
	for gone.Push != nil {
		gone = two.read()
	}
	require.NotNil(t, gone.Error)
	assert.EqualValues(t, 5, gone.Re)
	assert.Equal(t, "NOT_FOUND", gone.Error.Code)
}

// TestAssessmentComesLater: what a reply has carried without its assessment is pushed again with it, once.
func TestAssessmentComesLater(t *testing.T) {
	f := newFake()
	p := dial(t, serve(t, f, webui.Options{}))
	p.ask(`{"re":1,"do":"open"}`)
	p.ask(`{"re":2,"do":"watch","request":{"id":"card-1","afterEvent":"1"}}`)
	f.mu.Lock()
	f.thinking = make(chan struct{})
	f.mu.Unlock()
	p.send(
		`{"re":3,"do":"answer","request":{"id":"card-1","clientKey":"k","observations":[{"id":"co_alarm","state":"sounding"}]}}`)
	got := p.read()
	if got.Push != nil { // whichever comes first
		assert.True(t, got.Push.Assessment.Pending)
		got = p.read()
	}
	require.NotNil(t, got.Reply)
	assert.True(t, got.Reply.Conversation.Assessment.Pending)
	close(f.thinking)
	push := p.read().Push
	require.NotNil(t, push)
	assert.Equal(t, "2", push.LastEvent)
	assert.False(t, push.Assessment.Pending)
	assert.NotNil(t, p.ask(`{"re":4,"do":"get","request":{"id":"card-1"}}`).Reply, "and that is all")
}

func TestRepeatedKeyChangesNothing(t *testing.T) {
	f := newFake()
	site := serve(t, f, webui.Options{})
	p := dial(t, site)
	p.ask(`{"re":1,"do":"open"}`)
	answer :=
		`{"re":2,"do":"answer","request":{"id":"card-1","clientKey":"k","observations":[{"id":"smoke","state":"black"}]}}`
	p.ask(answer)
	assert.Equal(t, "2", dial(t, site).ask(answer).Reply.Conversation.LastEvent)
	assert.EqualValues(t, 2, f.events("card-1"))
}

// TestGoingAway: 1012 is "Service Restart" in IANA's registry of close codes, which RFC 6455, section 11.7, set up.
func TestGoingAway(t *testing.T) {
	done := make(chan struct{})
	site := serve(t, newFake(), webui.Options{Done: done})
	idle, watching := dial(t, site), dial(t, site)
	watching.ask(`{"re":1,"do":"open"}`)
	watching.ask(`{"re":2,"do":"watch","request":{"id":"card-1"}}`)
	close(done)
	assert.Equal(t, websocket.CloseServiceRestart, idle.closedWith())
	assert.Equal(t, websocket.CloseServiceRestart, watching.closedWith())
	late, _, err := websocket.DefaultDialer.Dial(socketURL(site), nil)
	require.NoError(t, err)
	defer late.Close()
	assert.Equal(t, websocket.CloseServiceRestart, (&peer{t: t, conn: late}).closedWith())
}

// TestAnswerUnderWayIsFinished lets the service restart while it answers.
func TestAnswerUnderWayIsFinished(t *testing.T) {
	f, done := newFake(), make(chan struct{})
	site := serve(t, f, webui.Options{Done: done})
	p := dial(t, site)
	p.ask(`{"re":1,"do":"open"}`)
	f.afterAnswer = func(context.Context) {
		close(done)
		time.Sleep(100 * time.Millisecond)
	}
	got := p.ask(`{"re":2,"do":"answer","request":{"id":"card-1","observations":[{"id":"smoke","state":"black"}]}}`)
	require.NotNil(t, got.Reply, "%+v", got.Error)
	assert.Equal(t, "2", got.Reply.Conversation.LastEvent)
	assert.Equal(t, websocket.CloseServiceRestart, p.closedWith())
}

// TestResume: a reader that was dropped dials again and gets what it has missed, and only that.
func TestResume(t *testing.T) {
	f := newFake()
	site := serve(t, f, webui.Options{})
	one, two := dial(t, site), dial(t, site)
	one.ask(`{"re":1,"do":"open"}`)
	two.ask(`{"re":1,"do":"watch","request":{"id":"card-1","afterEvent":"1"}}`)
	require.NoError(t, two.conn.NetConn().Close())
	one.ask(`{"re":2,"do":"answer","request":{"id":"card-1","observations":[{"id":"smoke","state":"black"}]}}`)
	again := dial(t, site)
	again.ask(`{"re":1,"do":"watch","request":{"id":"card-1","afterEvent":"1"}}`)
	assert.Equal(t, "2", again.read().Push.LastEvent)
}

func TestTooManySockets(t *testing.T) {
	left := make(chan struct{}, 1)
	open := 0
	site := serve(t, newFake(), webui.Options{Admit: func(*http.Request) (func(), time.Duration) {
		if open++; open > 1 {
			return nil, 1500 * time.Millisecond
		}
		return func() { left <- struct{}{} }, 0
	}})
	first := dial(t, site)
	_, resp, err := websocket.DefaultDialer.Dial(socketURL(site), nil)
	require.Error(t, err)
	defer resp.Body.Close()
	assert.Equal(t, http.StatusTooManyRequests, resp.StatusCode, "RFC 6585, section 4")
	assert.Equal(t, "2", resp.Header.Get("Retry-After"), "RFC 9110, section 10.2.3: whole seconds")
	require.NoError(t, first.conn.Close())
	select {
	case <-left:
	case <-time.After(patience):
		t.Error("a socket that has ended is not counted any more")
	}
}

// busy tells every Get to wait.
type busy struct{ *fake }

func (busy) GetConversation(context.Context, *lightoffv1.GetConversationRequest) (*lightoffv1.GetConversationResponse,
	error) {
	st, err := status.New(codes.ResourceExhausted,
		"too many").WithDetails(&errdetails.RetryInfo{RetryDelay: durationpb.New(2500 * time.Millisecond)})
	if err != nil {
		return nil, err
	}
	return nil, st.Err()
}

func TestPageThatDoesNotWait(t *testing.T) {
	site := serve(t, busy{newFake()}, webui.Options{})
	patient, pushy := dial(t, site), dial(t, site)
	for range 30 {
		got := patient.ask(`{"re":1,"do":"get","request":{"id":"card-1"}}`)
		require.NotNil(t, got.Error)
		assert.Equal(t, "RESOURCE_EXHAUSTED", got.Error.Code)
		assert.Equal(t, 2.5, got.Error.RetryAfter)
		require.NotNil(t, patient.ask(`{"re":2,"do":"list_observations"}`).Reply)
	}
	for range 25 {
		pushy.send(`{"re":1,"do":"get","request":{"id":"card-1"}}`)
	}
	assert.Equal(t, websocket.CloseTryAgainLater, pushy.closedWith())
}

// guarded takes one token and notes with which calls were made.
type guarded struct {
	*fake
	tokens chan string
}

func (g *guarded) GetModel(ctx context.Context, _ *lightoffv1.GetModelRequest) (*lightoffv1.GetModelResponse, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	if strings.Join(md.Get("authorization"), ",") != "Bearer right" {
		return nil, status.Error(codes.Unauthenticated, "no")
	}
	return &lightoffv1.GetModelResponse{}, nil
}

func (g *guarded) GetConversation(ctx context.Context,
	req *lightoffv1.GetConversationRequest) (*lightoffv1.GetConversationResponse, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	g.tokens <- strings.Join(md.Get("authorization"), ",")
	return g.fake.GetConversation(ctx, req)
}

// TestSignIn: the token comes in a message, not in an address that ends up in logs (OWASP WebSocket Security Cheat
// Sheet, 2025).
func TestSignIn(t *testing.T) {
	g := &guarded{fake: newFake(), tokens: make(chan string, 1)}
	site := serve(t, g, webui.Options{SignIn: func(ctx context.Context, token string) context.Context {
		return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
	}})
	p := dial(t, site)
	get := `{"re":9,"do":"get","request":{"id":"card-1"}}`
	for _, test := range []struct{ frame, code, then string }{
		{`{"re":1,"do":"sign_in","request":{"token":"wrong"}}`, "UNAUTHENTICATED", ""},
		{`{"re":1,"do":"sign_in","request":{"token":"a b"}}`, "INVALID_ARGUMENT", ""},
		{`{"re":1,"do":"sign_in"}`, "INVALID_ARGUMENT", ""},
		{`{"re":1,"do":"sign_in","request":{"token":"right"}}`, "", "Bearer right"},
		{`{"re":1,"do":"sign_in","request":{"token":"right"}}`, "", "Bearer right"},
		{`{"re":1,"do":"sign_in","request":{"token":"wrong"}}`, "UNAUTHENTICATED", "Bearer right"},
	} {
		got := p.ask(test.frame)
		if test.code != "" {
			require.NotNil(t, got.Error)
			assert.Equal(t, test.code, got.Error.Code)
		}
		p.ask(get)
		assert.Equal(t, test.then, <-g.tokens)
	}
	other := dial(t, site)
	other.ask(get)
	assert.Empty(t, <-g.tokens, "for its own socket only")
	closed := serve(t, newFake(), webui.Options{})
	assert.Equal(t, "UNIMPLEMENTED", dial(t, closed).ask(`{"re":1,"do":"sign_in","request":{"token":"right"}}`).Error.Code)
}

func TestPing(t *testing.T) {
	site := serve(t, newFake(), webui.Options{PingInterval: 20 * time.Millisecond})
	answering, silent := dial(t, site), dial(t, site)
	pinged := make(chan struct{}, 64)
	answer := answering.conn.PingHandler()
	answering.conn.SetPingHandler(func(data string) error { pinged <- struct{}{}; return answer(data) })
	silent.conn.SetPingHandler(func(string) error { return nil })
	go func() { _, _, _ = answering.conn.ReadMessage() }()
	_, _, err := silent.conn.ReadMessage()
	var slow net.Error
	assert.False(t, err == nil || errors.As(err, &slow) && slow.Timeout(), "a peer that answers no ping is dropped: %v",
		err)
	for range 6 {
		select {
		case <-pinged:
		case <-time.After(patience):
			t.Fatal("a peer that answers is pinged on and on")
		}
	}
}

func TestSlowReaderIsDropped(t *testing.T) {
	f := newFake()
	f.padding = strings.Repeat("x", 1<<20)
	site := serve(t, f, webui.Options{WriteTimeout: 100 * time.Millisecond})
	slow, other := dial(t, site), dial(t, site)
	// Asks for many megabytes and reads none.
	slow.send(`{"re":1,"do":"open"}`)
	for range 60 {
		slow.send(`{"re":2,"do":"get","request":{"id":"card-1"}}`)
	}
	assert.NotNil(t, other.ask(`{"re":1,"do":"open"}`).Reply, "others are served meanwhile")
	assert.Eventually(t, func() bool {
		return slow.conn.WriteMessage(websocket.TextMessage, []byte(`{"re":3,"do":"get"}`)) != nil
	}, patience, 20*time.Millisecond)
}

// stamped notes the metadata that reached the service.
type stamped struct {
	*fake
	from chan []string
}

func (s *stamped) GetConversation(ctx context.Context,
	req *lightoffv1.GetConversationRequest) (*lightoffv1.GetConversationResponse, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	s.from <- md.Get("x-from")
	return s.fake.GetConversation(ctx, req)
}

func TestAnnotate(t *testing.T) {
	s := &stamped{fake: newFake(), from: make(chan []string, 1)}
	site := serve(t, s, webui.Options{Annotate: func(ctx context.Context, r *http.Request) context.Context {
		return metadata.AppendToOutgoingContext(ctx, "x-from", r.Header.Get("Origin"))
	}})
	dial(t, site).ask(`{"re":1,"do":"get","request":{"id":"nobody"}}`)
	assert.Equal(t, []string{site.URL}, <-s.from)
}

// TestOriginOverTLS: a page that came in the clear does not speak for one over TLS, and browsers are told to use that
// only (RFC 6797).
func TestOriginOverTLS(t *testing.T) {
	site := httptest.NewTLSServer(webui.Handler(dialFake(t, newFake()), webui.Options{}))
	defer site.Close()
	dialer := websocket.Dialer{TLSClientConfig: site.Client().Transport.(*http.Transport).TLSClientConfig}
	for scheme, want := range map[string]int{"https://": http.StatusSwitchingProtocols, "http://": http.StatusForbidden} {
		origin := scheme + strings.TrimPrefix(site.URL, "https://")
		conn, resp, err := dialer.Dial("wss://"+strings.TrimPrefix(site.URL, "https://")+"/socket",
			http.Header{"Origin": {origin}})
		if err == nil {
			conn.Close()
		}
		require.NotNil(t, resp)
		assert.Equal(t, want, resp.StatusCode, scheme)
	}
	resp, err := site.Client().Get(site.URL)
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	assert.Equal(t, "max-age=31536000", resp.Header.Get("Strict-Transport-Security"))
	plain, _ := get(t, serve(t, newFake(), webui.Options{}).URL, nil)
	assert.Empty(t, plain.Header.Get("Strict-Transport-Security"), "in the clear it would mean nothing")
}

// TestHosts: whoever has a name of his own lead here gets nothing, whatever his page's origin says.
func TestHosts(t *testing.T) {
	site := serve(t, newFake(), webui.Options{Hosts: []string{"lightoff.example", "::1"}})
	for host, want := range map[string]int{"lightoff.example": 200, "LIGHTOFF.example:443": 200, "[::1]:7480": 200,
		"elsewhere.example": 421, "lightoff.example.elsewhere.example": 421} {
		for _, path := range []string{"/", "/socket"} {
			req, err := http.NewRequest(http.MethodGet, site.URL+path, nil)
			require.NoError(t, err)
			req.Host = host
			req.Header.Set("Origin", "http://"+host)
			resp, err := http.DefaultClient.Do(req)
			require.NoError(t, err)
			require.NoError(t, resp.Body.Close())
			if path == "/socket" && want == 200 {
				assert.Equal(t, 400, resp.StatusCode, "no socket was asked for")
				continue
			}
			assert.Equal(t, want, resp.StatusCode, "%s%s", host, path)
		}
	}
}
