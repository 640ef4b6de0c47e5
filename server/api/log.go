package api

import (
	"encoding/json"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// toLog is a conversation's log after an event, as its owner may see it.
func toLog(c dated, version string, events []diagnosis.Event, after int64) (*lightoffv1.GetLogResponse, error) {
	out := &lightoffv1.GetLogResponse{OpenedAt: timestamppb.New(c.OpenedAt), ModelVersion: version}
	for i, e := range events {
		if e.Number <= after {
			continue
		}
		logged, err := toLogged(c.At[i], owned(e))
		if err != nil {
			return nil, err
		}
		out.Events = append(out.Events, logged)
	}
	return out, nil
}

func toLogged(at time.Time, e diagnosis.Event) (*lightoffv1.LoggedEvent, error) {
	text, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("write an event: %w", err)
	}
	return &lightoffv1.LoggedEvent{Time: timestamppb.New(at), Event: string(text)}, nil
}

// owned is an event with no more of what those who help do than its owner may see.
func owned(e diagnosis.Event) diagnosis.Event {
	switch e.Kind {
	case diagnosis.Opened, diagnosis.Said, diagnosis.Answered, diagnosis.Retracted, diagnosis.ToolsSet,
		diagnosis.Mended, diagnosis.Unmended, diagnosis.Started, diagnosis.Assigned, diagnosis.Suggested,
		diagnosis.Confirmed, diagnosis.Declined:
		return e
	case diagnosis.CheckedBack:
		e.By = ""
		return e
	case diagnosis.Closed:
		e.By = ""
		if e.Closing != nil {
			closing := *e.Closing
			closing.Remark = ""
			e.Closing = &closing
		}
		return e
	case diagnosis.Reopened, diagnosis.Hidden, diagnosis.Shown:
		return diagnosis.Event{Number: e.Number, Kind: e.Kind}
	}
	return diagnosis.Event{Number: e.Number, Kind: diagnosis.Noted} // it has its number, and that is all
}

// fromLog is a log as its events fold.
func fromLog(log *lightoffv1.GetLogResponse) (events []diagnosis.Event, c dated, err error) {
	c.OpenedAt = log.GetOpenedAt().AsTime()
	var v violations
	for i, l := range log.GetEvents() {
		var e diagnosis.Event
		if err := json.Unmarshal([]byte(l.GetEvent()), &e); err != nil || e.Number != int64(i)+1 {
			v.add(fmt.Sprintf("log.events[%d]", i), "is no event, or not the next one")
			break
		}
		events, c.At = append(events, e), append(c.At, l.GetTime().AsTime())
	}
	return events, c, v.err()
}
