package main

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// TestCableCard tells a thin cable and sees on the page what the service works out, from the page's own request.
func TestCableCard(t *testing.T) {
	p := onPhone(t)
	p.Click("#none")
	p.AskedNext("safety")
	number := func(id string, x float64) *lightoffv1.Observation {
		return &lightoffv1.Observation{Id: id, Value: &lightoffv1.Observation_Number{Number: x}}
	}
	p.Saved()
	conn := dial(t, p.program)
	_, err := lightoffv1.NewConversationServiceClient(conn).AnswerQuestions(t.Context(),
		&lightoffv1.AnswerQuestionsRequest{Id: p.id(), ClientKey: "cable",
			Observations: []*lightoffv1.Observation{number("cable_area", 1.5), number("cable_length", 6),
				number("rest_voltage", 12.3)}})
	require.NoError(t, err)
	p.Open("sums")
	p.There("[data-card=cable] .fold")
	// By IEC 60228 a metre of 1.5 mm² has 13.3 mΩ and of 6 mm² 3.3 mΩ; at some 13 A, out and back over 6 m, that is
	// 2.1 and 0.5 V.
	assert.Contains(t, p.Text("[data-card=cable]"),
		"Your cable (1.5 mm², 6 m) would lose 2.1 V at a start; 6 mm² would lose 0.5 V.")
	for _, card := range []string{"battery", "start"} {
		p.There("[data-card=" + card + "] svg")
	}
	p.Click("[data-card=cable] summary")
	assert.Contains(t, p.Text("[data-card=cable] .working"), "IEC 60228 ed. 3 (2004)")
	assert.Empty(t, p.TooWide())
}

// TestCalculationsOverTheNetwork asks the program as any client does.
func TestCalculationsOverTheNetwork(t *testing.T) {
	p := newProgram(t.TempDir())
	opened(t, p)
	limited, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	out, err := lightoffv1.NewCalculationServiceClient(dial(t, p)).CalculatePriming(limited,
		&lightoffv1.CalculatePrimingRequest{LineLengthM: proto.Float64(5)})
	require.NoError(t, err)
	assert.InDelta(t, 15.708, out.GetLineVolumeMl(), 1e-3, "π/4·2²·5")
	assert.NotEmpty(t, out.GetSteps())
}
