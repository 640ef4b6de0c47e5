package webui

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/gorilla/websocket"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/frame"
)

// maxFrame is the largest frame taken, compressed or not, in bytes. A text has at most 2,000 characters.
const maxFrame = 16 << 10

// bridge joins sockets to the service.
type bridge struct {
	opts     Options
	clients  clients
	upgrader websocket.Upgrader
}

// request is a frame from the page.
type request struct {
	Re      int64           `json:"re"`
	Do      string          `json:"do"`
	Request json.RawMessage `json:"request"`
}

// answer is a frame to the page.
type answer struct {
	Re    int64           `json:"re,omitempty"`
	Reply json.RawMessage `json:"reply,omitempty"`
	Error *frame.Fault    `json:"error,omitempty"`
	Push  json.RawMessage `json:"push,omitempty"` // a conversation
	List  json.RawMessage `json:"list,omitempty"` // a desk's list of them
}

// session is one socket. The goroutine that serves the request reads and makes the calls, one after the other, which
// keeps their order and lets no page have two in flight; a second one alone writes; a third follows a conversation.
type session struct {
	*bridge
	conn *websocket.Conn
	end  context.CancelCauseFunc
	out  chan answer
	work sync.WaitGroup

	// These are used by the reading goroutine only.
	unwatch context.CancelFunc
	token   string // that later calls are made with, or empty
	refused int    // calls in a row for which the page was told to wait

	mu          sync.Mutex // held while a conversation is handed to the writer
	sentID      string     // the conversation last sent
	sentEvent   int64      // its last event as sent
	sentPending bool       // without its assessment, which is still to come
}

// farewell ends a session with a close frame.
type farewell struct {
	code   int
	reason string
}

func (f farewell) Error() string { return f.reason }

// signIn is the only request that no call of the service answers.
const signIn = "sign_in"

// errGone ends a session that has no peer to say farewell to.
var errGone = errors.New("the peer is gone")

// going ends sessions when the service restarts. Code 1012 is registered for that (RFC 6455's registry at IANA).
var going = farewell{websocket.CloseServiceRestart, "the service restarts"}

// maxRefused is how many calls in a row a page may make though it was told to wait.
const maxRefused = 20

func (b *bridge) serve(w http.ResponseWriter, r *http.Request) { b.open(w, r, "") }

// open opens a socket whose calls are made with a token, unless that is empty.
func (b *bridge) open(w http.ResponseWriter, r *http.Request, token string) {
	if b.opts.Admit != nil {
		leave, wait := b.opts.Admit(r)
		if wait > 0 {
			w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(wait.Seconds()))))
			http.Error(w, "too many sockets from one place", http.StatusTooManyRequests)
			return
		}
		defer leave()
	}
	conn, err := b.upgrader.Upgrade(w, r, nil)
	if err != nil {
		b.opts.Logger.Info("socket refused", "origin", r.Header.Get("Origin"), "reason", err)
		return
	}
	ctx, end := context.WithCancelCause(r.Context())
	if b.opts.Annotate != nil {
		ctx = b.opts.Annotate(ctx, r)
	}
	s := &session{bridge: b, conn: conn, end: end, out: make(chan answer, 4), token: token}
	s.work.Go(func() { s.write(ctx) })
	end(s.read(ctx))
	s.work.Wait()
	b.opts.Logger.Debug("socket ended", "reason", context.Cause(ctx))
}

// read takes frames until the socket breaks or breaks the rules, and tells why it stopped.
func (s *session) read(ctx context.Context) error {
	s.conn.SetReadLimit(maxFrame)
	alive := func(string) error {
		if err := s.conn.SetReadDeadline(time.Now().Add(2 * s.opts.PingInterval)); err != nil {
			return err
		}
		// Looked at after the deadline is set: whoever closes Done sets another one afterwards.
		select {
		case <-s.opts.Done:
			return going
		default:
			return nil
		}
	}
	s.conn.SetPongHandler(alive)
	for {
		if err := alive(""); err != nil {
			return s.readError(err)
		}
		kind, r, err := s.conn.NextReader()
		if err != nil {
			return s.readError(err)
		}
		if kind != websocket.TextMessage {
			return farewell{websocket.CloseUnsupportedData, "only text frames are taken"}
		}
		// The library limits what comes over the wire; this limits what that unfolds to.
		frame, err := io.ReadAll(io.LimitReader(r, maxFrame+1))
		if err != nil {
			return s.readError(err)
		}
		if len(frame) > maxFrame {
			return farewell{websocket.CloseMessageTooBig, "a frame may have 16 KiB"}
		}
		req, err := parseFrame(frame)
		if err != nil {
			return err
		}
		s.handle(ctx, req)
		if s.refused > maxRefused {
			return farewell{websocket.CloseTryAgainLater, "too many requests; come back later"}
		}
	}
}

