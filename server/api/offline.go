package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	rpc "google.golang.org/genproto/googleapis/rpc/code"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/words"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/frame"
)

// Offline does without a server what a server does for a conversation: it takes its log and what is to join it, and
// shows what that comes to. It keeps nothing, and the same goes in as comes out of a server's frames, so a page does
// not know the difference. It is for one goroutine.
type Offline struct{ understanding }

// NewOffline returns one that thinks with a model.
func NewOffline(m *knowledge.Model) *Offline {
	return &Offline{understanding{model: m, engine: diagnosis.New(m)}}
}

// read makes the reader of texts, which takes as long as all else and is not needed for a tap.
func (o *Offline) read() {
	if o.reader == nil {
		o.reader = words.New(o.model)
	}
}

// Job is what is to join a log: a change, as a page asks a server for it.
type Job struct {
	Key     string          `json:"key"` // names it
	Do      string          `json:"do"`
	Request json.RawMessage `json:"request"`
	At      time.Time       `json:"at"`
}

// Question is what Offline is asked. Do is "think", which takes ID, Log and Jobs; or the name of a call that keeps
// nothing, which takes Request; or "prepare", which only makes later answers faster.
type Question struct {
	Do      string          `json:"do"`
	Locale  string          `json:"locale"`
	ID      string          `json:"id"`
	Log     json.RawMessage `json:"log"` // a GetLogResponse; one without events has not been opened yet
	Jobs    []Job           `json:"jobs"`
	Request json.RawMessage `json:"request"`
}

// Reply is what Offline answers, or Error.
type Reply struct {
	// Conversation is what the log and the jobs come to, as protojson.
	Conversation json.RawMessage `json:"conversation,omitempty"`
	// Joined are the jobs' events as LoggedEvents, by the keys of the jobs. A server may give them other numbers.
	Joined map[string]json.RawMessage `json:"joined,omitempty"`
	// Refused are the jobs that a server would refuse, by key.
	Refused map[string]*frame.Fault `json:"refused,omitempty"`
	// Answer is that of a call, as protojson.
	Answer json.RawMessage `json:"answer,omitempty"`
	Error  *frame.Fault    `json:"error,omitempty"`
}

// Ask answers a question in JSON with a Reply in JSON.
func (o *Offline) Ask(question []byte) []byte {
	var q Question
	var r Reply
	if err := json.Unmarshal(question, &q); err != nil {
		r.Error = faultOf(&unreadable{errors.New("the question is not one in JSON")})
	} else if err := o.answer(q, &r); err != nil {
		r = Reply{Error: faultOf(err)}
	}
	text, err := json.Marshal(r)
	if err != nil {
		panic("api: " + err.Error()) // what is raw comes from protojson
	}
	return text
}

func (o *Offline) answer(q Question, r *Reply) (err error) {
	var answer proto.Message
	var v violations
	f := face{model: o.model, engine: o.engine, locale: v.inLanguage(o.model, q.Locale)}
	if err := v.err(); err != nil {
		return err
	}
	switch q.Do {
	case "think":
		return o.think(q, r)
	case "prepare":
		o.read()
		return nil
	case "list_observations":
		answer = f.observations()
	case "list_dangers":
		answer = f.dangers()
	case "list_causes":
		answer = &lightoffv1.ListCausesResponse{Causes: each(o.model.Causes, f.cause), Locale: f.locale}
	case "explain":
		req := &lightoffv1.ExplainRequest{}
		if err := decode(q.Request, req); err != nil {
			return err
		}
		r, err := o.explainable(req)
		if err != nil {
			return err
		}
		explained, err := o.engine.Explain(r, req.GetCauseId())
		if err != nil {
			return err
		}
		answer = toExplanation(explained, r.Locale)
	default:
		return errNoCall
	}
	r.Answer, err = frame.Encode(answer)
	return err
}

