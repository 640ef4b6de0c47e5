//go:build !js

package api

import (
	"context"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// lookOn answers LookOnService.
type lookOn struct {
	lightoffv1.UnimplementedLookOnServiceServer
	*conversations
}

// places are observations that could tell where a heater is; who looks on does not see them.
var places = []string{"altitude", "ambient_temperature"}

// maxWaiting is how many suggestions may wait for an owner.
const maxWaiting = 10

// seen is a conversation as spectators see it, or ErrNotFound if it is hidden.
func seen(c *lightoffv1.Conversation, key string) (*lightoffv1.Conversation, error) {
	if c.GetHidden() {
		return nil, store.ErrNotFound
	}
	out := proto.CloneOf(c)
	out.Id, out.Sayings, out.Offers, out.AssignedTo = key, nil, nil, ""
	for _, t := range out.Told {
		t.Words = ""
	}
	if a := out.GetAssessment(); a != nil {
		a.Contradictions = slices.DeleteFunc(a.Contradictions, func(c *lightoffv1.Contradiction) bool {
			return slices.ContainsFunc(c.GetObservationIds(), isPlace)
		})
	}
	withoutPlaces(out.ProtoReflect())
	return out, nil
}

func isPlace(id string) bool { return slices.Contains(places, id) }

// withoutPlaces takes out of a message, wherever in it, what is about a place: entries of lists that name one, or whose
// observation does, and names of one.
func withoutPlaces(m protoreflect.Message) {
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		switch {
		case field.IsList() && field.Kind() == protoreflect.StringKind:
			keep(value.List(), func(v protoreflect.Value) bool { return !isPlace(v.String()) })
		case field.IsList() && field.Message() != nil:
			keep(value.List(), func(v protoreflect.Value) bool { return !aboutPlace(v.Message()) })
			for i := range value.List().Len() {
				withoutPlaces(value.List().Get(i).Message())
			}
		case !field.IsMap() && field.Message() != nil:
			withoutPlaces(value.Message())
		}
		return true
	})
}

// keep leaves out of a list what is not wanted.
func keep(list protoreflect.List, wanted func(protoreflect.Value) bool) {
	kept := 0
	for i := range list.Len() {
		if v := list.Get(i); wanted(v) {
			list.Set(kept, v)
			kept++
		}
	}
	list.Truncate(kept)
}

// aboutPlace reports whether a field of a message names a place, or its observation does.
func aboutPlace(m protoreflect.Message) bool {
	about := false
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		switch {
		case field.IsList() || field.IsMap():
		case field.Kind() == protoreflect.StringKind:
			about = isPlace(value.String())
		case field.Name() == "observation":
			about = aboutPlace(value.Message())
		}
		return !about
	})
	return about
}

// GetView implements the RPC.
func (l *lookOn) GetView(ctx context.Context, req *lightoffv1.GetViewRequest) (*lightoffv1.GetViewResponse, error) {
	id, err := l.byKey(ctx, req.GetKey())
	if err != nil {
		return nil, err
	}
	c, err := l.read(ctx, id, req.GetLocale(), inTurn)
	if err == nil {
		c, err = seen(c, req.GetKey())
	}
	if err != nil {
		return nil, err
	}
	return &lightoffv1.GetViewResponse{Conversation: c}, nil
}

func (c *conversations) byKey(ctx context.Context, key string) (string, error) {
	var v violations
	v.name("key", key)
	if err := v.err(); err != nil {
		return "", err
	}
	return c.store.FindByPass(ctx, key, store.LookOn)
}

// WatchView implements the RPC. The key is looked up again at every change, for it may have been withdrawn.
func (l *lookOn) WatchView(req *lightoffv1.WatchViewRequest,
	stream grpc.ServerStreamingServer[lightoffv1.WatchViewResponse]) error {
	id, err := l.byKey(stream.Context(), req.GetKey())
	if err != nil {
		return err
	}
	return l.follow(stream, id, req.GetLocale(), req.GetAfterEvent(), func(c *lightoffv1.Conversation) error {
		if _, err := l.byKey(stream.Context(), req.GetKey()); err != nil {
			return err
		}
		c, err := seen(c, req.GetKey())
		if err != nil {
			return err
		}
		return stream.Send(&lightoffv1.WatchViewResponse{Conversation: c})
	})
}

