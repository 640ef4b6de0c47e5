package webui_test

import (
	"cmp"
	"context"
	"fmt"
	"net"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui"
)

// fake keeps conversations in memory and knows seven observations and six causes. It follows the promises of the
// service (events numbered without gaps, a repeated client key changes nothing, all or none of an answer) and makes its
// probabilities up.
type fake struct {
	lightoffv1.UnimplementedConversationServiceServer
	lightoffv1.UnimplementedDiagnosisServiceServer
	lightoffv1.UnimplementedKnowledgeServiceServer
	lightoffv1.UnimplementedCalculationServiceServer

	mu      sync.Mutex
	cards   map[string]*card
	changed chan struct{} // closed and replaced at every change
	opened  int
	padding string // lengthens every conversation, for slow readers
	// afterAnswer runs once an answer is kept and before it is acknowledged.
	afterAnswer func(context.Context)
	held        chan struct{} // calculations wait until it is closed
	thinking    chan struct{} // assessments, except for their dangers, wait until it is closed
	forgotten   atomic.Bool   // the model that cards were assessed by is no longer there
	ruleless    bool          // the rules of danger cannot be had
	refusing    bool          // answers are refused for good
}

type card struct {
	conversation *lightoffv1.Conversation
	keys         map[string]bool
}

func newFake() *fake { return &fake{cards: make(map[string]*card), changed: make(chan struct{})} }

func yesNo() []*lightoffv1.StateInfo { return states("yes", "no") }

func states(ids ...string) []*lightoffv1.StateInfo {
	var out []*lightoffv1.StateInfo
	for _, id := range ids {
		out = append(out, &lightoffv1.StateInfo{Id: id, Title: strings.ReplaceAll(id, "_", " ")})
	}
	return out
}

// catalogue is in the order in which the fake asks.
var catalogue = []*lightoffv1.ObservationInfo{
	{Id: "people_unwell", Title: "People unwell", Question: "Is anybody unwell?", States: yesNo(), SafetyCard: true},
	{Id: "smell_exhaust_inside", Title: "Exhaust smell inside", Question: "Does it smell of exhaust inside?",
		States: yesNo(), SafetyCard: true},
	{Id: "smell_fuel", Title: "Fuel smell", Question: "Does it smell of fuel?", States: yesNo(), SafetyCard: true},
	{Id: "smell_gas", Title: "Gas smell", Question: "Does it smell of bottled gas?", States: yesNo(), SafetyCard: true},
	{Id: "smell_burning", Title: "Burning smell", Question: "Does it smell of burning?", States: yesNo(),
		SafetyCard: true},
	{Id: "flames_or_smoke_inside", Title: "Flames or smoke inside", Question: "Are there flames or smoke inside?",
		States: yesNo(), SafetyCard: true},
	{Id: "co_alarm", Title: "Carbon monoxide alarm", Question: "Is there a carbon monoxide alarm, and what does it do?",
		States: states("sounding", "silent_tested", "silent_untested"), SafetyCard: true},
	{Id: "fault_code", Title: "Code on the panel", Question: "Which code does the panel show?",
		States: states("E-01", "E-02", "E-03", "E-04", "E-05", "E-06", "E-07", "E-08", "E-09", "E-10", "none", "other",
			"blank_display")},
	{Id: "rest_voltage", Title: "Battery at rest", Question: "What does the battery measure with the heater off?",
		Unit: "V", Maximum: 40,
		How: "Meter on the battery posts, heater and chargers off for ten minutes.", Normal: "12.5 V or more.",
		Why:  "A weak battery cannot heat the plug.",
		Tool: "multimeter", Minutes: 4, Cautions: []string{"No metal jewellery near the battery."}},
	{Id: "pump_ticks", Title: "Pump ticking", Question: "Does the fuel pump tick during a start?",
		States: states("none", "regular", "irregular"), NeedsStart: true, Minutes: 3,
		How: "Start the heater and listen at the pump.", Why: "No tick, no fuel."},
	{Id: "smoke", Title: "Smoke", Question: "What comes out of the exhaust?",
		States: states("none", "steam", "white_thick", "black", "blue_grey"), Minutes: 2},
}

