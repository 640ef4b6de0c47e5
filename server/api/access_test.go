package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/netip"
	"os"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
	"lightoff/server/store/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// TestTokens: codes as in google.golang.org/grpc/codes: UNAUTHENTICATED for credentials that are missing or wrong,
// PERMISSION_DENIED for a known caller who may not.
func TestTokens(t *testing.T) {
	r := start(t)
	desk, made, err := r.store.MakeToken(t.Context(), "yard", store.Desk, time.Hour)
	require.NoError(t, err)
	program, _, err := r.store.MakeToken(t.Context(), "bot", store.Program, time.Hour)
	require.NoError(t, err)
	a := &access{store: r.store, limiter: NewLimiter(Limits{})}
	in := func(values ...string) context.Context {
		return metadata.NewIncomingContext(t.Context(), metadata.MD{"authorization": values})
	}
	const deskCall, anyCall = "/lightoff.v1.DeskService/ListConversations",
		"/lightoff.v1.ConversationService/GetConversation"
	tests := []struct {
		name, method string
		ctx          context.Context
		want         error
	}{
		{"an owner needs none", anyCall, t.Context(), nil},
		{"a desk call needs one", deskCall, t.Context(), errNoToken},
		{"a desk's is right", deskCall, in("Bearer " + desk), nil},
		{"a desk may do what owners do", anyCall, in("Bearer " + desk), nil},
		{"a program's is not", deskCall, in("Bearer " + program), errScope},
		{"a wrong one is refused everywhere", anyCall, in("Bearer " + desk + "A"), store.ErrToken},
		{"another kind of credential", deskCall, in("Basic " + desk), store.ErrToken},
		{"two", deskCall, in("Bearer "+desk, "Bearer "+desk), store.ErrToken},
	}
	for _, test := range tests {
		assert.ErrorIs(t, func() error { _, err := a.admit(test.ctx, test.method, nil); return err }(), test.want, test.name)
	}
	_, err = r.GetModel(WithBearerToken(r.ctx, "nonsense"), &lightoffv1.GetModelRequest{})
	assert.Equal(t, codes.Unauthenticated, status.Code(err))
	_, err = r.GetModel(WithBearerToken(r.ctx, desk), &lightoffv1.GetModelRequest{})
	require.NoError(t, err)
	require.NoError(t, r.store.RevokeToken(t.Context(), made.ID))
	_, err = r.GetModel(WithBearerToken(r.ctx, desk), &lightoffv1.GetModelRequest{})
	assert.Equal(t, codes.Unauthenticated, status.Code(err), "at once")
	assert.Equal(t, codes.PermissionDenied, status.Code(toStatus(nil, "", errScope)))
	assert.NotContains(t, r.log.String(), desk)
}

// TestRevokedTokenEndsItsStreams: sessions are looked at again while they last (OWASP WebSocket Security Cheat Sheet,
// 2025, on authorization).
func TestRevokedTokenEndsItsStreams(t *testing.T) {
	r := start(t)
	text, made, err := r.store.MakeToken(t.Context(), "yard", store.Desk, time.Hour)
	require.NoError(t, err)
	b := &border{log: slog.New(slog.DiscardHandler), metrics: newMetrics(nil), recheck: 10 * time.Millisecond,
		access: &access{store: r.store, limiter: NewLimiter(Limits{})}}
	held := make(chan struct{}, 1)
	ended := make(chan error, 1)
	ctx := metadata.NewIncomingContext(t.Context(), metadata.MD{"authorization": {"Bearer " + text}})
	go func() {
		ended <- b.streaming(nil, silent{ctx},
			&grpc.StreamServerInfo{FullMethod: "/lightoff.v1.DeskService/WatchConversation"},
			func(_ any, stream grpc.ServerStream) error {
				held <- struct{}{}
				<-stream.Context().Done()
				return stream.Context().Err()
			})
	}()
	<-held
	select {
	case err := <-ended:
		t.Fatal("ended with a valid token: ", err)
	case <-time.After(50 * time.Millisecond):
	}
	require.NoError(t, r.store.RevokeToken(t.Context(), made.ID))
	select {
	case err := <-ended:
		assert.Equal(t, codes.Unauthenticated, status.Code(err), "%v", err)
	case <-time.After(patience):
		t.Error("a revoked token still watches")
	}
}