// SuggestAnswer implements the RPC.
func (l *lookOn) SuggestAnswer(ctx context.Context,
	req *lightoffv1.SuggestAnswerRequest) (*lightoffv1.SuggestAnswerResponse, error) {
	id, err := l.byKey(ctx, req.GetKey())
	if err != nil {
		return nil, err
	}
	suggested, err := l.suggestion(req)
	if err != nil {
		return nil, err
	}
	if err := l.engine.Check(diagnosis.Request{Observations: suggested.Observations}); err != nil {
		return nil, err
	}
	// Nobody who looks on can use up a key of the owner's.
	shown, err := l.append(ctx, id, request(req, "look:"), req.GetLocale(), func(log *account) (diagnosis.Event, error) {
		state := log.state()
		switch {
		case state.Hidden:
			return suggested, store.ErrNotFound
		case state.Closed != nil:
			return suggested, errClosed
		case len(state.Suggestions) >= maxWaiting:
			return suggested, errCrowded
		}
		if err := log.suggestible(suggested.Observations); err != nil {
			return suggested, err
		}
		if len(suggested.Observations) == 0 {
			return suggested, nil
		}
		return suggested, log.fits(diagnosis.Event{Kind: diagnosis.Answered, Observations: suggested.Observations})
	})
	if err == nil {
		shown, err = seen(shown, req.GetKey())
	}
	if err != nil {
		return nil, err
	}
	return &lightoffv1.SuggestAnswerResponse{Conversation: shown}, nil
}

// maxRemark is how long a reader's words may be, in characters.
const maxRemark = 200

// suggestion is the event of one suggestion: an answer, a cause, a check or some words, just one of them.
func (l *lookOn) suggestion(req *lightoffv1.SuggestAnswerRequest) (diagnosis.Event, error) {
	var v violations
	v.clientKey(req.GetClientKey())
	v.locale(req.GetLocale())
	e := diagnosis.Event{Kind: diagnosis.Suggested, By: v.person("by", req.GetBy()), CauseID: req.GetCauseId(),
		ObservationID: req.GetCheckId(), Text: strings.TrimSpace(plain(req.GetRemark()))}
	given := 0
	for _, one := range []bool{req.GetObservation() != nil, req.GetCauseId() != "", req.GetCheckId() != "",
		req.GetRemark() != ""} {
		if one {
			given++
		}
	}
	switch {
	case given != 1:
		v.add("observation", "just one of observation, cause_id, check_id and remark must be given, not %d", given)
	case req.GetCauseId() != "":
		if _, ok := l.model.Cause(req.GetCauseId()); !ok {
			v.add("cause_id", "no cause is called %q", clip(req.GetCauseId()))
		}
	case req.GetCheckId() != "":
		v.known(l.model, "check_id", req.GetCheckId())
	case req.GetRemark() != "":
		if n := utf8.RuneCountInString(e.Text); n > maxRemark || n == 0 {
			v.add("remark", "has %d characters, not 1 to %d", n, maxRemark)
		}
	default:
		e.Observations = []diagnosis.Observation{v.observation("observation", req.GetObservation())}
		if e.Observations[0].Kind == diagnosis.UnknownValue {
			v.add("observation.unknown", "nothing can be gained by suggesting that the owner cannot tell")
		}
	}
	return e, v.err()
}

// maxPerson is how long a person's name may be, in characters.
const maxPerson = 60

// person checks what somebody is called; nobody need be called anything.
func (v *violations) person(field, in string) string {
	in = strings.TrimSpace(in)
	if utf8.RuneCountInString(in) > maxPerson {
		v.add(field, "has more than %d characters", maxPerson)
	}
	if strings.ContainsFunc(in, func(r rune) bool { return !unicode.IsPrint(r) }) {
		v.add(field, "holds characters that cannot be printed")
	}
	return in
}

// moderation answers ModerationService. Only holders of a moderator's token come here.
type moderation struct {
	lightoffv1.UnimplementedModerationServiceServer
	*conversations
}

// verdicts are the events that decisions are kept as.
var verdicts = map[lightoffv1.Verdict]diagnosis.Event{
	lightoffv1.Verdict_VERDICT_HIDE: {Kind: diagnosis.Hidden},
	lightoffv1.Verdict_VERDICT_SHOW: {Kind: diagnosis.Shown},
	lightoffv1.Verdict_VERDICT_CLOSE: {Kind: diagnosis.Closed,
		Closing: &diagnosis.Closing{Outcome: diagnosis.ByModerator}},
}

// ModerateConversation implements the RPC.
func (m *moderation) ModerateConversation(ctx context.Context,
	req *lightoffv1.ModerateConversationRequest) (*lightoffv1.ModerateConversationResponse, error) {
	var v violations
	event, ok := verdicts[req.GetVerdict()]
	if !ok {
		v.add("verdict", "is missing")
	}
	v.name("key", req.GetKey())
	if err := v.err(); err != nil {
		return nil, err
	}
	id, err := m.byKey(ctx, req.GetKey())
	if err != nil {
		return nil, err
	}
	record, err := (&desk{conversations: m.conversations}).act(ctx, id, request(req, "desk:"), v,
		func(*account) (diagnosis.Event, error) { return event, nil })
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ModerateConversationResponse{Hidden: record.GetHidden(), Closed: record.GetClosing() != nil}, nil
}