// readError sorts out why reading failed. The library has already answered a close frame or an oversized one.
func (s *session) readError(err error) error {
	select {
	case <-s.opts.Done:
		return going
	default:
	}
	if errors.Is(err, websocket.ErrReadLimit) {
		return farewell{websocket.CloseMessageTooBig, "a frame may have 16 KiB"}
	}
	return errGone
}

func parseFrame(frame []byte) (request, error) {
	var req request
	if !utf8.Valid(frame) {
		return req, farewell{websocket.CloseInvalidFramePayloadData, "the frame is not UTF-8"}
	}
	dec := json.NewDecoder(bytes.NewReader(frame))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&req); err != nil {
		return req, farewell{websocket.CloseInvalidFramePayloadData, "the frame is not a request in JSON"}
	}
	if _, err := dec.Token(); err != io.EOF {
		return req, farewell{websocket.CloseInvalidFramePayloadData, "the frame holds more than one value"}
	}
	if req.Re < 1 {
		return req, farewell{websocket.ClosePolicyViolation, "a request needs a positive re"}
	}
	return req, nil
}

// handle makes the call that a frame asks for and answers it.
func (s *session) handle(ctx context.Context, req request) {
	if s.token != "" && req.Do != signIn {
		ctx = s.opts.SignIn(ctx, s.token)
	}
	switch {
	case s.clients.streams[req.Do].begin != nil:
		s.startWatch(ctx, req)
		return
	case req.Do == signIn && s.opts.SignIn != nil:
		s.signIn(ctx, req)
		return
	}
	call, ok := s.clients.calls[req.Do]
	if !ok {
		s.send(ctx, answer{Re: req.Re, Error: faultOf(status.Error(codes.Unimplemented, "there is no such request"))})
		return
	}
	callCtx, cancel := context.WithTimeout(ctx, s.opts.CallTimeout)
	defer cancel()
	reply, err := call.make(callCtx, req.Request)
	if err != nil {
		s.refuse(ctx, req, err)
		return
	}
	s.refused = 0
	var c *lightoffv1.Conversation
	if holder, ok := reply.(interface {
		GetConversation() *lightoffv1.Conversation
	}); ok {
		c = holder.GetConversation()
	}
	s.deliver(ctx, reply, c, func(raw json.RawMessage) answer { return answer{Re: req.Re, Reply: raw} })
}

// refuse answers a call that failed.
func (s *session) refuse(ctx context.Context, req request, err error) {
	f := faultOf(err)
	if status.Code(err) == codes.ResourceExhausted && f.RetryAfter > 0 {
		s.refused++
	} else {
		s.refused = 0
	}
	s.send(ctx, answer{Re: req.Re, Error: f})
}

// signIn takes a token for later calls, once the service has taken it.
func (s *session) signIn(ctx context.Context, req request) {
	var given struct {
		Token string `json:"token"`
	}
	err := json.Unmarshal(req.Request, &given)
	if err != nil || given.Token == "" || strings.ContainsFunc(given.Token,
		func(r rune) bool { return r <= ' ' || r > '~' }) {
		s.refuse(ctx, req, status.Error(codes.InvalidArgument, "reading the request: want a token"))
		return
	}
	callCtx, cancel := context.WithTimeout(ctx, s.opts.CallTimeout)
	defer cancel()
	if err := s.clients.ask(s.opts.SignIn(callCtx, given.Token)); err != nil {
		s.refuse(ctx, req, err)
		return
	}
	s.token = given.Token
	s.send(ctx, answer{Re: req.Re, Reply: json.RawMessage("{}")})
}

// startWatch follows something in place of what was followed before.
func (s *session) startWatch(ctx context.Context, req request) {
	if s.unwatch != nil {
		s.unwatch()
	}
	ctx, s.unwatch = context.WithCancel(ctx)
	next, err := s.clients.streams[req.Do].begin(ctx, req.Request)
	if err != nil {
		s.refuse(ctx, req, err)
		return
	}
	s.send(ctx, answer{Re: req.Re, Reply: json.RawMessage("{}")})
	s.work.Go(func() { s.follow(ctx, req.Re, next) })
}

