package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/cases"
	"lightoff/engine/diagnosis"
	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/frame"
)

// step is one entry of a recorded conversation: the call, and its request without the key.
type step struct {
	do      string
	request map[string]any
}

// recorded is a conversation from the first answer to the end, played from a case.
func recorded(c *cases.Case, i int) []step {
	observation := func(id, state string) any { return []any{map[string]any{"id": id, "state": state}} }
	steps := []step{{"answer", map[string]any{"observations": []any{
		map[string]any{"id": "people_unwell", "state": "no"}, map[string]any{"id": "smell_exhaust_inside", "state": "no"},
		map[string]any{"id": "smell_fuel", "state": "no"}, map[string]any{"id": "smell_gas", "state": "no"},
		map[string]any{"id": "smell_burning", "state": "no"}, map[string]any{"id": "flames_or_smoke_inside", "state": "no"},
	}}}}
	said := []string{"It shows E-10 and does not light", "lots of bubbles in the line, 11.2 V while it glows",
		"Pumpe tickt, aber kein Rauch", "the fan runs and then nothing, maybe a smell of diesel"}[i%4]
	steps = append(steps, step{"say", map[string]any{"text": said, "askedId": "fault_code"}})
	told := c.Request().Observations
	for k, o := range told[:min(len(told), 3)] {
		value := map[string]any{"id": o.ID}
		switch o.Kind {
		case diagnosis.StateValue:
			value["state"] = o.State
		case diagnosis.NumberValue:
			value["number"] = o.Number
		default:
			value["unknown"] = true
		}
		steps = append(steps, step{"answer", map[string]any{"observations": []any{value}}})
		if k == 1 && i%3 == 0 {
			steps = append(steps, step{"retract", map[string]any{"observationId": o.ID}})
		}
	}
	steps = append(steps, step{"answer", map[string]any{"skippedIds": []any{"bubbles"}}},
		step{"set_tools", map[string]any{"tools": []any{"multimeter"}, "willingness": "WILLINGNESS_HANDY"}},
		// refused
		step{"answer", map[string]any{"observations": []any{map[string]any{"id": "pump_ticks", "state": "nonsense"}}}},
		// most often refused
		step{"retract", map[string]any{"observationId": "altitude"}})
	if i%5 == 4 {
		return append(steps, step{"answer", map[string]any{"observations": observation("co_alarm", "sounding")}})
	}
	return append(steps, step{"mend", map[string]any{"repairId": "renew_fuel_line"}},
		step{"report_start", map[string]any{"ran": i%2 == 0}},
		step{"settle", map[string]any{"causeIds": []any{"soft_line_air"},
			"foundBy": "FINDER_OWNER", "surety": "SURETY_LIKELY"}})
}

// online makes a step at a server.
func (r *running) online(ctx context.Context, id string, s step) error {
	call := func(method string, req, answer proto.Message) error {
		s.request["id"] = id
		defer delete(s.request, "id")
		raw, err := json.Marshal(s.request)
		if err == nil {
			err = frame.Decode(raw, req)
		}
		if err != nil {
			return err
		}
		return r.conn.Invoke(ctx, "/lightoff.v1.ConversationService/"+method, req, answer)
	}
	switch s.do {
	case "answer":
		return call("AnswerQuestions", &lightoffv1.AnswerQuestionsRequest{}, &lightoffv1.AnswerQuestionsResponse{})
	case "say":
		return call("SayText", &lightoffv1.SayTextRequest{}, &lightoffv1.SayTextResponse{})
	case "retract":
		return call("RetractAnswer", &lightoffv1.RetractAnswerRequest{}, &lightoffv1.RetractAnswerResponse{})
	case "set_tools":
		return call("SetTools", &lightoffv1.SetToolsRequest{}, &lightoffv1.SetToolsResponse{})
	case "mend":
		return call("ReportRepair", &lightoffv1.ReportRepairRequest{}, &lightoffv1.ReportRepairResponse{})
	case "report_start":
		return call("ReportStart", &lightoffv1.ReportStartRequest{}, &lightoffv1.ReportStartResponse{})
	case "settle":
		return call("SettleConversation", &lightoffv1.SettleConversationRequest{}, &lightoffv1.SettleConversationResponse{})
	}
	return fmt.Errorf("no step %s", s.do)
}

