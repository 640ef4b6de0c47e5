package api

import (
	"fmt"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	lightoffv1 "lightoff/proto/lightoff/v1"
)

// TestAssessMany: answers come in order, each what Assess says of the same case, and a case that cannot be accepted
// says why and ends nothing.
func TestAssessMany(t *testing.T) {
	r := start(t)
	cases := []*lightoffv1.AssessRequest{
		{Observations: []*lightoffv1.Observation{state("lamp", "on")}},
		{Observations: []*lightoffv1.Observation{state("lamp", "green")}},
		nil,
		{Observations: []*lightoffv1.Observation{state("deposit", "thick")}, Locale: "de-AT"},
	}
	stream, err := r.AssessMany(r.ctx)
	require.NoError(t, err)
	for i, c := range cases {
		require.NoError(t, stream.Send(&lightoffv1.AssessManyRequest{Id: fmt.Sprint(i), Request: c}))
	}
	require.NoError(t, stream.Send(&lightoffv1.AssessManyRequest{Id: fmt.Sprintf("%101d", 1)}))
	require.NoError(t, stream.CloseSend())
	for i, c := range cases {
		got, err := stream.Recv()
		require.NoError(t, err)
		assert.Equal(t, fmt.Sprint(i), got.GetId())
		alone, err := r.Assess(r.ctx, c)
		if err != nil {
			require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
			assert.Equal(t, reason(t, err), got.GetError().GetReason())
			assert.Equal(t, status.Convert(err).Message(), got.GetError().GetMessage())
			require.Len(t, got.GetError().GetViolations(), 1)
			assert.Equal(t, fields(t, err)[0], got.GetError().GetViolations()[0].GetField())
			continue
		}
		assert.True(t, proto.Equal(alone, got.GetAssessment()), "case %d: %v", i, got)
	}
	got, err := stream.Recv()
	require.NoError(t, err)
	assert.Equal(t, "id", got.GetError().GetViolations()[0].GetField())
	assert.Empty(t, got.GetId(), "what is too long is not repeated")
	_, err = stream.Recv()
	assert.Equal(t, io.EOF, err)
}

// TestAssessManyIsPaced: whoever asks for more than their share is slowed down and not refused, and Assess beside it
// is.
func TestAssessManyIsPaced(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	// Two hundred at once, then one every 50 milliseconds.
	limiter := NewLimiter(Limits{Requests: 20})
	r := startAt(t, m, t.TempDir(), Options{Limiter: limiter})
	stream, err := r.AssessMany(r.ctx)
	require.NoError(t, err)
	const cases = 205
	begun := time.Now()
	go func() {
		for range cases {
			if stream.Send(&lightoffv1.AssessManyRequest{}) != nil {
				return
			}
		}
		_ = stream.CloseSend()
	}()
	for range cases {
		got, err := stream.Recv()
		require.NoError(t, err)
		require.NotNil(t, got.GetAssessment())
	}
	_, err = stream.Recv()
	require.Equal(t, io.EOF, err)
	assert.GreaterOrEqual(t, time.Since(begun), 200*time.Millisecond, "five beyond the two hundred at once")
}

// TestLanguageUsed: answers say which language their texts are in (BCP 47; RFC 4647, lookup).
func TestLanguageUsed(t *testing.T) {
	r := start(t)
	for asked, used := range map[string]string{"": "en", "en": "en", "EN-gb": "en", "xx-unknown": "en"} {
		assessed, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{Locale: asked})
		require.NoError(t, err)
		assert.Equal(t, used, assessed.GetLocale(), asked)
		explained, err := r.Explain(r.ctx, &lightoffv1.ExplainRequest{CauseId: "scaled_up", Locale: asked})
		require.NoError(t, err)
		assert.Equal(t, used, explained.GetLocale(), asked)
		read, err := r.ReadText(r.ctx, &lightoffv1.ReadTextRequest{Text: "dark", Locale: asked})
		require.NoError(t, err)
		assert.Equal(t, used, read.GetLocale(), asked)
		causes, err := r.ListCauses(r.ctx, &lightoffv1.ListCausesRequest{Locale: asked})
		require.NoError(t, err)
		assert.Equal(t, used, causes.GetLocale(), asked)
		opened, err := r.OpenConversation(r.ctx, &lightoffv1.OpenConversationRequest{Locale: asked})
		require.NoError(t, err)
		assert.Equal(t, used, opened.GetConversation().GetLocale(), asked)
		assert.Equal(t, used, opened.GetConversation().GetAssessment().GetLocale(), asked)
	}
}