func TestVisitor(t *testing.T) {
	proxies := []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8"), netip.MustParsePrefix("::1/128")}
	tests := []struct {
		peer, forwarded, want string
	}{
		{"203.0.113.7:1234", "", "203.0.113.7"},
		{"203.0.113.7:1234", "198.51.100.1", "203.0.113.7"}, // whoever is no proxy of ours is not believed
		{"10.0.0.1:1234", "198.51.100.1", "198.51.100.1"},
		{"10.0.0.1:1234", "6.6.6.6, 198.51.100.1", "198.51.100.1"}, // only the last was seen by our proxy
		{"10.0.0.1:1234", "198.51.100.1, 10.0.0.2", "198.51.100.1"},
		{"10.0.0.1:1234", "nonsense", "10.0.0.1"},
		{"10.0.0.1:1234", "", "10.0.0.1"},
		{"[::1]:1", "2001:db8:1:2:3::9", "2001:db8:1:2::/64"},
		{"[2001:db8:1:2:ffff::1]:1", "", "2001:db8:1:2::/64"},
		{"[fe80::1%eth0]:1", "", "fe80::/64"},
		{"[::ffff:203.0.113.7]:1", "", "203.0.113.7"},
		{"", "", ""},
	}
	for _, test := range tests {
		r := &http.Request{RemoteAddr: test.peer, Header: http.Header{}}
		if test.forwarded != "" {
			r.Header.Set("X-Forwarded-For", test.forwarded)
		}
		assert.Equal(t, test.want, ClientAddress(r, proxies), "%+v", test)
	}
}

func FuzzVisitor(f *testing.F) {
	f.Add("10.0.0.1:1", "1.2.3.4, ::1")
	f.Add("[::1%x]:1", ",,")
	f.Fuzz(func(t *testing.T, peer, forwarded string) {
		all := []netip.Prefix{netip.MustParsePrefix("0.0.0.0/0"), netip.MustParsePrefix("::/0")}
		r := &http.Request{RemoteAddr: peer, Header: http.Header{"X-Forwarded-For": {forwarded}}}
		if got := ClientAddress(r, nil); len(got) > len(peer)+10 {
			t.Errorf("%q makes %q", peer, got)
		}
		_ = ClientAddress(r, all)
	})
}

// wait returns how long a refusal says to wait; RESOURCE_EXHAUSTED and RetryInfo as in google/rpc/code.proto and
// google/rpc/error_details.proto.
func wait(t *testing.T, err error) time.Duration {
	t.Helper()
	require.Equal(t, codes.ResourceExhausted, status.Code(err), "%v", err)
	require.NotEmpty(t, reason(t, err))
	for _, detail := range status.Convert(err).Details() {
		if info, ok := detail.(*errdetails.RetryInfo); ok {
			return info.RetryDelay.AsDuration()
		}
	}
	t.Fatal("no RetryInfo: ", err)
	return 0
}

func TestLimits(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	registry := prometheus.NewRegistry()
	limiter := NewLimiter(Limits{Requests: 1, Opens: 12, Sockets: 2})
	now := time.Now()
	limiter.now = func() time.Time { return now }
	r := startAt(t, m, t.TempDir(), Options{Limiter: limiter, Registry: registry})
	mine, theirs := OnBehalfOf(r.ctx, "203.0.113.7"), OnBehalfOf(r.ctx, "203.0.113.8")

	id := r.open(t)
	get := func(ctx context.Context) error {
		_, err := r.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: id})
		return err
	}
	for range 10 {
		require.NoError(t, get(mine))
	}
	delay := wait(t, get(mine))
	assert.InDelta(t, time.Second, delay, float64(time.Millisecond))
	require.NoError(t, get(theirs), "another place is not held up")
	for n := range 20 {
		_, err := r.AnswerQuestions(mine, &lightoffv1.AnswerQuestionsRequest{Id: id,
			Observations: observations{state("lamp", "off")}})
		require.NoError(t, err, "the safety card is never limited")
		_, err = r.Assess(mine, &lightoffv1.AssessRequest{Observations: observations{state("lamp", "off")}})
		wait(t, err)
		warned, err := r.Assess(mine, &lightoffv1.AssessRequest{Observations: live()})
		require.NoError(t, err, "nor is a danger, but that is all there is of it")
		assert.NotEmpty(t, warned.Dangers)
		assert.True(t, warned.Pending)
		_, err = healthv1.NewHealthClient(r.conn).Check(mine, &healthv1.HealthCheckRequest{})
		require.NoError(t, err)
		if n == 0 {
			_, err = r.AnswerQuestions(mine, &lightoffv1.AnswerQuestionsRequest{Id: id,
				Observations: observations{state("lamp", "off"), state("deposit", "thick")}})
			wait(t, err)
		}
	}
	for range 10 * cardAnswers {
		_, err := r.AnswerQuestions(mine, &lightoffv1.AnswerQuestionsRequest{Id: id,
			Observations: observations{state("lamp", "off")}})
		require.NoError(t, err, "no limit refuses the safety card")
	}
	kept, err := r.AnswerQuestions(mine, &lightoffv1.AnswerQuestionsRequest{Id: id,
		Observations: observations{state("lamp", "on")}})
	require.NoError(t, err)
	assert.True(t, kept.GetConversation().GetAssessment().GetPending(), "beyond its allowance it costs no inference")
	now = now.Add(delay)
	require.NoError(t, get(mine), "after the time told")
	wait(t, get(mine))

	open := func(ctx context.Context) error {
		_, err := r.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{})
		return err
	}
	require.NoError(t, open(mine))
	require.NoError(t, open(mine))
	assert.InDelta(t, 5*time.Minute, wait(t, open(mine)), float64(time.Millisecond))

	token, _, err := r.store.MakeToken(t.Context(), "bot", store.Program, time.Hour)
	require.NoError(t, err)
	for range 10 * tokenFactor {
		require.NoError(t, get(WithBearerToken(mine, token)))
	}
	wait(t, get(WithBearerToken(mine, token)))

	figures, err := registry.Gather()
	require.NoError(t, err)
	counted := 0.0
	for _, family := range figures {
		if family.GetName() == "lightoff_refused_total" {
			for _, metric := range family.Metric {
				counted += metric.Counter.GetValue()
			}
		}
	}
	assert.Equal(t, 25.0, counted)
	assert.Empty(t, r.log.String())
}

