package api

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// taught are numbers for the kettle, and its version with them.
func taught(t *testing.T, thick float64) (overlay, name string) {
	t.Helper()
	overlay = fmt.Sprintf("learned:\n  - {of: deposit, from: scaled_up, state: \"yes\", to: {none: %g, thick: %g}}\n",
		1-thick, thick)
	m, err := kettleWith([]byte(overlay))
	require.NoError(t, err)
	return overlay, m.Version
}

func kettleWith(overlay []byte) (*knowledge.Model, error) {
	return knowledge.LoadWith(os.DirFS("../testdata/kettle"), overlay, nil)
}

// TestLoadingKeepsNobodyWaiting asks for a version whose loading does not end, and meanwhile for everything else.
func TestLoadingKeepsNobodyWaiting(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	slow, slowName := taught(t, 0.99)
	quick, quickName := taught(t, 0.3)
	loads, release := atomic.Int64{}, make(chan struct{})
	r := startAt(t, m, t.TempDir(), Options{LookEvery: time.Hour, Learned: func(overlay []byte) (*knowledge.Model, error) {
		if string(overlay) == slow {
			loads.Add(1)
			<-release
		}
		return kettleWith(overlay)
	}})
	require.NoError(t, r.store.AddModel(r.ctx, slowName, slow, ""))
	require.NoError(t, r.store.AddModel(r.ctx, quickName, quick, ""))
	_, err = r.Assess(r.ctx, &lightoffv1.AssessRequest{ModelVersion: quickName})
	require.NoError(t, err)
	var waiting sync.WaitGroup
	defer waiting.Wait()
	for range 5 {
		waiting.Go(func() {
			answer, err := r.Assess(r.ctx, &lightoffv1.AssessRequest{ModelVersion: slowName})
			if assert.NoError(t, err) {
				assert.Equal(t, slowName, answer.ModelVersion)
			}
			assert.Equal(t, int64(1), loads.Load(), "loaded once for all")
		})
	}
	require.Eventually(t, func() bool { return loads.Load() == 1 }, patience, time.Millisecond)
	id := r.open(t)
	c := r.answer(t, id, state("lamp", "on"))
	assert.Equal(t, m.Version, c.Assessment.ModelVersion)
	for _, name := range []string{"", m.Version, quickName} {
		_, err = r.Assess(r.ctx, &lightoffv1.AssessRequest{ModelVersion: name})
		assert.NoError(t, err, name)
	}
	_, err = r.Assess(r.ctx, &lightoffv1.AssessRequest{ModelVersion: "nobody"})
	assert.Equal(t, []string{"model_version"}, fields(t, err), "what there is not waits for nothing either")
	close(release)
}