// causes with the findings that the fake counts for (+) or against (−) them.
var causes = []struct {
	id, part, title, likelihood string
	base                        float64
	speaks                      map[string]float64
}{
	{"low_supply", "supply", "The supply sags under load", "about as likely as not", 0.22,
		map[string]float64{"fault_code=E-01": 0.3, "rest_voltage": 0.15}},
	{"pump_dead", "pump", "The fuel pump does not run", "possible", 0.15,
		map[string]float64{"fault_code=E-08": 0.2, "pump_ticks=none": 0.5, "pump_ticks=regular": -0.14}},
	{"soft_line_air", "line", "Air gets into the fuel line", "possible", 0.14,
		map[string]float64{"fault_code=E-08": 0.3, "pump_ticks=regular": 0.1}},
	{"glow_plug_open", "glow", "The glow plug is open", "unlikely", 0.1, map[string]float64{"fault_code=E-03": 0.6}},
	{"exhaust_blocked", "exhaust", "The exhaust is blocked", "unlikely", 0.06, map[string]float64{"smoke=black": 0.5}},
	{"board_fault", "board", "The control board has failed", "very unlikely", 0.004, nil},
}

func find(id string) *lightoffv1.ObservationInfo {
	i := slices.IndexFunc(catalogue, func(o *lightoffv1.ObservationInfo) bool { return o.GetId() == id })
	if i < 0 {
		return nil
	}
	return catalogue[i]
}

func badRequest(field, description string) error {
	st, err := status.New(codes.InvalidArgument, "the request has 1 problem").WithDetails(&errdetails.BadRequest{
		FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: field, Description: description}}})
	if err != nil {
		return err
	}
	return st.Err()
}

func (f *fake) OpenConversation(_ context.Context,
	req *lightoffv1.OpenConversationRequest) (*lightoffv1.OpenConversationResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.opened++
	id := fmt.Sprintf("card-%d", f.opened)
	f.cards[id] = &card{conversation: &lightoffv1.Conversation{Id: id, LastEvent: 1, Locale: req.GetLocale(),
		Tools:    req.GetTools(),
		OpenedAt: timestamppb.New(time.Date(2026, 1, 17, 22, 40, 0, 0, time.UTC))}, keys: make(map[string]bool)}
	return &lightoffv1.OpenConversationResponse{Conversation: f.show(id, "")}, nil
}

func (f *fake) GetConversation(_ context.Context,
	req *lightoffv1.GetConversationRequest) (*lightoffv1.GetConversationResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.cards[req.GetId()] == nil {
		return nil, status.Error(codes.NotFound, "no such conversation")
	}
	return &lightoffv1.GetConversationResponse{Conversation: f.show(req.GetId(), req.GetLocale())}, nil
}

// change applies an event once for each client key.
func (f *fake) change(id, key, locale string, apply func(*lightoffv1.Conversation) error) (*lightoffv1.Conversation,
	error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	c := f.cards[id]
	if c == nil {
		return nil, status.Error(codes.NotFound, "no such conversation")
	}
	if key != "" && c.keys[key] {
		return f.show(id, locale), nil
	}
	if err := apply(c.conversation); err != nil {
		return nil, err
	}
	c.keys[key] = true
	c.conversation.LastEvent++
	close(f.changed)
	f.changed = make(chan struct{})
	return f.show(id, locale), nil
}

func (f *fake) AnswerQuestions(ctx context.Context,
	req *lightoffv1.AnswerQuestionsRequest) (*lightoffv1.AnswerQuestionsResponse, error) {
	c, err := f.change(req.GetId(), req.GetClientKey(), req.GetLocale(), func(c *lightoffv1.Conversation) error {
		if f.refusing {
			full, err := status.New(codes.ResourceExhausted, "for the log alone").WithDetails(
				&errdetails.ErrorInfo{Reason: "CONVERSATION_FULL", Domain: "lightoff"})
			if err != nil {
				return err
			}
			return full.Err()
		}
		for i, o := range req.GetObservations() {
			if err := check(i, o); err != nil {
				return err
			}
		}
		for _, o := range req.GetObservations() {
			tell(c, &lightoffv1.Told{Observation: o})
		}
		for _, id := range req.GetSkippedIds() {
			tell(c, &lightoffv1.Told{Observation: &lightoffv1.Observation{Id: id}, Skipped: true})
		}
		return nil
	})
	f.mu.Lock()
	hook := f.afterAnswer
	f.afterAnswer = nil
	f.mu.Unlock()
	if hook != nil {
		hook(ctx)
	}
	if c != nil && f.thinks() {
		c = unassessed(c)
	}
	return &lightoffv1.AnswerQuestionsResponse{Conversation: c}, err
}