// TestBadTokensAreCounted: whoever tries tokens is told to wait, and a good one still gets in.
func TestBadTokensAreCounted(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	limiter := NewLimiter(Limits{})
	now := time.Now()
	limiter.now = func() time.Time { return now }
	r := startAt(t, m, t.TempDir(), Options{Limiter: limiter})
	good, _, err := r.store.MakeToken(t.Context(), "yard", store.Desk, time.Hour)
	require.NoError(t, err)
	fresh, _, err := r.store.MakeToken(t.Context(), "barn", store.Desk, time.Hour)
	require.NoError(t, err)
	try := func(token string) error {
		_, err := r.GetModel(WithBearerToken(r.ctx, token), &lightoffv1.GetModelRequest{})
		return err
	}
	require.NoError(t, try(good))
	for range 10 * badTokens {
		require.Equal(t, "TOKEN_INVALID", reason(t, try("AAAA.BBBB")))
	}
	assert.Equal(t, time.Second, wait(t, try("AAAA.BBBB")))
	require.NoError(t, try(good), "it was good a moment ago")
	assert.Equal(t, "TOO_MANY_TOKENS", reason(t, try(fresh)), "one that is new here waits")
	now = now.Add(time.Second)
	require.NoError(t, try(fresh))
}

// TestStreamsAreCounted: streams of the health service are streams.
func TestStreamsAreCounted(t *testing.T) {
	r := start(t)
	// The network of the tests counts as inside, where sockets are counted and not streams; so from outside.
	b := &border{log: slog.New(slog.DiscardHandler), metrics: newMetrics(nil), recheck: recheck,
		access: &access{store: r.store, limiter: NewLimiter(Limits{Sockets: 2, AllSockets: 3})}}
	over := make(chan struct{})
	outside := func() error {
		return b.streaming(nil, silent{t.Context()}, &grpc.StreamServerInfo{FullMethod: healthv1.Health_Watch_FullMethodName},
			func(any, grpc.ServerStream) error { <-over; return nil })
	}
	ended := make(chan error, 2)
	for range 2 {
		go func() { ended <- outside() }()
	}
	require.Eventually(t, func() bool { b.limiter.mu.Lock(); defer b.limiter.mu.Unlock(); return b.limiter.sockets == 2 },
		patience, time.Millisecond)
	assert.Equal(t, "TOO_MANY_STREAMS", reason(t, outside()))
	leave, wait := b.limiter.Socket("another")
	require.Zero(t, wait)
	_, wait = b.limiter.Socket("a third")
	assert.Equal(t, socketWait, wait, "all together")
	leave()
	close(over)
	for range 2 {
		require.NoError(t, <-ended)
	}
	assert.Zero(t, b.limiter.sockets)
}

func TestSocketsAreCounted(t *testing.T) {
	l := NewLimiter(Limits{Sockets: 2})
	one, wait := l.Socket("a")
	require.Zero(t, wait)
	_, wait = l.Socket("a")
	require.Zero(t, wait)
	_, wait = l.Socket("a")
	assert.Positive(t, wait)
	_, wait = l.Socket("b")
	assert.Zero(t, wait)
	one()
	one() // again counts once
	_, wait = l.Socket("a")
	assert.Zero(t, wait)
	_, wait = l.Socket("a")
	assert.Positive(t, wait)
}

func TestLimiterForgets(t *testing.T) {
	l := NewLimiter(Limits{Requests: 1})
	now := time.Now()
	l.now = func() time.Time { return now }
	_, _ = l.Socket("staying")
	for n := range 3 * manyCallers {
		l.request(fmt.Sprint(n))
		now = now.Add(time.Second)
	}
	assert.LessOrEqual(t, len(l.callers), 2*manyCallers)
	assert.Equal(t, 1, l.callers["staying"].sockets)
}
