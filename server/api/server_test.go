package api

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

var services = []string{
	"lightoff.v1.CalculationService", "lightoff.v1.ConversationService", "lightoff.v1.DiagnosisService",
	"lightoff.v1.KnowledgeService",
}

// TestHealth: the statuses, and NOT_FOUND for an unknown service, as in the gRPC health checking protocol
// (grpc/grpc, doc/health-checking.md).
func TestHealth(t *testing.T) {
	r := start(t)
	health := healthv1.NewHealthClient(r.conn)
	for _, name := range append([]string{""}, services...) {
		answer, err := health.Check(r.ctx, &healthv1.HealthCheckRequest{Service: name})
		require.NoError(t, err, name)
		assert.Equal(t, healthv1.HealthCheckResponse_SERVING, answer.Status, name)
	}
	_, err := health.Check(r.ctx, &healthv1.HealthCheckRequest{Service: "lightoff.v1.NoService"})
	assert.Equal(t, codes.NotFound, status.Code(err))

	r.server.Drain()
	for _, name := range append([]string{""}, services...) {
		answer, err := health.Check(r.ctx, &healthv1.HealthCheckRequest{Service: name})
		require.NoError(t, err, name)
		assert.Equal(t, healthv1.HealthCheckResponse_NOT_SERVING, answer.Status, name)
	}
	_, err = r.GetModel(r.ctx, &lightoffv1.GetModelRequest{})
	assert.NoError(t, err, "calls are answered all the same")
}

func TestReflection(t *testing.T) {
	r := start(t)
	stream, err := reflectionv1.NewServerReflectionClient(r.conn).ServerReflectionInfo(r.ctx)
	require.NoError(t, err)
	require.NoError(t, stream.Send(&reflectionv1.ServerReflectionRequest{
		MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}}))
	answer, err := stream.Recv()
	require.NoError(t, err)
	var names []string
	for _, s := range answer.GetListServicesResponse().GetService() {
		names = append(names, s.Name)
	}
	assert.Subset(t, names, append([]string{"grpc.health.v1.Health"}, services...))
	require.NoError(t, stream.CloseSend())
}

func TestKnowledge(t *testing.T) {
	r := start(t)
	causes, err := r.ListCauses(r.ctx, &lightoffv1.ListCausesRequest{Locale: "xx-unknown"})
	require.NoError(t, err)
	require.Len(t, causes.Causes, 4)
	scale := causes.Causes[2]
	assert.Equal(t, "scaled_up", scale.Id)
	assert.Equal(t, "Scale", scale.Title, "an unknown language falls back to English")
	assert.Equal(t, "Lime keeps the heat from the water.", scale.Explanation)
	assert.Equal(t, 300.0, scale.PerThousand)
	assert.Equal(t, []string{"descale"}, scale.RepairIds)

	observations, err := r.ListObservations(r.ctx, &lightoffv1.ListObservationsRequest{})
	require.NoError(t, err)
	var ids []string
	for _, o := range observations.Observations {
		ids = append(ids, o.Id)
		assert.NotEmpty(t, o.Question, o.Id)
		assert.NotEqual(t, o.Unit == "", len(o.States) == 0, "%s has either a unit or states", o.Id)
	}
	assert.Equal(t, []string{"water_hardness", "code_table", "age", "lamp", "deposit", "element_resistance", "fault_code"},
		ids)
	meter := observations.Observations[5]
	assert.Equal(t, []any{"Ω", 0.0, 1000.0, "multimeter"}, []any{meter.Unit, meter.Minimum, meter.Maximum, meter.Tool})
	assert.Equal(t, []string{"Pull the plug first."}, meter.Cautions)
	require.Len(t, observations.Tools, 1)
	assert.Equal(t, "Multimeter", observations.Tools[0].Title)

	repairs, err := r.ListRepairs(r.ctx, &lightoffv1.ListRepairsRequest{})
	require.NoError(t, err)
	require.Len(t, repairs.Repairs, 4)
	assert.Equal(t, []string{"element_open"}, repairs.Repairs[1].CauseIds)
	assert.Equal(t, 15.0, repairs.Repairs[1].PartsEuros)

	model, err := r.GetModel(r.ctx, &lightoffv1.GetModelRequest{})
	require.NoError(t, err)
	assert.Equal(t, []any{int32(4), int32(7)}, []any{model.CauseCount, model.ObservationCount})
	assert.Equal(t, []string{"two_digit"}, model.CodeTables)
	assert.Equal(t, []string{"en"}, model.Locales)
	assert.Positive(t, model.LargestCliqueEntries)
	assert.GreaterOrEqual(t, model.VariableCount, int32(7))
	assessed, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{})
	require.NoError(t, err)
	assert.Equal(t, model.Version, assessed.ModelVersion)
	assert.Len(t, assessed.Causes, 4)
	explained, err := r.Explain(r.ctx, &lightoffv1.ExplainRequest{CauseId: "scaled_up"})
	require.NoError(t, err)
	assert.Equal(t, "scaled_up", explained.Cause.Id)
}