func check(i int, o *lightoffv1.Observation) error {
	field := fmt.Sprintf("observations[%d]", i)
	info := find(o.GetId())
	if info == nil {
		return badRequest(field+".id", "unknown observation "+o.GetId())
	}
	known := func(s *lightoffv1.StateInfo) bool { return s.GetId() == o.GetState() }
	if _, isState := o.GetValue().(*lightoffv1.Observation_State); isState &&
		!slices.ContainsFunc(info.GetStates(), known) {
		return badRequest(field+".state", o.GetId()+" has no state "+o.GetState())
	}
	return nil
}

func tell(c *lightoffv1.Conversation, told *lightoffv1.Told) {
	info := find(told.GetObservation().GetId())
	value := "can't tell"
	switch v := told.GetObservation().GetValue().(type) {
	case *lightoffv1.Observation_State:
		value = strings.ReplaceAll(v.State, "_", " ")
	case *lightoffv1.Observation_Number:
		value = fmt.Sprintf("%g %s", v.Number, info.GetUnit())
	}
	if told.GetSkipped() {
		value = "skipped"
	}
	told.Text, told.Info, told.Event = info.GetTitle()+": "+value, info, c.GetLastEvent()+1
	same := func(t *lightoffv1.Told) bool { return t.GetObservation().GetId() == info.GetId() }
	if i := slices.IndexFunc(c.GetTold(), same); i >= 0 {
		c.Told[i] = told
		return
	}
	c.Told = append(c.Told, told)
}

func (f *fake) RetractAnswer(_ context.Context,
	req *lightoffv1.RetractAnswerRequest) (*lightoffv1.RetractAnswerResponse, error) {
	c, err := f.change(req.GetId(), req.GetClientKey(), req.GetLocale(), func(c *lightoffv1.Conversation) error {
		before := len(c.GetTold())
		c.Told = slices.DeleteFunc(c.Told,
			func(t *lightoffv1.Told) bool { return t.GetObservation().GetId() == req.GetObservationId() })
		if len(c.GetTold()) == before {
			return status.Error(codes.FailedPrecondition, req.GetObservationId()+" was not told")
		}
		return nil
	})
	return &lightoffv1.RetractAnswerResponse{Conversation: c}, err
}

// Say understands a code such as E-08 and the words "white smoke".
func (f *fake) SayText(_ context.Context, req *lightoffv1.SayTextRequest) (*lightoffv1.SayTextResponse, error) {
	c, err := f.change(req.GetId(), req.GetClientKey(), req.GetLocale(), func(c *lightoffv1.Conversation) error {
		saying := &lightoffv1.Saying{Text: req.GetText(), Event: c.GetLastEvent() + 1}
		read := func(id, state, words string) {
			told := &lightoffv1.Told{Words: words, Observation: &lightoffv1.Observation{Id: id,
				Value: &lightoffv1.Observation_State{State: state}}}
			tell(c, told)
			saying.Readings = append(saying.Readings, &lightoffv1.Reading{Observation: told.GetObservation(), Words: words,
				Text: told.GetText()})
		}
		for _, s := range find("fault_code").GetStates() {
			if strings.HasPrefix(s.GetId(), "E-") && strings.Contains(req.GetText(), s.GetId()) {
				read("fault_code", s.GetId(), s.GetId())
			}
		}
		if strings.Contains(req.GetText(), "white smoke") {
			read("smoke", "white_thick", "white smoke")
		}
		c.Sayings = append(c.Sayings, saying)
		return nil
	})
	return &lightoffv1.SayTextResponse{Conversation: c}, err
}

func (f *fake) SetTools(_ context.Context, req *lightoffv1.SetToolsRequest) (*lightoffv1.SetToolsResponse, error) {
	c, err := f.change(req.GetId(), req.GetClientKey(), req.GetLocale(), func(c *lightoffv1.Conversation) error {
		c.Tools = req.GetTools()
		return nil
	})
	return &lightoffv1.SetToolsResponse{Conversation: c}, err
}

