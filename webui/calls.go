package webui

import (
	"context"
	"encoding/json"

	"google.golang.org/genproto/googleapis/rpc/code"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/webui/frame"
)

// clients are the calls that a page may make, by the name it gives them, and the one that streams.
type clients struct {
	calls map[string]call
	// ask is a small call that reports whether a token is taken.
	ask func(context.Context) error
	// askDesk is one that reports whether a token is a desk's.
	askDesk func(context.Context) error
	streams map[string]stream
}

// stream follows something by one call of the service.
type stream struct {
	takes protoreflect.MessageDescriptor // what the call takes
	// begin begins to follow. Next waits for the next message, and for the conversation in it if it is one.
	begin func(context.Context, json.RawMessage) (next func() (proto.Message, *lightoffv1.Conversation, error), err error)
}

// following turns a generated client method that streams into a stream.
func following[Req any, PReq interface {
	*Req
	proto.Message
}, Resp any](rpc func(context.Context, PReq, ...grpc.CallOption) (grpc.ServerStreamingClient[Resp], error),
	what func(*Resp) (proto.Message, *lightoffv1.Conversation)) stream {
	begin := func(ctx context.Context, raw json.RawMessage) (func() (proto.Message, *lightoffv1.Conversation, error),
		error) {
		req := PReq(new(Req))
		if err := decode(raw, req); err != nil {
			return nil, err
		}
		followed, err := rpc(ctx, req)
		if err != nil {
			return nil, err
		}
		return func() (proto.Message, *lightoffv1.Conversation, error) {
			resp, err := followed.Recv()
			if err != nil {
				return nil, nil, err
			}
			m, c := what(resp)
			return m, c, nil
		}, nil
	}
	return stream{takes: PReq(new(Req)).ProtoReflect().Descriptor(), begin: begin}
}

// call is one call of the service.
type call struct {
	takes protoreflect.MessageDescriptor
	// make makes it with a request in protojson.
	make func(context.Context, json.RawMessage) (proto.Message, error)
}

func newClients(conn grpc.ClientConnInterface) clients {
	conversation := lightoffv1.NewConversationServiceClient(conn)
	calculation := lightoffv1.NewCalculationServiceClient(conn)
	desk, look := lightoffv1.NewDeskServiceClient(conn), lightoffv1.NewLookOnServiceClient(conn)
	return clients{
		calls: map[string]call{
			"open":              unary(conversation.OpenConversation),
			"get":               unary(conversation.GetConversation),
			"say":               unary(conversation.SayText),
			"answer":            unary(conversation.AnswerQuestions),
			"retract":           unary(conversation.RetractAnswer),
			"set_tools":         unary(conversation.SetTools),
			"delete":            unary(conversation.DeleteConversation),
			"explain":           unary(lightoffv1.NewDiagnosisServiceClient(conn).Explain),
			"list_observations": unary(lightoffv1.NewKnowledgeServiceClient(conn).ListObservations),

			"get_log": unary(conversation.GetLog),

			"make_code":   unary(conversation.MakeCode),
			"change_key":  unary(conversation.ChangeKey),
			"come_back":   unary(conversation.RedeemCode),
			"let_look_on": unary(conversation.MakeLookOnKey),
			"withdraw":    unary(conversation.WithdrawLookOnKeys),
			"resolve":     unary(conversation.ResolveSuggestion),

			"mend":         unary(conversation.ReportRepair),
			"report_start": unary(conversation.ReportStart),
			"settle":       unary(conversation.SettleConversation),
			"check_back":   unary(conversation.ReportHolding),

			"look":     unary(look.GetView),
			"suggest":  unary(look.SuggestAnswer),
			"moderate": unary(lightoffv1.NewModerationServiceClient(conn).ModerateConversation),

			"find_by_code":   unary(desk.FindConversation),
			"get_record":     unary(desk.GetRecord),
			"assign":         unary(desk.AssignConversation),
			"add_note":       unary(desk.AddNote),
			"set_ticket":     unary(desk.SetTicket),
			"list_calls":     unary(desk.ListConversations),
			"close":          unary(desk.CloseConversation),
			"reopen":         unary(desk.ReopenConversation),
			"set_hidden":     unary(desk.SetConversationHidden),
			"get_report":     unary(desk.GetReport),
			"get_statistics": unary(desk.GetStatistics),
			"list_dangers":   unary(lightoffv1.NewKnowledgeServiceClient(conn).ListDangers),
			"list_causes":    unary(lightoffv1.NewKnowledgeServiceClient(conn).ListCauses),

			"calculate_cable":           unary(calculation.CalculateCable),
			"calculate_state_of_charge": unary(calculation.CalculateStateOfCharge),
			"calculate_glow_voltage":    unary(calculation.CalculateGlowVoltage),
			"calculate_priming":         unary(calculation.CalculatePriming),
			"calculate_waxing_chance":   unary(calculation.CalculateWaxingChance),
		},
		ask: func(ctx context.Context) error {
			_, err := lightoffv1.NewKnowledgeServiceClient(conn).GetModel(ctx, &lightoffv1.GetModelRequest{})
			return err
		},
		askDesk: func(ctx context.Context) error {
			_, err := desk.GetDesk(ctx, &lightoffv1.GetDeskRequest{})
			return err
		},
		streams: map[string]stream{
			"watch": following(conversation.WatchConversation,
				func(r *lightoffv1.WatchConversationResponse) (proto.Message, *lightoffv1.Conversation) {
					return r.GetConversation(), r.GetConversation()
				}),
			"watch_look": following(look.WatchView, func(r *lightoffv1.WatchViewResponse) (proto.Message,
				*lightoffv1.Conversation) {
				return r.GetConversation(), r.GetConversation()
			}),
			"watch_list": following(desk.WatchConversations,
				func(r *lightoffv1.WatchConversationsResponse) (proto.Message, *lightoffv1.Conversation) {
					return r, nil
				}),
		},
	}
}

