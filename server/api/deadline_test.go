package api

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// leaver is a context whose caller goes after it was asked so many times whether it is still there.
type leaver struct {
	context.Context
	patience, asked int
}

func (l *leaver) Err() error {
	if l.asked++; l.asked > l.patience {
		return context.Canceled
	}
	return nil
}

// An inference that has begun ends at its next step once its caller has gone, and holds up nobody who asks the same.
func TestBegunInferenceIsGivenUp(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	d := NewDiagnosis(m)
	req := &lightoffv1.AssessRequest{Observations: []*lightoffv1.Observation{state("fault_code", "heat")}}
	want, err := d.Assess(t.Context(), req)
	require.NoError(t, err)
	for patience := 0; ; patience++ {
		got, err := d.Assess(&leaver{Context: t.Context(), patience: patience}, req)
		if err == nil {
			assert.Equal(t, want.GetCauses()[0].GetProbability(), got.GetCauses()[0].GetProbability())
			assert.GreaterOrEqual(t, patience, 3)
			break
		}
		require.ErrorIs(t, err, context.Canceled)
		require.Equal(t, d.line.processors, d.line.free, "its processor is free again")
	}

	r := start(t)
	id := r.open(t)
	c, err := r.store.Read(t.Context(), id)
	require.NoError(t, err)
	c.Events = append(c.Events, diagnosis.Event{Kind: diagnosis.Answered, Number: 2,
		Observations: []diagnosis.Observation{{ID: "fault_code", State: "supply"}}})
	so := r.server.conversations.account(c.Events, "").sound()
	by, err := r.server.conversations.models.byName(t.Context(), m.Version)
	require.NoError(t, err)
	_, err = r.server.conversations.guidance(&leaver{Context: t.Context(), patience: 1}, by, so, inTurn)
	require.ErrorIs(t, err, context.Canceled)
	found, err := r.server.conversations.guidance(t.Context(), by, so, inTurn)
	require.NoError(t, err)
	assert.NotNil(t, found.Assessment)
}

// Every call that waits for an inference ends by its deadline, says so, and waits no longer.
func TestDeadlines(t *testing.T) {
	r := start(t)
	told := []*lightoffv1.Observation{state("fault_code", "heat")}
	id := r.open(t)
	over := r.crowd(t)
	room := r.server.line
	room.mu.Lock()
	room.usual = time.Millisecond // so that there is room to wait
	room.mu.Unlock()
	for name, call := range map[string]func(ctx context.Context) error{
		"Assess": func(ctx context.Context) error {
			_, err := r.Assess(ctx, &lightoffv1.AssessRequest{Observations: told})
			return err
		},
		"Explain": func(ctx context.Context) error {
			_, err := r.Explain(ctx, &lightoffv1.ExplainRequest{Observations: told, CauseId: "scaled_up"})
			return err
		},
		"AssessMany": func(ctx context.Context) error {
			stream, err := r.AssessMany(ctx)
			if err != nil {
				return err
			}
			if err := stream.Send(&lightoffv1.AssessManyRequest{Id: "1",
				Request: &lightoffv1.AssessRequest{Observations: told}}); err != nil {
				return err
			}
			_, err = stream.Recv()
			return err
		},
	} {
		ctx, cancel := context.WithTimeout(r.ctx, 300*time.Millisecond)
		assert.Equal(t, codes.DeadlineExceeded, code(call(ctx)), name)
		cancel()
	}
	// Nothing is half-accepted: what was cut off is not kept, and is taken when it is sent again.
	answer := &lightoffv1.AnswerQuestionsRequest{Id: id, Observations: told, ClientKey: "once"}
	ctx, cancel := context.WithTimeout(r.ctx, 300*time.Millisecond)
	defer cancel()
	_, err := r.AnswerQuestions(ctx, answer)
	assert.Equal(t, codes.DeadlineExceeded, code(err))
	over()
	cut, err := r.GetConversation(r.ctx, &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	assert.Empty(t, cut.Conversation.Told)
	taken, err := r.AnswerQuestions(r.ctx, answer)
	require.NoError(t, err)
	assert.Len(t, taken.Conversation.Told, 1)
	room.mu.Lock()
	defer room.mu.Unlock()
	assert.Zero(t, room.waiting)
}
