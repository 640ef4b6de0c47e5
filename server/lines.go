package main

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/gorilla/websocket"
	"google.golang.org/genproto/googleapis/rpc/code"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// line is a simulated caller's way to the service.
type line interface {
	open(ctx context.Context) (shown, error)
	get(ctx context.Context, id string) (shown, error)
	answer(ctx context.Context, req *lightoffv1.AnswerQuestionsRequest) (shown, error)
	close()
}

// shown is what a simulated caller reads of a conversation.
type shown struct {
	ID        string     `json:"id"`
	LastEvent int64      `json:"lastEvent,string"`
	Next      []question `json:"next"`
}

type question struct {
	ID         string `json:"id"`
	Minimum    bound  `json:"minimum"`
	Maximum    bound  `json:"maximum"`
	SafetyCard bool   `json:"safetyCard"`
	States     []struct {
		ID string `json:"id"`
	} `json:"states"`
}

// bound is a number as protojson writes it: "-Infinity" is one too.
type bound float64

// UnmarshalJSON implements json.Unmarshaler.
func (b *bound) UnmarshalJSON(text []byte) error {
	x, err := strconv.ParseFloat(strings.Trim(string(text), `"`), 64)
	*b = bound(x)
	return err
}

// rpcLine calls gRPC.
type rpcLine struct {
	conn   *grpc.ClientConn
	client lightoffv1.ConversationServiceClient
}

func dialRPC(address string) (line, error) {
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		return nil, err
	}
	return &rpcLine{conn: conn, client: lightoffv1.NewConversationServiceClient(conn)}, nil
}

func (l *rpcLine) open(ctx context.Context) (shown, error) {
	answer, err := l.client.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{})
	return shownOf(answer.GetConversation()), err
}

func (l *rpcLine) get(ctx context.Context, id string) (shown, error) {
	answer, err := l.client.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: id})
	return shownOf(answer.GetConversation()), err
}

func (l *rpcLine) answer(ctx context.Context, req *lightoffv1.AnswerQuestionsRequest) (shown, error) {
	answer, err := l.client.AnswerQuestions(ctx, req)
	return shownOf(answer.GetConversation()), err
}

func (l *rpcLine) close() { l.conn.Close() }

func shownOf(c *lightoffv1.Conversation) shown {
	out := shown{ID: c.GetId(), LastEvent: c.GetLastEvent()}
	for _, o := range c.GetNext() {
		q := question{ID: o.GetId(), Minimum: bound(o.GetMinimum()), Maximum: bound(o.GetMaximum()),
			SafetyCard: o.GetSafetyCard()}
		for _, s := range o.GetStates() {
			q.States = append(q.States, struct {
				ID string `json:"id"`
			}{s.GetId()})
		}
		out.Next = append(out.Next, q)
	}
	return out
}

// socketLine speaks as the page does, over one socket, on which it also watches its conversation.
type socketLine struct {
	url  string
	conn *websocket.Conn
	re   int64
}

func dialSocket(url string) (line, error) { return &socketLine{url: url}, nil }

// ask sends a frame and waits for its answer; what is pushed meanwhile is read and left.
func (l *socketLine) ask(ctx context.Context, what string, request, reply any) (err error) {
	defer func() {
		if err != nil && status.Code(err) == codes.Unknown {
			l.close() // the line is broken; the next request dials anew
			err = status.Error(codes.Unavailable, err.Error())
		}
	}()
	if l.conn == nil {
		if l.conn, _, err = websocket.DefaultDialer.DialContext(ctx, l.url, nil); err != nil {
			l.conn = nil
			return err
		}
	}
	deadline, ok := ctx.Deadline()
	if !ok {
		deadline = time.Now().Add(callLimit)
	}
	if err := l.conn.SetReadDeadline(deadline); err != nil {
		return err
	}
	l.re++
	if err := l.conn.WriteJSON(map[string]any{"re": l.re, "do": what, "request": request}); err != nil {
		return err
	}
	for {
		var frame struct {
			Re    int64
			Reply json.RawMessage
			Error *struct{ Code, Message string }
		}
		if err := l.conn.ReadJSON(&frame); err != nil {
			return err
		}
		switch {
		case frame.Re != l.re:
		case frame.Error != nil:
			return status.Error(codes.Code(code.Code_value[frame.Error.Code]), frame.Error.Message)
		default:
			return json.Unmarshal(frame.Reply, reply)
		}
	}
}

func (l *socketLine) shown(ctx context.Context, what string, request any) (shown, error) {
	var reply struct{ Conversation shown }
	err := l.ask(ctx, what, request, &reply)
	return reply.Conversation, err
}

func (l *socketLine) open(ctx context.Context) (shown, error) {
	c, err := l.shown(ctx, "open", struct{}{})
	if err == nil {
		err = l.watch(ctx, c)
	}
	return c, err
}

// watch follows a conversation over the socket.
func (l *socketLine) watch(ctx context.Context, c shown) error {
	return l.ask(ctx, "watch", map[string]any{"id": c.ID, "afterEvent": fmt.Sprint(c.LastEvent)}, &struct{}{})
}

func (l *socketLine) get(ctx context.Context, id string) (shown, error) {
	return l.shown(ctx, "get", map[string]any{"id": id})
}

func (l *socketLine) answer(ctx context.Context, req *lightoffv1.AnswerQuestionsRequest) (shown, error) {
	text, err := protojson.Marshal(req)
	if err != nil {
		return shown{}, err
	}
	return l.shown(ctx, "answer", json.RawMessage(text))
}

// drain reads until the socket ends, which also answers pings. Nothing else may read any more.
func drain(conn *websocket.Conn) {
	_ = conn.SetReadDeadline(time.Time{})
	for {
		if _, _, err := conn.NextReader(); err != nil {
			return
		}
	}
}

func (l *socketLine) close() {
	if l.conn != nil {
		l.conn.Close()
		l.conn = nil
	}
}
