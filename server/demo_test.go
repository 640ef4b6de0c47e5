package main

import (
	"bytes"
	"context"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lightoff/engine/heater"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// A caller answers until it has nothing more to say.
func TestDemo(t *testing.T) {
	p := newProgram(t.TempDir())
	p.Model = heater.Model
	opened(t, p)
	m, err := heater.Model()
	require.NoError(t, err)
	var out bytes.Buffer
	limited, cancel := context.WithTimeout(t.Context(), 10*patience)
	defer cancel()
	d := demo{conn: p.conn, model: m, out: &out, url: p.URL(), callers: 2, seed: 1, pace: time.Millisecond}
	require.NoError(t, d.run(limited))
	require.NoError(t, limited.Err())
	keys := regexp.MustCompile(`/c/(\S+)`).FindAllStringSubmatch(out.String(), -1)
	require.Len(t, keys, 2)
	ended := map[bool]int{}
	for _, key := range keys {
		reply, err := lightoffv1.NewConversationServiceClient(p.conn).GetConversation(t.Context(),
			&lightoffv1.GetConversationRequest{Id: key[1]})
		require.NoError(t, err)
		assert.Greater(t, len(reply.GetConversation().GetTold()), 5)
		assert.NotEmpty(t, reply.GetConversation().GetAssessment().GetCauses())
		ended[reply.GetConversation().GetSettlement() != nil]++
	}
	assert.Positive(t, ended[true], "somebody's heater runs in the end")
}

// heard calls for each write with what was written.
type heard func(line string)

func (h heard) Write(b []byte) (int, error) {
	h(string(b))
	return len(b), nil
}

// One in whose conversation somebody else answers falls silent.
func TestDemoTakenOver(t *testing.T) {
	p := newProgram(t.TempDir())
	p.Model = heater.Model
	opened(t, p)
	m, err := heater.Model()
	require.NoError(t, err)
	client := lightoffv1.NewConversationServiceClient(p.conn)
	var id string
	d := demo{conn: p.conn, model: m, url: p.URL(), callers: 1, seed: 1, pace: time.Millisecond}
	d.out = heard(func(line string) {
		key := regexp.MustCompile(`/c/(\S+)`).FindStringSubmatch(line)
		if key == nil {
			return
		}
		id = key[1]
		_, err := client.AnswerQuestions(t.Context(), &lightoffv1.AnswerQuestionsRequest{Id: id, ClientKey: "visitor",
			Observations: []*lightoffv1.Observation{{Id: "installation", Value: &lightoffv1.Observation_State{State: "boat"}}}})
		assert.NoError(t, err)
	})
	require.NoError(t, d.run(t.Context()))
	reply, err := client.GetConversation(t.Context(), &lightoffv1.GetConversationRequest{Id: id})
	require.NoError(t, err)
	require.Len(t, reply.GetConversation().GetTold(), 1, "only the visitor's")
}
