//go:build !js

package api

import (
	"context"
	"crypto/sha256"
	"errors"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"

	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

var (
	errNoToken = errors.New("this call needs a token: metadata \"authorization: Bearer …\"")
	errScope   = errors.New("the token does not allow this call")
)

// needs lists the services that not everybody may call. Owners need no token: their conversation's id is its key.
var needs = []struct {
	service string
	scope   store.Scope
}{
	{"/lightoff.v1.DeskService/", store.Desk},
	{"/lightoff.v1.ModerationService/", store.Moderator},
}

// visitorKey is the metadata in which the pages' bridge says for whom it calls. From outside it means nothing.
const visitorKey = "lightoff-visitor"

// healthAndReflection begins the names of the calls for health and for what the server says about itself, which have no
// limit.
const healthAndReflection = "/grpc."

// insideNetwork is the network of the listener within the process, over which the bridge calls.
const insideNetwork = "bufconn"

// recheck is how often a stream's token is looked at again.
const recheck = time.Minute

// access decides who may call what, and how often.
type access struct {
	model   *knowledge.Model
	store   *store.Store
	proxies []netip.Prefix
	limiter *Limiter
	good    goodTokens
}

// caller is who calls: an address, or the holder of a token.
type caller struct {
	key    string
	token  string // its text, or empty
	name   string // of the token
	desk   bool   // the token is a desk's
	inside bool   // calls for one of the pages' sockets, which are counted where they are opened

	handles *handles // a desk's names of conversations; nil for others
	named   naming   // the conversation that the request is about, if it is about one

	over *limited // has asked for too much, and may hear of dangers only
}

// caller finds out who calls. A token that is not valid is refused whatever the call is.
func (a *access) caller(ctx context.Context) (caller, error) {
	md, _ := metadata.FromIncomingContext(ctx)
	var c caller
	c.key, c.inside = a.address(ctx, md)
	given := md.Get("authorization")
	if len(given) == 0 {
		return c, nil
	}
	t, text, err := a.token(ctx, c.key, given)
	if err != nil {
		return c, err
	}
	c.key, c.token, c.name, c.desk = "token "+t.ID+" "+string(t.Scope), text, t.Name, t.Scope == store.Desk
	if c.desk {
		c.handles = newHandles(text)
	}
	return c, nil
}

// token is what a call's token stands for. An address that has tried too many that are not is not even looked up for,
// save with one that was good a moment ago.
func (a *access) token(ctx context.Context, address string, given []string) (t store.Token, text string, err error) {
	text, ok := strings.CutPrefix(given[0], "Bearer ")
	good := !a.limiter.barred(address) || a.good.contains(text)
	err = store.ErrToken
	if ok && len(given) == 1 && good {
		t, err = a.store.Token(ctx, text)
	}
	switch {
	case err == nil:
		a.good.add(text)
	case errors.Is(err, store.ErrToken):
		if wait := a.limiter.badToken(address); wait > 0 {
			err = &limited{what: "tokens", wait: wait}
		}
	}
	return t, text, err
}

// maxGood bounds how many tokens are remembered as good.
const maxGood = 1000

// goodTokens are digests of tokens that were good. Whether they still are is looked up whenever they are used.
type goodTokens struct {
	mu    sync.Mutex
	known map[[sha256.Size]byte]bool
}

func (g *goodTokens) contains(text string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.known[sha256.Sum256([]byte(text))]
}

func (g *goodTokens) add(text string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.known) >= maxGood || g.known == nil {
		g.known = map[[sha256.Size]byte]bool{}
	}
	g.known[sha256.Sum256([]byte(text))] = true
}

// calledBy is the key of the context's value that says who calls.
type calledBy struct{}

// whoCalls is who makes a call that was admitted.
func whoCalls(ctx context.Context) caller {
	c, _ := ctx.Value(calledBy{}).(caller)
	return c
}

func (a *access) address(ctx context.Context, md metadata.MD) (from string, inside bool) {
	p, ok := peer.FromContext(ctx)
	if !ok || p.Addr == nil {
		return "", false
	}
	if p.Addr.Network() == insideNetwork {
		return strings.Join(md.Get(visitorKey), ""), true
	}
	return visitor(p.Addr.String(), md.Get("x-forwarded-for"), a.proxies), false
}

// OnBehalfOf adds to the context of a call, made within the process, for whom it is made.
func OnBehalfOf(ctx context.Context, visitor string) context.Context {
	return metadata.AppendToOutgoingContext(ctx, visitorKey, visitor)
}

// WithBearerToken adds a token to the context of a call.
func WithBearerToken(ctx context.Context, token string) context.Context {
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
}

// ClientAddress tells where a request for a page comes from: its peer's address, or, where the peer is one of our
// proxies, the address that the proxy saw. Of an IPv6 address only the network counts, for a visitor has all of that.
func ClientAddress(r *http.Request, proxies []netip.Prefix) string {
	return visitor(r.RemoteAddr, r.Header.Values("X-Forwarded-For"), proxies)
}

// PeerAddress is what counts of the address of a peer, whoever it may call for.
func PeerAddress(peer string) string { return visitor(peer, nil, nil) }

