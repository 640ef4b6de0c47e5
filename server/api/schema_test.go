package api

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	// Registers the whole schema.
	_ "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// everyMethod calls see with each method of the API.
func everyMethod(see func(protoreflect.MethodDescriptor)) (seen int) {
	protoregistry.GlobalFiles.RangeFilesByPackage("lightoff.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				see(methods.Get(j))
				seen++
			}
		}
		return true
	})
	return seen
}

// Whoever asks in a language is told which one was used: in the answer itself, or in the conversation that it holds.
func TestAnswersTellTheirLanguage(t *testing.T) {
	asked := 0
	everyMethod(func(m protoreflect.MethodDescriptor) {
		if m.Input().Fields().ByName("locale") == nil {
			return
		}
		asked++
		fields := m.Output().Fields()
		if c := fields.ByName("conversation"); c != nil {
			fields = c.Message().Fields()
		}
		assert.NotNil(t, fields.ByName("locale"), m.FullName())
	})
	assert.Greater(t, asked, 20)
}

// A call that changes a conversation can be sent again with its key. Those without one may be repeated as they are:
// they end something, or make another key of which there are only so many.
func TestChangesCanBeSentAgain(t *testing.T) {
	repeatable := map[protoreflect.Name]bool{"DeleteConversation": true, "MakeCode": true, "RedeemCode": true,
		"MakeLookOnKey": true, "WithdrawLookOnKeys": true}
	reads := map[protoreflect.Name]bool{"Get": true, "List": true, "Find": true, "Watch": true}
	everyMethod(func(m protoreflect.MethodDescriptor) {
		switch m.Parent().Name() {
		case "ConversationService", "DeskService", "LookOnService", "ModerationService":
		default:
			return // keeps nothing
		}
		verb := m.Name()
		for i, r := range verb {
			if i > 0 && r >= 'A' && r <= 'Z' {
				verb = verb[:i]
				break
			}
		}
		keyed := m.Input().Fields().ByName("client_key") != nil
		assert.Equal(t, !reads[verb] && !repeatable[m.Name()], keyed, m.FullName())
	})
}

// Methods are a verb and a noun. The three of DiagnosisService and AssessMany are named by the field.
func TestMethodsAreVerbAndNoun(t *testing.T) {
	seen := everyMethod(func(m protoreflect.MethodDescriptor) {
		switch m.FullName() {
		case "lightoff.v1.DiagnosisService.Assess", "lightoff.v1.DiagnosisService.Explain":
			return
		}
		assert.Regexp(t, `^[A-Z][a-z]+([A-Z][A-Za-z]*)+$`, string(m.Name()))
	})
	assert.Greater(t, seen, 50)
}

// Numbers with a unit say it in their names. The others count, are probabilities or ratios, or are numbers of events.
func TestUnitsStandInNames(t *testing.T) {
	plain := map[protoreflect.FullName]string{
		"Step.result": "its unit stands beside it", "CalculateMixtureRequest.air_ratio": "a ratio",
		"CalculateMixtureResponse.air_ratio": "a ratio", "Observation.number": "the observation's unit",
		"Pair.probability": "0 to 1", "Pair.several": "0 to 1", "Chain.probability": "0 to 1",
		"RankedCause.probability": "0 to 1", "RankedCause.base_rate": "0 to 1", "Ending.probability": "0 to 1",
		"PlanStep.probability_needed": "0 to 1", "PlanStep.probability_well_after": "0 to 1",
		"Recovery.probability_well": "0 to 1", "WhatIf.probability": "0 to 1", "WhatIf.probability_after": "0 to 1",
		"Foretold.said": "0 to 1", "ObservationInfo.minimum": "the observation's unit",
		"ObservationInfo.maximum": "the observation's unit", "DangerCondition.below": "the observation's unit",
		"DangerCondition.above": "the observation's unit",
	}
	seen := 0
	protoregistry.GlobalFiles.RangeFilesByPackage("lightoff.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Messages().Len() {
			m := f.Messages().Get(i)
			for j := range m.Fields().Len() {
				field := m.Fields().Get(j)
				if field.Kind() != protoreflect.DoubleKind {
					continue
				}
				seen++
				name := protoreflect.FullName(m.Name()).Append(field.Name())
				if plain[name] == "" {
					assert.Regexp(t, unitName, string(field.Name()), name)
				}
			}
		}
		return true
	})
	assert.Greater(t, seen, 100)
}

// unitName ends in a unit: SI's, a common one of the trade, or several joined by "per".
const unitName = `(^|_)(v|a|ah|wh|w|kw|ohm|milliohm|m|mm|mm2|m3|kg|g|ml|ul|s|h|min|minutes|seconds|years|hz|c|pa|hpa|ppm|` +
	`percent|bits|nats|euros|minute|thousand)$`

// TestEveryCallHasAMethod: the generated code stands in for a method that nobody wrote, so that the compiler is silent.
func TestEveryCallHasAMethod(t *testing.T) {
	r := start(t)
	tokens := map[protoreflect.Name]string{}
	for service, scope := range map[protoreflect.Name]store.Scope{"DeskService": store.Desk,
		"ModerationService": store.Moderator} {
		token, _, err := r.store.MakeToken(t.Context(), string(scope), scope, time.Hour)
		require.NoError(t, err)
		tokens[service] = token
	}
	everyMethod(func(m protoreflect.MethodDescriptor) {
		service := m.Parent()
		ctx, cancel := context.WithCancel(r.ctx)
		defer cancel()
		if strings.HasPrefix(string(m.Name()), "Watch") { // may answer nothing until something happens
			ctx, cancel = context.WithTimeout(ctx, 2*time.Second)
			defer cancel()
		}
		if token := tokens[service.Name()]; token != "" {
			ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
		}
		stream, err := r.conn.NewStream(ctx,
			&grpc.StreamDesc{ClientStreams: m.IsStreamingClient(), ServerStreams: m.IsStreamingServer()},
			fmt.Sprintf("/%s/%s", service.FullName(), m.Name()))
		require.NoError(t, err, m.FullName())
		_ = stream.SendMsg(dynamicpb.NewMessage(m.Input())) // what went wrong is told on receiving
		_ = stream.CloseSend()
		err = stream.RecvMsg(dynamicpb.NewMessage(m.Output()))
		assert.NotEqual(t, codes.Unimplemented, code(err), "%s: write its method in server/api", m.FullName())
		assert.NotEqual(t, codes.PermissionDenied, code(err), "%s: the test needs a token for it", m.FullName())
	})
}
