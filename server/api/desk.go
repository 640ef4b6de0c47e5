//go:build !js

package api

import (
	"context"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// desk answers DeskService. Only holders of a desk's token come here.
type desk struct {
	lightoffv1.UnimplementedDeskServiceServer
	*conversations
	heads *heads
	saids *saids
}

// What the list holds.
const (
	listAge    = 14 * 24 * time.Hour // since something last happened
	dueAge     = 26 * week           // the same, for those to be asked back
	maxListed  = 300
	maxThought = 20 // leads that are worked out for one list; others come with a later one
	// loadThoughts is what loading another version of the model counts as.
	loadThoughts = 8
	toldShown    = 4
	listPause    = time.Second // between two lists of a stream
	maxTicket    = 40          // characters
	maxSearch    = 100
	quietAge     = 24 * time.Hour // after which an unattended conversation comes after those of the last day
)

// GetDesk implements the RPC.
func (d *desk) GetDesk(ctx context.Context, _ *lightoffv1.GetDeskRequest) (*lightoffv1.GetDeskResponse, error) {
	return &lightoffv1.GetDeskResponse{Me: whoCalls(ctx).name}, nil
}

// ListConversations implements the RPC.
func (d *desk) ListConversations(ctx context.Context,
	req *lightoffv1.ListConversationsRequest) (*lightoffv1.ListConversationsResponse, error) {
	var v violations
	p := page{locale: v.inLanguage(d.model, req.GetLocale()), closed: req.GetClosed(), due: req.GetDueBack(),
		mine:   mine(ctx, req),
		search: v.search(req.GetSearch()), size: v.pageSize(req.GetPageSize()), after: v.pageToken(req.GetPageToken())}
	if err := v.err(); err != nil {
		return nil, err
	}
	return d.list(ctx, p)
}

// mine is whose conversations alone are wanted, or empty.
func mine(ctx context.Context, req interface{ GetMine() bool }) string {
	if req.GetMine() {
		return whoCalls(ctx).name
	}
	return ""
}

func aboutHeater(d *desk, state diagnosis.Conversation) bool {
	return slices.ContainsFunc(state.Told, func(t diagnosis.Told) bool {
		return !t.Skipped &&
			d.isComplaint(t.Observation.ID)
	})
}

// isComplaint reports whether an observation is about the heater and not about safety or setup.
func (c core) isComplaint(id string) bool {
	o, ok := c.model.Observation(id)
	return ok && !o.SafetyCard
}

// lead is the likeliest cause by the model that the conversation was opened under, if it is known or may still be
// worked out.
func (d *desk) lead(ctx context.Context, opened string, so sound, thoughts *int) (*lightoffv1.RankedCause, error) {
	guidance := d.guided.get(keyOf(opened, so.state))
	if guidance == nil {
		if v, lost := d.models.atHand(opened); v == nil && !lost {
			if *thoughts += loadThoughts; *thoughts > maxThought {
				return nil, nil
			}
		}
		by, err := d.models.byName(ctx, opened)
		if err != nil {
			return nil, err
		}
		if guidance, err = d.guide(ctx, by, so, thoughts); guidance == nil {
			return nil, err
		}
	}
	if len(guidance.Assessment.Causes) == 0 {
		return nil, nil
	}
	lead := toCause(guidance.Assessment.Causes[0])
	lead.Weights = nil
	return lead, nil
}

// guide is nil, without an error, where a list has no thoughts left or there are others to think about, and for what
// cannot be assessed: whoever opens that conversation hears of what is wrong.
func (d *desk) guide(ctx context.Context, by *version, so sound, thoughts *int) (*diagnosis.Guidance, error) {
	key := keyOf(by.model.Version, so.state)
	if known := d.guided.get(key); known != nil {
		return known, nil
	}
	if *thoughts++; *thoughts > maxThought {
		return nil, nil
	}
	guidance, err := d.guidance(ctx, by, so, atOnce)
	if ctx.Err() != nil {
		return nil, err
	}
	return guidance, nil
}

func (d *desk) entry(ctx context.Context, c store.Conversation, so sound) *lightoffv1.QueueEntry {
	state := so.state
	f := face{model: d.model, engine: d.engine, locale: state.Locale}
	e := &lightoffv1.QueueEntry{
		Id: whoCalls(ctx).knows(c.ID), OpenedAt: timestamppb.New(c.OpenedAt), ChangedAt: timestamppb.New(c.At[len(c.At)-1]),
		LastEvent: state.LastEvent,
		ToldCount: int32(len(state.Told)), AssignedTo: state.AssignedTo, NoteCount: int32(len(state.Notes)),
		SuggestionCount: int32(len(state.Suggestions)), Hidden: state.Hidden, Ticket: state.Ticket,
	}
	if since := waitingSince(c, state); !since.IsZero() {
		e.WaitingSince = timestamppb.New(since)
	}
	for _, danger := range so.evidence.Dangers() {
		danger.Text, danger.Steps, danger.WayOut, danger.LiftedBy = "", nil, nil, nil
		e.Dangers = append(e.Dangers, toDanger(danger))
	}
	for _, t := range state.Told {
		if !t.Skipped && t.Observation.Kind != diagnosis.UnknownValue && d.isComplaint(t.Observation.ID) &&
			len(e.Told) < toldShown {
			e.Told = append(e.Told, f.describe(t.Observation))
		}
	}
	if state.Closed != nil {
		e.Closing = toClosing(state.Closed.Closing)
	}
	if s := f.settlement(datesOf(c), state); s != nil {
		e.SettledAt, e.Causes = s.GetSettledAt(), each(s.GetCauses(), (*lightoffv1.RankedCause).GetTitle)
	}
	return e
}

// WatchConversations implements the RPC.
func (d *desk) WatchConversations(req *lightoffv1.WatchConversationsRequest,
	stream grpc.ServerStreamingServer[lightoffv1.WatchConversationsResponse]) error {
	var v violations
	p := page{locale: v.inLanguage(d.model, req.GetLocale()), closed: req.GetClosed(), due: req.GetDueBack(),
		mine: mine(stream.Context(), req), search: v.search(req.GetSearch()), size: maxListed, after: v.pageToken("")}
	if err := v.err(); err != nil {
		return err
	}
	changed, stop := d.hub.watchAll()
	defer stop()
	for {
		list, err := d.list(stream.Context(), p)
		if err != nil {
			return err
		}
		if err := stream.Send(&lightoffv1.WatchConversationsResponse{
			Entries: list.Entries, More: list.More, Me: list.Me, Locale: list.Locale}); err != nil {
			return err
		}
		select {
		case <-changed:
		case <-stream.Context().Done():
			return stream.Context().Err()
		}
		select { // what comes meanwhile comes with it
		case <-time.After(listPause):
		case <-stream.Context().Done():
			return stream.Context().Err()
		}
	}
}

// FindConversation implements the RPC.
func (d *desk) FindConversation(ctx context.Context,
	req *lightoffv1.FindConversationRequest) (*lightoffv1.FindConversationResponse, error) {
	id, err := d.byCode(ctx, req.GetCode(), store.Spoken, store.LookOn)
	if err != nil {
		return nil, err
	}
	return &lightoffv1.FindConversationResponse{Id: whoCalls(ctx).knows(id)}, nil
}

// GetRecord implements the RPC.
func (d *desk) GetRecord(ctx context.Context, req *lightoffv1.GetRecordRequest) (*lightoffv1.GetRecordResponse, error) {
	record, err := d.record(ctx, req.GetId())
	if err != nil {
		return nil, err
	}
	return &lightoffv1.GetRecordResponse{Record: record}, nil
}

func (d *desk) record(ctx context.Context, id string) (*lightoffv1.Record, error) {
	var v violations
	v.name("id", id)
	if err := v.err(); err != nil {
		return nil, err
	}
	c, err := d.store.Read(ctx, id)
	if err != nil {
		return nil, err
	}
	state := diagnosis.Fold(c.Events)
	r := &lightoffv1.Record{Id: id, LastEvent: state.LastEvent, AssignedTo: state.AssignedTo, Notes: notes(c, state),
		Hidden: state.Hidden, Me: whoCalls(ctx).name, Ticket: state.Ticket}
	if state.Closed != nil {
		r.Closing, r.ClosedBy, r.ClosedAt = toClosing(state.Closed.Closing), state.Closed.By,
			timestamppb.New(c.At[state.Closed.Number-1])
	}
	return r, nil
}

func notes(c store.Conversation, state diagnosis.Conversation) []*lightoffv1.Note {
	return each(state.Notes, func(e diagnosis.Event) *lightoffv1.Note {
		return &lightoffv1.Note{By: e.By, Text: e.Text, At: timestamppb.New(c.At[e.Number-1]), Event: e.Number}
	})
}

func toClosing(c *diagnosis.Closing) *lightoffv1.Closing {
	if c == nil {
		return nil
	}
	return &lightoffv1.Closing{Outcome: keyFor(outcomes, c.Outcome), CauseIds: c.Causes,
		FoundBy: keyFor(finders, c.FoundBy),
		Surety:  keyFor(sureties, c.Surety), Remark: c.Remark}
}

// act keeps what a desk does and returns the record.
func (d *desk) act(ctx context.Context, id string, r store.Request, v violations,
	update func(*account) (diagnosis.Event, error)) (*lightoffv1.Record, error) {
	v.name("id", id)
	v.clientKey(r.Key)
	if err := v.err(); err != nil {
		return nil, err
	}
	_, err := d.append(ctx, id, r, "", func(log *account) (diagnosis.Event, error) {
		e, err := update(log)
		e.By = whoCalls(ctx).name
		return e, err
	})
	if err != nil {
		return nil, err
	}
	return d.record(ctx, id)
}

// AssignConversation implements the RPC.
func (d *desk) AssignConversation(ctx context.Context,
	req *lightoffv1.AssignConversationRequest) (*lightoffv1.AssignConversationResponse, error) {
	var v violations
	to := v.person("to", req.GetTo())
	switch {
	case to != "" && req.GetToQueue():
		v.add("to", "is given, and so is to_queue")
	case to == "" && !req.GetToQueue():
		to = whoCalls(ctx).name
	}
	if note := strings.TrimSpace(plain(req.GetNote())); note != "" {
		v.text(note)
		r := request(req, "desk:")
		if r.Key != "" {
			r.Key += ":note"
		}
		if _, err := d.act(ctx, req.GetId(), r, v, func(*account) (diagnosis.Event, error) {
			return diagnosis.Event{Kind: diagnosis.Noted, Text: note}, nil
		}); err != nil {
			return nil, err
		}
	}
	record, err := d.act(ctx, req.GetId(), request(req, "desk:"), v, func(*account) (diagnosis.Event, error) {
		return diagnosis.Event{Kind: diagnosis.Assigned, To: to}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.AssignConversationResponse{Record: record}, nil
}

// AddNote implements the RPC.
func (d *desk) AddNote(ctx context.Context, req *lightoffv1.AddNoteRequest) (*lightoffv1.AddNoteResponse, error) {
	var v violations
	v.text(req.GetText())
	record, err := d.act(ctx, req.GetId(), request(req, "desk:"), v, func(*account) (diagnosis.Event, error) {
		return diagnosis.Event{Kind: diagnosis.Noted, Text: strings.TrimSpace(plain(req.GetText()))}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.AddNoteResponse{Record: record}, nil
}

// SetTicket implements the RPC.
func (d *desk) SetTicket(ctx context.Context, req *lightoffv1.SetTicketRequest) (*lightoffv1.SetTicketResponse, error) {
	var v violations
	ticket := strings.Join(strings.Fields(plain(req.GetTicket())), " ")
	if utf8.RuneCountInString(ticket) > maxTicket {
		v.add("ticket", "has more than %d characters", maxTicket)
	}
	record, err := d.act(ctx, req.GetId(), request(req, "desk:"), v, func(*account) (diagnosis.Event, error) {
		return diagnosis.Event{Kind: diagnosis.Ticketed, Text: ticket}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SetTicketResponse{Record: record}, nil
}

// CloseConversation implements the RPC. Nothing is settled while a danger stands.
func (d *desk) CloseConversation(ctx context.Context,
	req *lightoffv1.CloseConversationRequest) (*lightoffv1.CloseConversationResponse, error) {
	var v violations
	closing := d.closing(&v, req.GetClosing())
	record, err := d.act(ctx, req.GetId(), request(req, "desk:"), v, func(log *account) (diagnosis.Event, error) {
		if closing.Outcome == diagnosis.Settled {
			if err := log.safe(); err != nil {
				return diagnosis.Event{}, err
			}
		}
		return diagnosis.Event{Kind: diagnosis.Closed, Closing: closing}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.CloseConversationResponse{Record: record}, nil
}

func (d *desk) closing(v *violations, in *lightoffv1.Closing) *diagnosis.Closing {
	out := &diagnosis.Closing{Outcome: outcomes[in.GetOutcome()], Causes: in.GetCauseIds(),
		FoundBy: finders[in.GetFoundBy()],
		Surety:  sureties[in.GetSurety()], Remark: strings.TrimSpace(plain(in.GetRemark()))}
	if out.Outcome == "" {
		v.add("closing.outcome", "is missing")
	}
	settled := out.Outcome == diagnosis.Settled
	if !settled && len(out.Causes) > 0 {
		v.add("closing.cause_ids", "only a settled conversation has causes")
	}
	if settled {
		d.settled(v, "closing.", out)
	}
	if utf8.RuneCountInString(out.Remark) > maxText {
		v.add("closing.remark", "has more than %d characters", maxText)
	}
	if !settled {
		out.FoundBy, out.Surety = "", ""
	}
	return out
}

// ReopenConversation implements the RPC.
func (d *desk) ReopenConversation(ctx context.Context,
	req *lightoffv1.ReopenConversationRequest) (*lightoffv1.ReopenConversationResponse, error) {
	record, err := d.act(ctx, req.GetId(), request(req, "desk:"), nil, func(log *account) (diagnosis.Event, error) {
		if log.state().Closed == nil {
			return diagnosis.Event{}, errOpen
		}
		return diagnosis.Event{Kind: diagnosis.Reopened}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ReopenConversationResponse{Record: record}, nil
}

// SetConversationHidden implements the RPC.
func (d *desk) SetConversationHidden(ctx context.Context,
	req *lightoffv1.SetConversationHiddenRequest) (*lightoffv1.SetConversationHiddenResponse, error) {
	kind := diagnosis.Shown
	if req.GetHidden() {
		kind = diagnosis.Hidden
	}
	record, err := d.act(ctx, req.GetId(), request(req, "desk:"), nil, func(*account) (diagnosis.Event, error) {
		return diagnosis.Event{Kind: kind}, nil
	})
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SetConversationHiddenResponse{Record: record}, nil
}