func (f *fake) WatchConversation(req *lightoffv1.WatchConversationRequest,
	stream grpc.ServerStreamingServer[lightoffv1.WatchConversationResponse]) error {
	seen, owed := req.GetAfterEvent(), false
	for {
		f.mu.Lock()
		c, changed := f.cards[req.GetId()], f.changed
		if c == nil {
			f.mu.Unlock()
			return status.Error(codes.NotFound, "no such conversation")
		}
		now, thinking := f.show(req.GetId(), req.GetLocale()), f.thinking
		f.mu.Unlock()
		if f.thinks() {
			now = unassessed(now)
		} else {
			thinking = nil
		}
		if pending := now.GetAssessment().GetPending(); now.GetLastEvent() > seen || owed && !pending {
			seen, owed = now.GetLastEvent(), pending
			if err := stream.Send(&lightoffv1.WatchConversationResponse{Conversation: now}); err != nil {
				return err
			}
		}
		select {
		case <-changed:
		case <-thinking:
		case <-stream.Context().Done():
			return nil
		}
	}
}

// thinks reports whether assessments are still to come.
func (f *fake) thinks() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.thinking == nil {
		return false
	}
	select {
	case <-f.thinking:
		return false
	default:
		return true
	}
}

// unassessed is a conversation of which there are only the dangers and the safety card yet.
func unassessed(c *lightoffv1.Conversation) *lightoffv1.Conversation {
	out := proto.CloneOf(c)
	out.Assessment = &lightoffv1.AssessResponse{ModelVersion: c.GetAssessment().GetModelVersion(),
		Dangers: c.GetAssessment().GetDangers(), Pending: true}
	out.Next = slices.DeleteFunc(out.GetNext(), func(i *lightoffv1.ObservationInfo) bool { return !i.GetSafetyCard() })
	return out
}

// show computes what is shown of a conversation, in a value of its own. In German the questions begin with "Frage: ".
func (f *fake) show(id, locale string) *lightoffv1.Conversation {
	c := f.cards[id].conversation
	told := make(map[string]*lightoffv1.Told)
	for _, t := range c.GetTold() {
		told[t.GetObservation().GetId()] = t
	}
	out := &lightoffv1.Conversation{Id: c.GetId(), LastEvent: c.GetLastEvent(),
		Locale: cmp.Or(locale, c.GetLocale(), "en"), OpenedAt: c.GetOpenedAt(), Tools: slices.Clone(c.GetTools()),
		Told:    slices.Clone(c.GetTold()),
		Sayings: slices.Clone(c.GetSayings()), Assessment: assess(told),
		NextReason: "It tells fuel from current." + f.padding}
	for _, info := range catalogue {
		if told[info.GetId()] == nil && (info.GetSafetyCard() || len(out.GetNext()) == 0) {
			if out.Locale == "de" {
				info = proto.CloneOf(info)
				info.Question = "Frage: " + info.GetQuestion()
			}
			out.Next = append(out.Next, info)
		}
	}
	return out
}