// TestFewVersionsAreHeld asks for many versions in turn.
func TestFewVersionsAreHeld(t *testing.T) {
	builtIn, err := kettle()
	require.NoError(t, err)
	events, err := store.Open(t.Context(), t.TempDir())
	require.NoError(t, err)
	defer events.Close()
	loads := map[string]int{}
	m := newModels(builtIn)
	m.loadFrom(events, slog.New(slog.DiscardHandler), Options{Learned: func(overlay []byte) (*knowledge.Model, error) {
		loads[string(overlay)]++
		if string(overlay) == "broken" {
			return nil, errors.New("broken")
		}
		return kettleWith(overlay)
	}})
	var names, overlays []string
	for i := range 3 * maxLoaded {
		overlay, name := taught(t, 0.5+float64(i)/100)
		names, overlays = append(names, name), append(overlays, overlay)
		require.NoError(t, events.AddModel(t.Context(), name, overlay, ""))
	}
	_, err = events.Promote(t.Context(), names[0], overlays[0], "", "")
	require.NoError(t, err)
	require.NoError(t, m.look(t.Context()))
	assert.Equal(t, names[0], m.inUse().model.Version)
	for _, name := range names {
		v, err := m.byName(t.Context(), name)
		require.NoError(t, err)
		assert.Equal(t, name, v.model.Version)
		_, err = m.byName(t.Context(), names[1]) // in use all the time
		require.NoError(t, err)
		assert.LessOrEqual(t, len(m.loaded), maxLoaded)
	}
	assert.Equal(t, 1, loads[overlays[0]], "the current one stays, used or not")
	assert.Equal(t, 1, loads[overlays[1]], "so does one that is used")
	_, err = m.byName(t.Context(), names[2])
	require.NoError(t, err)
	assert.Equal(t, 2, loads[overlays[2]], "the least lately used goes")
	v, err := m.byName(t.Context(), builtIn.Version)
	require.NoError(t, err)
	assert.Same(t, m.builtIn, v)

	// What cannot be had is remembered: what does not load for good, what is not there until the next look.
	require.NoError(t, events.AddModel(t.Context(), "0broken", "broken", ""))
	require.NoError(t, events.AddModel(t.Context(), "0other", overlays[3], ""))
	for range 3 {
		for _, name := range []string{"0broken", "0other", "0later", ""} {
			v, err := m.byName(t.Context(), name)
			require.NoError(t, err)
			assert.Same(t, m.inUse(), v)
			_, err = m.named(t.Context(), name)
			assert.ErrorIs(t, err, errNoVersion)
		}
		require.NoError(t, m.look(t.Context()))
	}
	assert.Equal(t, 1, loads["broken"])
	overlay, name := taught(t, 0.123)
	_, err = m.named(t.Context(), name)
	assert.ErrorIs(t, err, errNoVersion)
	require.NoError(t, events.AddModel(t.Context(), name, overlay, "")) // by another server
	require.NoError(t, m.look(t.Context()))
	_, err = m.named(t.Context(), name)
	assert.NoError(t, err)
	for i := range maxLost + 10 {
		_, err := m.named(t.Context(), fmt.Sprint("made-up-", i))
		assert.ErrorIs(t, err, errNoVersion)
	}
	assert.LessOrEqual(t, len(m.lost), maxLost)
}

// TestDeskSeesEachByItsModel: the list, the report and those who look on see the numbers that the owner sees.
func TestDeskSeesEachByItsModel(t *testing.T) {
	m, err := kettle()
	require.NoError(t, err)
	r := startAt(t, m, t.TempDir(), Options{LookEvery: 10 * time.Millisecond, Learned: kettleWith})
	begin := func() *lightoffv1.Conversation {
		return r.answer(t, r.open(t), state("lamp", "on"), state("deposit", "thick"))
	}
	owners := map[string]*lightoffv1.Conversation{}
	keep := func(c *lightoffv1.Conversation) { owners[c.Id] = c }
	keep(begin())
	for _, thick := range []float64{0.99, 0.3} {
		overlay, name := taught(t, thick)
		_, err := r.store.Promote(r.ctx, name, overlay, "", "Ines")
		require.NoError(t, err)
		require.Eventually(t, func() bool {
			now, err := r.GetModel(r.ctx, &lightoffv1.GetModelRequest{})
			return err == nil && now.Version == name
		}, patience, 5*time.Millisecond)
		c := begin()
		assert.Equal(t, name, c.Assessment.ModelVersion)
		keep(c)
	}
	_, err = r.store.Rollback(r.ctx, "")
	require.NoError(t, err)
	desk, ctx := r.atDesk(t, "Ines")
	list, err := desk.ListConversations(ctx, &lightoffv1.ListConversationsRequest{})
	require.NoError(t, err)
	require.Len(t, list.Entries, 3)
	leads := map[float64]bool{}
	for _, e := range list.Entries {
		owner := owners[r.keyOf(t, e.Id)]
		assert.Equal(t, owner.Assessment.Causes[0].Probability, e.Lead.Probability)
		leads[e.Lead.Probability] = true
		report, err := desk.GetReport(ctx, &lightoffv1.GetReportRequest{Id: e.Id,
			Form: lightoffv1.ReportForm_REPORT_FORM_JSON})
		require.NoError(t, err)
		assert.Contains(t, report.Text, owner.Assessment.ModelVersion)
		key, err := r.MakeLookOnKey(r.ctx, &lightoffv1.MakeLookOnKeyRequest{Id: owner.Id})
		require.NoError(t, err)
		seen, err := lightoffv1.NewLookOnServiceClient(r.conn).GetView(r.ctx, &lightoffv1.GetViewRequest{Key: key.Key})
		require.NoError(t, err)
		for i, cause := range seen.Conversation.Assessment.Causes {
			assert.True(t, proto.Equal(owner.Assessment.Causes[i], cause))
		}
	}
	assert.Len(t, leads, 3, "the numbers differ")
}