// TestEveryFieldIsCarried fills an assessment by hand, since no small model fills everything.
func TestEveryFieldIsCarried(t *testing.T) {
	a := toAssessment(&diagnosis.Assessment{
		ModelVersion: "v", Conflict: 0.5,
		Causes: []diagnosis.RankedCause{{ID: "c", Title: "C", Sentence: "C does", Part: "line", Probability: 0.9,
			Likelihood: "likely", BaseRate: 0.1,
			Weights: []diagnosis.WeightOfEvidence{{ObservationID: "o", Text: "t", Bits: 2}}}},
		NextChecks: []diagnosis.AdvisedCheck{{ObservationID: "o", Question: "q", GainBits: 1, Saving: 2, Minutes: 3,
			Reason: "r", Tool: "t", About: []string{"c"}}},
		Dangers: []diagnosis.Danger{{ID: "d", Title: "D", Text: "t", Severity: diagnosis.LeaveNow,
			Triggers: []string{"o"}, CallEmergency: true, Steps: []string{"s"}, WayOut: []string{"w"},
			Forbids:  []string{"needs_start"},
			LiftedBy: []diagnosis.Lift{{Told: []diagnosis.Observation{{ID: "o", State: "s"}}, Of: []string{"o"}}},
			MendedBy: []string{"r"}}},
		Plan: diagnosis.Plan{Note: "n", NextCheck: "o",
			Ending: &diagnosis.Ending{Kind: knowledge.Replace, After: 1, Minutes: 2, Euros: 3, Probability: 0.4,
				ExpectedCost: 5, Text: "e"}, Steps: []diagnosis.PlanStep{{RepairID: "r", CauseID: "c", Title: "R", Probability: 0.9,
				Minutes: 5, Euros: 6, Cautions: []knowledge.Caution{{When: knowledge.Never, Text: "a"}}, Steps: []string{"s"},
				Parts: []string{"b"}, Proof: "p", Prevention: "v", HeldBack: "h",
				Danger: "d", Together: true, Fixed: 0.6, ExpectedCost: 7}}},
		Contradictions: []diagnosis.Contradiction{{ObservationIDs: []string{"o"}, Text: "odd"}},
		Unused:         []diagnosis.Unused{{ID: "u", Reason: "w"}},
		Chains: []diagnosis.Chain{{Links: []diagnosis.ChainLink{{ID: "root", Title: "R"}}, Probability: 0.5,
			Advice:    "mend it",
			RepairIDs: []string{"r"}}},
		LikelyPair: &diagnosis.Pair{CauseIDs: [2]string{"a", "b"}, Probability: 0.6, Several: 0.7, Text: "both"},
	}, "en")
	e := toExplanation(&diagnosis.Explanation{Explanation: "x", Cause: diagnosis.RankedCause{ID: "c"},
		WouldChange: []diagnosis.WhatIf{{ObservationID: "o", State: "s", Text: "t", Probability: 0.25, After: 0.75}}}, "en")
	assert.Equal(t, []string{"dangers.lifted_by.observations.number", "dangers.lifted_by.observations.unknown", "pending"},
		unset(a.ProtoReflect()), "a value is one of three, and what is there is not to come")
	assert.Equal(t, []string{"cause.title", "cause.probability", "cause.likelihood", "cause.base_rate", "cause.weights",
		"cause.part", "cause.sentence"},
		unset(e.ProtoReflect()))
	for severity := diagnosis.Caution; severity <= diagnosis.LeaveNow; severity++ {
		assert.NotZero(t, severities[severity])
	}
}