// think lets the jobs join the log, and shows what it comes to.
func (o *Offline) think(q Question, r *Reply) error {
	log := &lightoffv1.GetLogResponse{}
	if err := decode(q.Log, log); err != nil {
		return err
	}
	events, c, err := fromLog(log)
	if err != nil {
		return err
	}
	c.ID = q.ID
	if len(events) == 0 {
		opened, err := o.opening(&lightoffv1.OpenConversationRequest{Locale: q.Locale})
		if err != nil {
			return err
		}
		opened.Number = 1
		events, c.At = []diagnosis.Event{opened}, []time.Time{c.OpenedAt}
	}
	r.Joined, r.Refused = map[string]json.RawMessage{}, map[string]*frame.Fault{}
	for _, j := range q.Jobs {
		e, err := o.join(events, q.Locale, j)
		if err != nil {
			r.Refused[j.Key] = faultOf(err)
			continue
		}
		e.Number = events[len(events)-1].Number + 1
		events, c.At = append(events, e), append(c.At, j.At)
		if r.Joined[j.Key], err = loggedAs(j.At, e); err != nil {
			return err
		}
	}
	so := o.account(events, q.Locale).sound()
	guidance, err := so.evidence.Guide(so.state)
	if err != nil {
		return err
	}
	f := face{model: o.model, engine: o.engine, locale: so.state.Locale}
	r.Conversation, err = frame.Encode(f.conversation(c, so.state, guidance))
	return err
}

func loggedAs(at time.Time, e diagnosis.Event) (json.RawMessage, error) {
	l, err := toLogged(at, e)
	if err != nil {
		return nil, err
	}
	return frame.Encode(l)
}

// join is the event that a job adds to a log.
func (o *Offline) join(events []diagnosis.Event, locale string, j Job) (diagnosis.Event, error) {
	log := o.account(events, locale)
	do, err := o.deed(j, log.state())
	if err != nil {
		return diagnosis.Event{}, err
	}
	return do(log)
}

func (o *Offline) deed(j Job, before diagnosis.Conversation) (deed, error) {
	switch j.Do {
	case "say":
		req := &lightoffv1.SayTextRequest{}
		if err := decode(j.Request, req); err != nil {
			return nil, err
		}
		if err := o.sayable(req); err != nil {
			return nil, err
		}
		o.read()
		return o.saying(req, before), nil
	case "answer":
		return made(j, o.answering)
	case "retract":
		return made(j, o.retracting)
	case "set_tools":
		return made(j, o.settingTools)
	case "resolve":
		return made(j, o.resolving)
	case "mend":
		return made(j, o.mending)
	case "report_start":
		return made(j, o.starting)
	case "settle":
		return made(j, o.settling)
	case "check_back":
		return made(j, func(req *lightoffv1.ReportHoldingRequest) (deed, error) { return o.checkingBack(req, "") })
	}
	return nil, errNoCall
}

// made makes a deed of a job's request.
func made[Req any, PReq interface {
	*Req
	proto.Message
}](j Job, makes func(PReq) (deed, error)) (deed, error) {
	req := PReq(new(Req))
	if err := decode(j.Request, req); err != nil {
		return nil, err
	}
	return makes(req)
}

// unreadable is the error of a request that is not one.
type unreadable struct{ err error }

func (e *unreadable) Error() string { return "reading the request: " + e.err.Error() }

func decode(raw json.RawMessage, req proto.Message) error {
	if err := frame.Decode(raw, req); err != nil {
		return &unreadable{err}
	}
	return nil
}

// faultOf is an error as a server would have sent it.
func faultOf(err error) *frame.Fault {
	reason := func(r lightoffv1.ErrorReason) string { return r.String()[len("ERROR_REASON_"):] }
	if input, ok := errors.AsType[*diagnosis.InputError](err); ok {
		message, violations := summary(input)
		return &frame.Fault{Code: rpc.Code_INVALID_ARGUMENT.String(), Message: message,
			Reason: reason(lightoffv1.ErrorReason_ERROR_REASON_REQUEST_INVALID),
			Violations: each(violations, func(v diagnosis.Violation) frame.Violation {
				return frame.Of(v.Field, v.Description)
			})}
	}
	if u, ok := errors.AsType[*unreadable](err); ok {
		return &frame.Fault{Code: rpc.Code_INVALID_ARGUMENT.String(), Message: u.Error(),
			Reason: reason(lightoffv1.ErrorReason_ERROR_REASON_REQUEST_INVALID)}
	}
	for _, row := range ownCodes {
		if errors.Is(err, row.err) {
			return &frame.Fault{Code: row.code.String(), Reason: reason(row.reason), Message: row.err.Error()}
		}
	}
	return &frame.Fault{Code: rpc.Code_INTERNAL.String(), Message: fmt.Sprint(err),
		Reason: reason(lightoffv1.ErrorReason_ERROR_REASON_INTERNAL)}
}