// unary turns a generated client method into a call.
func unary[Req any, PReq interface {
	*Req
	proto.Message
}, Resp proto.Message](rpc func(context.Context, PReq, ...grpc.CallOption) (Resp, error)) call {
	made := func(ctx context.Context, raw json.RawMessage) (proto.Message, error) {
		req := PReq(new(Req))
		if err := decode(raw, req); err != nil {
			return nil, err
		}
		resp, err := rpc(ctx, req)
		if err != nil {
			return nil, err
		}
		return resp, nil
	}
	return call{takes: PReq(new(Req)).ProtoReflect().Descriptor(), make: made}
}

// decode reads a request; a field that the message does not have is an error, for nothing is half-accepted.
func decode(raw json.RawMessage, req proto.Message) error {
	if err := frame.Decode(raw, req); err != nil {
		return status.Errorf(codes.InvalidArgument, "reading the request: %v", err)
	}
	return nil
}

// ownReasons are those of what the bridge or the transport refuses; what the service refuses brings its own.
var ownReasons = map[codes.Code]string{
	codes.InvalidArgument: "REQUEST_INVALID", codes.Unimplemented: "NO_SUCH_CALL", codes.Unavailable: "STOPPING",
	codes.Canceled: "CANCELLED", codes.DeadlineExceeded: "DEADLINE_EXCEEDED", codes.Internal: "INTERNAL",
}

// faultOf carries a status and its BadRequest details over. What the transport says about addresses stays inside.
func faultOf(err error) *frame.Fault {
	st := status.Convert(err)
	f := &frame.Fault{Code: code.Code(st.Code()).String(), Message: st.Message(), Reason: ownReasons[st.Code()]}
	if st.Code() == codes.Unavailable {
		f.Message = "the service cannot be reached just now"
	}
	for _, detail := range st.Details() {
		switch detail := detail.(type) {
		case *errdetails.ErrorInfo:
			f.Reason = detail.GetReason()
		case *errdetails.RetryInfo:
			f.RetryAfter = detail.GetRetryDelay().AsDuration().Seconds()
		case *errdetails.BadRequest:
			for _, v := range detail.GetFieldViolations() {
				f.Violations = append(f.Violations, frame.Of(v.GetField(), v.GetDescription()))
			}
		}
	}
	return f
}