func assess(told map[string]*lightoffv1.Told) *lightoffv1.AssessResponse {
	out := &lightoffv1.AssessResponse{ModelVersion: "fake", Plan: &lightoffv1.Plan{}}
	is := func(id, state string) bool { return told[id].GetObservation().GetState() == state }
	for _, c := range causes {
		p := c.base
		cause := &lightoffv1.RankedCause{Id: c.id, Title: c.title, Part: c.part, Sentence: c.title, Likelihood: c.likelihood,
			BaseRate: c.base}
		for id, t := range told {
			for _, key := range []string{id, id + "=" + t.GetObservation().GetState()} {
				if d := c.speaks[key]; d != 0 {
					p += d
					cause.Weights = append(cause.Weights, &lightoffv1.WeightOfEvidence{ObservationId: id, Text: t.GetText(),
						Bits: d * 5})
				}
			}
		}
		cause.Probability = p
		out.Causes = append(out.Causes, cause)
	}
	slices.SortStableFunc(out.GetCauses(), func(a, b *lightoffv1.RankedCause) int {
		return int(1e6 * (b.GetProbability() - a.GetProbability()))
	})
	lead := out.GetCauses()[0]
	out.Plan.Steps = []*lightoffv1.PlanStep{{RepairId: "mend_" + lead.GetId(), CauseId: lead.GetId(),
		Title:             "Mend it: " + strings.ToLower(lead.GetTitle()),
		ProbabilityNeeded: lead.GetProbability(), Minutes: 40, PartsEuros: 25,
		Cautions: []string{"Heater cold and isolated."}, Parts: []string{"fuel hose, 5 mm bore"},
		Proof: "It starts and runs for twenty minutes.", Prevention: "Clamp every joint."}}
	for _, info := range catalogue {
		if told[info.GetId()] == nil && !info.GetSafetyCard() {
			out.NextChecks = append(out.NextChecks, &lightoffv1.AdvisedCheck{ObservationId: info.GetId(),
				Question: info.GetQuestion(), Minutes: info.GetMinutes(), Tool: info.GetTool()})
		}
	}
	if is("people_unwell", "yes") || is("co_alarm", "sounding") {
		out.Dangers = append(out.Dangers, raised(carbonMonoxide, "people_unwell", "co_alarm"))
		out.Plan.Steps[0].HeldBack = "nothing may be started while this danger stands"
	}
	if is("smoke", "white_thick") {
		out.Dangers = append(out.Dangers, raised(flooded, "smoke"))
	}
	if is("co_alarm", "silent_untested") {
		out.Dangers = append(out.Dangers, raised(untested, "co_alarm"))
	}
	if is("pump_ticks", "none") && is("smoke", "white_thick") {
		out.Contradictions = []*lightoffv1.Contradiction{{ObservationIds: []string{"pump_ticks", "smoke"},
			Text: "A pump that never ticks brings no fuel, yet the smoke is unburnt fuel."}}
	}
	return out
}

func (f *fake) Explain(_ context.Context, req *lightoffv1.ExplainRequest) (*lightoffv1.ExplainResponse, error) {
	if want := map[bool]string{false: "fake", true: ""}[f.forgotten.Load()]; req.GetModelVersion() != want {
		return nil, badRequest("model_version", "no such version")
	}
	for _, c := range causes {
		if c.id == req.GetCauseId() {
			return &lightoffv1.ExplainResponse{Cause: &lightoffv1.RankedCause{Id: c.id, Title: c.title},
				Explanation: "In short: " + c.title + ".",
				WouldChange: []*lightoffv1.WhatIf{{ObservationId: "pump_ticks", State: "none", Text: "Pump ticking: none",
					Probability: 0.2, ProbabilityAfter: 0.6}}}, nil
		}
	}
	return nil, badRequest("cause_id", "unknown cause "+req.GetCauseId())
}

func (f *fake) ListObservations(context.Context,
	*lightoffv1.ListObservationsRequest) (*lightoffv1.ListObservationsResponse, error) {
	tools := []*lightoffv1.ToolInfo{{Id: "multimeter", Title: "Multimeter"}, {Id: "clamp_meter", Title: "DC clamp meter"},
		{Id: "hand_tools", Title: "Hand tools"}}
	return &lightoffv1.ListObservationsResponse{Observations: catalogue, Tools: tools}, nil
}

// ListDangers are the rules by which assess names dangers.
func (f *fake) ListDangers(_ context.Context, req *lightoffv1.ListDangersRequest) (*lightoffv1.ListDangersResponse,
	error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.ruleless {
		return nil, status.Error(codes.Unavailable, "away")
	}
	rule := func(d *lightoffv1.Danger, any ...*lightoffv1.DangerCondition) *lightoffv1.DangerRule {
		out := &lightoffv1.DangerRule{Danger: d}
		for _, c := range any {
			out.Any = append(out.Any, &lightoffv1.DangerTrigger{All: []*lightoffv1.DangerCondition{c}})
		}
		return out
	}
	in := func(id, state string) *lightoffv1.DangerCondition {
		return &lightoffv1.DangerCondition{ObservationId: id, States: []string{state}}
	}
	out := &lightoffv1.ListDangersResponse{
		Rules: []*lightoffv1.DangerRule{
			rule(carbonMonoxide, in("people_unwell", "yes"), in("co_alarm", "sounding")),
			rule(flooded, in("smoke", "white_thick")),
			rule(untested, in("co_alarm", "silent_untested")),
		},
		Alarms: []*lightoffv1.Alarm{{ObservationId: "people_unwell", State: "yes", NoState: "no", WithinWords: 3,
			Groups: []string{"headache[^ ]* |dizzy "}, Question: "Is anybody unwell?"}},
		Grammar: &lightoffv1.AlarmGrammar{Negate: "no |not ", Fillers: "a |the |any ", Doubt: "perhaps "},
	}
	if req.GetLocale() == "de" {
		out.Alarms[0].Groups = []string{"kopfweh |schwindlig "}
		out.Alarms[0].Question = "Ist jemandem unwohl?"
	}
	return proto.CloneOf(out), nil
}

