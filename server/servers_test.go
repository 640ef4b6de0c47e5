package main

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store/pgtest"
)

// turns is a plain proxy's transport: it sends each request to the next server in turn, and to another one if that
// cannot be reached.
type turns struct {
	servers []*url.URL
	next    atomic.Int64
}

func (t *turns) RoundTrip(r *http.Request) (resp *http.Response, err error) {
	for range t.servers {
		to := t.servers[int(t.next.Add(1))%len(t.servers)]
		r.URL.Scheme, r.URL.Host = to.Scheme, to.Host
		if resp, err = http.DefaultTransport.RoundTrip(r); err == nil {
			return resp, nil
		}
	}
	return nil, err
}

// follower is a page that watches.
type follower struct {
	*socketLine
	t *testing.T
}

// seen reads until the conversation's event has been pushed.
func (f *follower) seen(event int64) {
	f.t.Helper()
	for {
		var frame struct{ Push *shown }
		require.NoError(f.t, f.conn.SetReadDeadline(time.Now().Add(patience)))
		require.NoError(f.t, f.conn.ReadJSON(&frame))
		if frame.Push != nil && frame.Push.LastEvent >= event {
			assert.Equal(f.t, event, frame.Push.LastEvent)
			return
		}
	}
}

func follow(t *testing.T, socket string, c shown) *follower {
	t.Helper()
	f := &follower{socketLine: &socketLine{url: socket}, t: t}
	t.Cleanup(f.close)
	require.NoError(t, f.watch(t.Context(), c))
	return f
}

// TestTwoServersBehindAProxy is the example of the contributor's guide: two servers on one PostgreSQL behind a plain
// proxy. Pages on either see what is said on the other; one server dies and nothing that it acknowledged is lost.
func TestTwoServersBehindAProxy(t *testing.T) {
	place := pgtest.Database(t)
	servers := []*process{
		startProcess(t, free(t), free(t), "-store", place, "-proxies", "127.0.0.1"),
		startProcess(t, free(t), free(t), "-store", place, "-proxies", "127.0.0.1"),
	}
	transport := &turns{}
	for _, s := range servers {
		transport.servers = append(transport.servers, &url.URL{Scheme: "http", Host: s.web})
	}
	proxy := httptest.NewServer(&httputil.ReverseProxy{Transport: transport, Rewrite: func(r *httputil.ProxyRequest) {
		r.SetXForwarded()
		r.Out.Host = r.In.Host // servers compare it with the page's origin
	}})
	defer proxy.Close()
	page, err := http.Get(proxy.URL)
	require.NoError(t, err)
	page.Body.Close()
	assert.Equal(t, http.StatusOK, page.StatusCode)

	socket := "ws" + strings.TrimPrefix(proxy.URL, "http") + "/socket"
	dialer := *websocket.DefaultDialer
	first, _, err := dialer.Dial(socket, http.Header{"Origin": {proxy.URL}})
	require.NoError(t, err, "a page's own origin, as the proxy passes it on")
	first.Close()

	caller := &socketLine{url: socket}
	defer caller.close()
	c, err := caller.open(t.Context())
	require.NoError(t, err)
	// The proxy takes turns, so of two neighbours one is on either server.
	followers := []*follower{follow(t, socket, c), follow(t, socket, c)}
	answer := func(key string) shown {
		t.Helper()
		req := &lightoffv1.AnswerQuestionsRequest{Id: c.ID, ClientKey: key,
			Observations: []*lightoffv1.Observation{{Id: "lamp", Value: &lightoffv1.Observation_State{State: "off"}}}}
		var now shown
		require.Eventually(t, func() bool {
			ctx, cancel := context.WithTimeout(t.Context(), patience)
			defer cancel()
			now, err = caller.answer(ctx, req)
			return err == nil
		}, patience, 20*time.Millisecond)
		return now
	}
	for n := range 4 {
		now := answer(string(rune('a' + n)))
		assert.Equal(t, int64(n)+2, now.LastEvent)
		for _, f := range followers {
			f.seen(now.LastEvent)
		}
	}

	servers[0].kill()
	assert.Equal(t, int64(5), answer("d").LastEvent, "what the dead server may have acknowledged is known to the other")
	now := answer("e")
	assert.Equal(t, int64(6), now.LastEvent)
	lost := 0
	for _, f := range followers {
		if _, _, err := f.conn.ReadMessage(); err == nil {
			continue // it hung on the living one
		}
		lost++
		f.close()
		again := follow(t, socket, shown{ID: c.ID, LastEvent: 5})
		again.seen(6)
	}
	assert.Equal(t, 1, lost)
	servers[1].kill()
	whole(t, place)
}