func visitor(peer string, forwarded []string, proxies []netip.Prefix) string {
	host, _, err := net.SplitHostPort(peer)
	if err != nil {
		host = peer
	}
	chain := strings.Split(strings.Join(forwarded, ","), ",")
	for ours(host, proxies) && len(chain) > 0 {
		last := strings.TrimSpace(chain[len(chain)-1])
		if _, err := netip.ParseAddr(last); err != nil {
			break
		}
		host, chain = last, chain[:len(chain)-1]
	}
	at, err := netip.ParseAddr(host)
	if err != nil {
		return host
	}
	if at = at.Unmap().WithZone(""); at.Is6() {
		network, _ := at.Prefix(64)
		return network.String()
	}
	return at.String()
}

func ours(host string, proxies []netip.Prefix) bool {
	at, err := netip.ParseAddr(host)
	return err == nil && slices.ContainsFunc(proxies, func(p netip.Prefix) bool { return p.Contains(at.Unmap()) })
}

// allowed returns nil if the holder of the key may call the method.
func allowed(c caller, method string) error {
	for _, need := range needs {
		if !strings.HasPrefix(method, need.service) {
			continue
		}
		switch {
		case c.token == "":
			return errNoToken
		case !strings.HasSuffix(c.key, " "+string(need.scope)):
			return errScope
		}
	}
	return nil
}

// answersCard reports whether a request does nothing but answer the safety card of a conversation, which has an
// allowance of its own.
func (a *access) answersCard(req any) bool {
	switch req := req.(type) {
	case *lightoffv1.AnswerQuestionsRequest:
		return len(req.GetDismissedOfferIds()) == 0 && a.onCard(req.GetObservations(), req.GetSkippedIds())
	case *lightoffv1.RetractAnswerRequest:
		return isOnCard(a.model, req.GetObservationId())
	}
	return false
}

func (a *access) onCard(observations []*lightoffv1.Observation, skipped []string) bool {
	for _, o := range observations {
		if !isOnCard(a.model, o.GetId()) {
			return false
		}
	}
	for _, id := range skipped {
		if !isOnCard(a.model, id) {
			return false
		}
	}
	return len(observations)+len(skipped) > 0
}

// isOnCard reports whether an observation is on the safety card.
func isOnCard(m *knowledge.Model, id string) bool {
	o, ok := m.Observation(id)
	return ok && o.SafetyCard
}

// guess reports whether a request tries a code that somebody might guess.
func guess(req any) bool {
	switch req.(type) {
	case *lightoffv1.RedeemCodeRequest, *lightoffv1.FindConversationRequest:
		return true
	}
	return false
}

// admit returns who calls, and nil if the call may go on now.
func (a *access) admit(ctx context.Context, method string, req any) (caller, error) {
	c, err := a.caller(ctx)
	if err != nil {
		return c, err
	}
	err = a.admitCaller(c, method, req)
	if over, ok := errors.AsType[*limited](err); ok && a.warns(req) {
		c.over, err = over, nil
	}
	return c, err
}

// warns reports whether a request is answered with its dangers, and no more, though its caller has asked for too much.
// No limit refuses an answer to the safety card.
func (a *access) warns(req any) bool {
	_, assess := req.(*lightoffv1.AssessRequest)
	return assess || a.answersCard(req)
}

func (a *access) admitCaller(c caller, method string, req any) error {
	if err := allowed(c, method); err != nil {
		return err
	}
	if guess(req) {
		if wait := a.limiter.guess(c.key); wait > 0 {
			return &limited{what: "codes", wait: wait}
		}
	}
	take, what := a.limiter.request, "requests"
	switch _, opens := req.(*lightoffv1.OpenConversationRequest); {
	case strings.HasPrefix(method, healthAndReflection):
		return nil
	case opens: // the way to the card
		take, what = a.limiter.open, "opens"
	case a.answersCard(req):
		take, what = a.limiter.card, "safety answers"
	}
	if wait := take(c.key); wait > 0 {
		return &limited{what: what, wait: wait}
	}
	return nil
}

// limited means that a caller has asked for too much.
type limited struct {
	what string
	wait time.Duration
}

func (l *limited) Error() string { return "too many " + l.what + " from one place; wait and ask again" }

// tooMany are the reasons of limits.
var tooMany = map[string]lightoffv1.ErrorReason{
	"requests":       lightoffv1.ErrorReason_ERROR_REASON_TOO_MANY_REQUESTS,
	"opens":          lightoffv1.ErrorReason_ERROR_REASON_TOO_MANY_OPENS,
	"safety answers": lightoffv1.ErrorReason_ERROR_REASON_TOO_MANY_REQUESTS,

	"tokens":  lightoffv1.ErrorReason_ERROR_REASON_TOO_MANY_TOKENS,
	"codes":   lightoffv1.ErrorReason_ERROR_REASON_TOO_MANY_CODES,
	"streams": lightoffv1.ErrorReason_ERROR_REASON_TOO_MANY_STREAMS,
}

func (l *limited) exhausted() (lightoffv1.ErrorReason, time.Duration) { return tooMany[l.what], l.wait }