// follow passes changes on until the stream ends.
func (s *session) follow(ctx context.Context, re int64, next func() (proto.Message, *lightoffv1.Conversation, error)) {
	for {
		m, c, err := next()
		if ctx.Err() != nil {
			return
		}
		if errors.Is(err, io.EOF) {
			err = status.Error(codes.Unavailable, "the service ended the stream")
		}
		if err != nil {
			s.send(ctx, answer{Re: re, Error: faultOf(err)})
			return
		}
		s.deliver(ctx, m, c, func(raw json.RawMessage) answer {
			if c == nil {
				return answer{List: raw}
			}
			return answer{Push: raw}
		})
	}
}

// deliver sends a message that holds a conversation, or none. Conversations leave in the order of their events: the
// lock is held until the frame is with the writer. A push that is no news on this socket is left out.
func (s *session) deliver(ctx context.Context, m proto.Message, c *lightoffv1.Conversation,
	wrap func(json.RawMessage) answer) {
	if c != nil && m == proto.Message(c) && s.hasSent(c) {
		return // writing it as JSON is the dearest part
	}
	raw, err := frame.Encode(m)
	if err != nil {
		s.opts.Logger.Error("writing a message as JSON", "error", err)
		s.end(farewell{websocket.CloseInternalServerErr, "the answer could not be written"})
		return
	}
	frame := wrap(raw)
	s.mu.Lock()
	defer s.mu.Unlock()
	if c != nil {
		stale := s.stale(c)
		if stale && frame.Push != nil {
			return
		}
		if !stale {
			s.sentID, s.sentEvent, s.sentPending = c.GetId(), c.GetLastEvent(), c.GetAssessment().GetPending()
		}
	}
	s.send(ctx, frame)
}

// hasSent reports whether a conversation is no news on this socket.
func (s *session) hasSent(c *lightoffv1.Conversation) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.stale(c)
}

// stale is hasSent with the lock held.
func (s *session) stale(c *lightoffv1.Conversation) bool {
	if c.GetId() != s.sentID || c.GetLastEvent() > s.sentEvent {
		return false
	}
	return c.GetLastEvent() < s.sentEvent || !s.sentPending || c.GetAssessment().GetPending()
}

// send hands a frame to the writer. A slow reader holds up its own session only, until the writer drops it.
func (s *session) send(ctx context.Context, a answer) {
	select {
	case s.out <- a:
	case <-ctx.Done():
	}
}

// write sends frames and pings until the session ends, then says farewell and closes the connection, which also
// stops the reader.
func (s *session) write(ctx context.Context) {
	defer s.conn.Close()
	ping := time.NewTicker(s.opts.PingInterval)
	defer ping.Stop()
	leaving := s.opts.Done
	for {
		var err error
		select {
		case a := <-s.out:
			err = s.writeFrame(a)
		case <-ping.C:
			err = s.conn.WriteControl(websocket.PingMessage, nil, time.Now().Add(s.opts.WriteTimeout))
		case <-leaving:
			// The reader ends at once if it waits for a frame, and else once it has answered.
			leaving = nil
			err = s.conn.SetReadDeadline(time.Now())
		case <-ctx.Done():
			s.rest()
			s.sayFarewell(context.Cause(ctx))
			return
		}
		if err != nil {
			s.end(errGone)
			return
		}
	}
}

// rest writes what is still to be written when a session ends.
func (s *session) rest() {
	for {
		select {
		case a := <-s.out:
			if s.writeFrame(a) != nil {
				return
			}
		default:
			return
		}
	}
}

func (s *session) writeFrame(a answer) error {
	frame, err := json.Marshal(a)
	if err != nil {
		return err
	}
	if err := s.conn.SetWriteDeadline(time.Now().Add(s.opts.WriteTimeout)); err != nil {
		return err
	}
	return s.conn.WriteMessage(websocket.TextMessage, frame)
}

// sayFarewell sends the close frame and gives the peer a moment to read it: closing at once, with bytes of the peer's
// still unread, would reset the connection and the reason would be lost.
func (s *session) sayFarewell(cause error) {
	var last farewell
	if !errors.As(cause, &last) {
		return
	}
	frame := websocket.FormatCloseMessage(last.code, last.reason)
	if s.conn.WriteControl(websocket.CloseMessage, frame, time.Now().Add(time.Second)) != nil &&
		last.code != websocket.CloseMessageTooBig {
		return
	}
	if last == going {
		return
	}
	tcp := s.conn.NetConn()
	if tcp.SetReadDeadline(time.Now().Add(time.Second)) == nil {
		_, _ = io.Copy(io.Discard, io.LimitReader(tcp, 1<<20))
	}
}