// shown is a conversation as it stands, with its assessment.
func (r *running) shown(t *testing.T, ctx context.Context, id string) *lightoffv1.Conversation {
	t.Helper()
	for {
		got, err := r.GetConversation(ctx, &lightoffv1.GetConversationRequest{Id: id})
		require.NoError(t, err)
		if !got.GetConversation().GetAssessment().GetPending() {
			return got.GetConversation()
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// asked asks a device without a signal.
func asked(t *testing.T, o *Offline, q Question) Reply {
	t.Helper()
	raw, err := json.Marshal(q)
	require.NoError(t, err)
	var r Reply
	require.NoError(t, json.Unmarshal(o.Ask(raw), &r))
	return r
}

// plainly is a message in JSON without the spaces that protojson strews in.
func plainly(t *testing.T, m proto.Message) string {
	t.Helper()
	raw, err := frame.Encode(m)
	require.NoError(t, err)
	return compacted(t, raw)
}

func compacted(t *testing.T, raw json.RawMessage) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, json.Compact(&out, raw))
	return out.String()
}

// offlineHeater thinks with the compact model, as a browser does.
func offlineHeater(t *testing.T) *Offline {
	t.Helper()
	m, err := heater.Model()
	require.NoError(t, err)
	compact, err := heater.Compact(nil, m)
	require.NoError(t, err)
	expanded, err := heater.Expand(compact)
	require.NoError(t, err)
	return NewOffline(expanded)
}

// signalCuts is how many conversations are cut at every step.
var signalCuts = 20

// Twenty conversations lose their signal at every step. What the device shows until the end, from the log that it has
// and the entries that wait, is byte for byte what the server shows that heard all of them; what it refuses, the
// server refuses for the same reason.
func TestSignalCutAtEveryStep(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	suite, err := cases.Read(heater.Cases())
	require.NoError(t, err)
	r, o := startWith(t, m), offlineHeater(t)
	ctx := t.Context()
	for i := range signalCuts {
		steps := recorded(&suite.Cases[i*7], i)
		locale := []string{"en", "de"}[i%2]
		opened, err := r.OpenConversation(ctx, &lightoffv1.OpenConversationRequest{Locale: locale})
		require.NoError(t, err)
		id := opened.GetConversation().GetId()
		logs := []*lightoffv1.GetLogResponse{r.logOf(t, ctx, id, 0)}
		refused := map[string]string{}
		for k, s := range steps {
			if err := r.online(ctx, id, s); err != nil {
				refused[fmt.Sprint(k)] = reason(t, err)
			}
			logs = append(logs, r.logOf(t, ctx, id, 0))
		}
		end := r.shown(t, ctx, id)
		for cut := range steps {
			q := Question{Do: "think", Locale: locale, ID: id}
			q.Log, err = frame.Encode(logs[cut])
			require.NoError(t, err)
			for k := cut; k < len(steps); k++ {
				steps[k].request["id"], steps[k].request["clientKey"] = id, fmt.Sprint(k)
				raw, err := json.Marshal(steps[k].request)
				require.NoError(t, err)
				q.Jobs = append(q.Jobs, Job{Key: fmt.Sprint(k), Do: steps[k].do, Request: raw, At: jobTime(logs, k)})
			}
			reply := asked(t, o, q)
			require.Nil(t, reply.Error, "%v", reply.Error)
			require.Equal(t, plainly(t, end), compacted(t, reply.Conversation), "%s, cut at %d", suite.Cases[i*7].ID, cut)
			for k := cut; k < len(steps); k++ {
				key := fmt.Sprint(k)
				fault := reply.Refused[key]
				if steps[k].do == "mend" || steps[k].do == "settle" {
					require.Empty(t, refused[key], "the conversation goes to its end")
				}
				require.Equal(t, refused[key] != "", fault != nil, "step %d", k)
				if fault != nil {
					require.Equal(t, refused[key], fault.Reason)
					require.NotEmpty(t, fault.Message)
					continue
				}
				require.NotEmpty(t, reply.Joined[key])
			}
		}
	}
}

// jobTime is when the server kept a step, which the end of a conversation shows.
func jobTime(logs []*lightoffv1.GetLogResponse, k int) time.Time {
	events := logs[k+1].GetEvents()
	return events[len(events)-1].GetTime().AsTime()
}

func (r *running) logOf(t *testing.T, ctx context.Context, id string, after int64) *lightoffv1.GetLogResponse {
	t.Helper()
	log, err := r.GetLog(ctx, &lightoffv1.GetLogRequest{Id: id, AfterEvent: after})
	require.NoError(t, err)
	return log
}

func TestConversationThatStartsWithoutASignal(t *testing.T) {
	m, err := heater.Model()
	require.NoError(t, err)
	suite, err := cases.Read(heater.Cases())
	require.NoError(t, err)
	r, o := startWith(t, m), offlineHeater(t)
	steps := recorded(&suite.Cases[3], 3)
	at := time.Date(2026, 1, 4, 5, 6, 7, 0, time.UTC)
	opened, err := r.OpenConversation(t.Context(), &lightoffv1.OpenConversationRequest{Locale: "de"})
	require.NoError(t, err)
	id := opened.GetConversation().GetId()
	q := Question{Do: "think", Locale: "de", Log: json.RawMessage(`{"openedAt":"2026-01-04T05:06:07Z"}`)}
	for k, s := range steps {
		_ = r.online(t.Context(), id, s)
		s.request["id"], s.request["clientKey"] = "here", fmt.Sprint(k)
		raw, err := json.Marshal(s.request)
		require.NoError(t, err)
		q.Jobs = append(q.Jobs, Job{Key: fmt.Sprint(k), Do: s.do, Request: raw, At: at})
		reply := asked(t, o, q)
		require.Nil(t, reply.Error)
		var here lightoffv1.Conversation
		require.NoError(t, frame.Decode(reply.Conversation, &here))
		there := r.shown(t, t.Context(), id)
		require.Equal(t, plainly(t, there.GetAssessment()), plainly(t, here.GetAssessment()))
		require.Equal(t, there.GetLastEvent(), here.GetLastEvent())
	}
}

// A log that goes out to its owner holds nothing of what those who help keep to themselves.
func TestLogHoldsNoNotes(t *testing.T) {
	secret := "the caller was rude"
	events := []diagnosis.Event{
		{Number: 1, Kind: diagnosis.Opened, Locale: "en"}, {Number: 2, Kind: diagnosis.Noted, By: "Ines", Text: secret},
		{Number: 3, Kind: diagnosis.Ticketed, By: "Ines", Text: secret}, {Number: 4, Kind: diagnosis.Closed, By: "Ines",
			Closing: &diagnosis.Closing{Outcome: diagnosis.ToWorkshop, Remark: secret}},
		{Number: 5, Kind: diagnosis.Reopened, By: "Ines"},
	}
	at := make([]time.Time, len(events))
	log, err := toLog(dated{At: at}, "v", events, 0)
	require.NoError(t, err)
	text := plainly(t, log)
	assert.NotContains(t, text, secret)
	assert.NotContains(t, text, "Ines")
	assert.Equal(t, secret, events[3].Closing.Remark, "what is kept stays as it is")
	back, _, err := fromLog(log)
	require.NoError(t, err)
	require.Len(t, back, len(events))
	mine, theirs := diagnosis.Fold(back), diagnosis.Fold(events)
	assert.Equal(t, theirs.LastEvent, mine.LastEvent)
	assert.Equal(t, theirs.Closed, mine.Closed)
	later, err := toLog(dated{At: at}, "v", events, 3)
	require.NoError(t, err)
	assert.Len(t, later.GetEvents(), 2)
}

func TestGetLogRefuses(t *testing.T) {
	r := start(t)
	_, err := r.GetLog(r.ctx, &lightoffv1.GetLogRequest{Id: "nobody"})
	assert.Equal(t, codes.NotFound, code(err))
	_, err = r.GetLog(r.ctx, &lightoffv1.GetLogRequest{Id: r.open(t), AfterEvent: -1})
	assert.Equal(t, []string{"after_event"}, fields(t, err))
}

func TestOfflineRefuses(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	o := NewOffline(m)
	for want, question := range map[string]string{
		"the question is not one in JSON": `{`,
		"there is no such call":           `{"do":"delete"}`,
		"log.events[0]":                   `{"do":"think","log":{"events":[{"event":"{\"number\":2}"}]}}`,
	} {
		var r Reply
		require.NoError(t, json.Unmarshal(o.Ask([]byte(question)), &r))
		require.NotNil(t, r.Error, question)
		assert.Contains(t, r.Error.Message, want)
	}
	for _, do := range []string{"list_observations", "list_dangers", "list_causes", "prepare"} {
		r := asked(t, o, Question{Do: do, Locale: "en"})
		assert.Nil(t, r.Error)
		assert.Equal(t, do != "prepare", len(r.Answer) > 100, do)
	}
}