// The dangers that the fake knows.
var (
	carbonMonoxide = &lightoffv1.Danger{Id: "carbon_monoxide", Title: "Carbon monoxide",
		Severity:      lightoffv1.Severity_SEVERITY_LEAVE_NOW,
		CallEmergency: true, Text: "Everybody out into fresh air now. Wake sleepers, count heads. Call and say carbon " +
			"monoxide.",
		Steps: []string{"Everybody out. Now.", "Wake anyone asleep.", "Count heads outside.", "Call. Say carbon monoxide.",
			"Stay out."},
		WayOut: []string{"Nobody goes back in, for nothing.", "Everybody who was inside sees a doctor.",
			"None of them drives."}}
	flooded = &lightoffv1.Danger{Id: "flooded", Title: "Unburnt fuel in the burner",
		Severity: lightoffv1.Severity_SEVERITY_NO_START,
		Text:     "No more starts, not even to burn it off.",
		Steps: []string{"If it runs or is hot: off at the panel. Leave its power on until the fan stands still.",
			"No flame or spark near it."},
		WayOut: []string{"Outdoors, cold, power cut, pump unplugged.",
			"Take out the glow plug and its screen. Soak up the fuel.",
			"New gasket.", "One start under your eyes: doors open, extinguisher beside you."}}
	untested = &lightoffv1.Danger{Id: "alarm_untested", Title: "The alarm is untested",
		Severity: lightoffv1.Severity_SEVERITY_CAUTION,
		Text:     "No night with the heater running until a tested alarm is fitted."}
)

// raised is a danger that some observations raise.
func raised(d *lightoffv1.Danger, by ...string) *lightoffv1.Danger {
	out := proto.CloneOf(d)
	out.TriggerIds = by
	return out
}

// events counts what a conversation has kept.
func (f *fake) events(id string) int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.cards[id].conversation.GetLastEvent()
}

// count counts conversations.
func (f *fake) count() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.cards)
}

// service is all that the pages call.
type service interface {
	lightoffv1.ConversationServiceServer
	lightoffv1.DiagnosisServiceServer
	lightoffv1.KnowledgeServiceServer
	lightoffv1.CalculationServiceServer
}

// dialFake serves a fake inside the process and returns the connection to it.
func dialFake(t testing.TB, f service) *grpc.ClientConn {
	t.Helper()
	pipe := bufconn.Listen(1 << 20)
	server := grpc.NewServer()
	lightoffv1.RegisterConversationServiceServer(server, f)
	lightoffv1.RegisterDiagnosisServiceServer(server, f)
	lightoffv1.RegisterKnowledgeServiceServer(server, f)
	lightoffv1.RegisterCalculationServiceServer(server, f)
	go func() { _ = server.Serve(pipe) }()
	t.Cleanup(server.Stop)
	conn, err := grpc.NewClient("passthrough:///fake", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return pipe.DialContext(ctx) }))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// serve runs the pages before a fake service.
func serve(t testing.TB, f service, opts webui.Options) *httptest.Server {
	t.Helper()
	done := make(chan struct{})
	if opts.Done == nil {
		opts.Done = done
	}
	site := httptest.NewServer(webui.Handler(dialFake(t, f), opts))
	t.Cleanup(func() { close(done); site.Close() })
	return site
}

const patience = 10 * time.Second

// marked is a fake whose dangers hold markup.
type marked struct{ *fake }

func (m *marked) ListDangers(context.Context, *lightoffv1.ListDangersRequest) (*lightoffv1.ListDangersResponse, error) {
	return &lightoffv1.ListDangersResponse{Rules: []*lightoffv1.DangerRule{{Danger: &lightoffv1.Danger{Id: "x",
		Title: "</script><b>"}}}}, nil
}
