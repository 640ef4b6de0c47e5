//go:build !js

package api

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"time"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/words"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// core is what every service thinks with. It is shared. Model and engine are the built-in ones, which serve for all
// that does not hang on learnt numbers: what may be told, dangers and words. Numbers come from a version that models
// gives.
type core struct {
	understanding
	models *models
	// line is waited in for an inference slot. An assessment fills one and takes megabytes, so more of them at a time
	// would only make all of them late.
	line    *line
	metrics *metrics
	guided  *guided
	limiter *Limiter // what a stream of requests is slowed down by; nil slows nothing down
}

// acquireSlot takes a processor to think on, for whoever makes the call; leave gives it back. The error says that it is
// refused, or is the context's.
func (c core) acquireSlot(ctx context.Context, u haste) (leave func(), err error) {
	if over := whoCalls(ctx).over; over != nil {
		return nil, over
	}
	c.metrics.queued.Inc()
	defer c.metrics.queued.Dec()
	end, err := c.line.acquire(ctx, whoCalls(ctx).key, u)
	if err != nil {
		return nil, err
	}
	start := time.Now()
	return func() {
		end()
		c.metrics.thinking.Observe(time.Since(start).Seconds())
	}, nil
}

// guidance is what the engine says to a conversation, if that is known or may be found out now.
func (c core) guidance(ctx context.Context, by *version, so sound, u haste) (*diagnosis.Guidance, error) {
	key := keyOf(by.model.Version, so.state)
	for {
		if known := c.guided.get(key); known != nil {
			return known, nil
		}
		leave, err := c.acquireSlot(ctx, u)
		if err != nil {
			return nil, err
		}
		t, err := inTime(u, leave, func() (thought, error) { return c.think(whoWaits(ctx, u), by, key, so) })
		switch {
		case err != nil, t.other == nil:
			return t.found, err
		case u == atOnce:
			return nil, &busy{wait: retryAfter}
		}
		select { // somebody asked the same a moment ago
		case <-t.other:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// moment is how long what cannot wait waits for an inference that has begun. On an idle machine it has ended by then.
const moment = 50 * time.Millisecond

// inTime does work that holds a processor, which leave gives back. What cannot wait waits a moment only, and is then a
// *busy; the work goes on meanwhile, and whoever asks later finds what came of it.
func inTime[T any](u haste, leave func(), work func() (T, error)) (T, error) {
	if u != atOnce {
		defer leave()
		return work()
	}
	type result struct {
		done T
		err  error
	}
	ended := make(chan result, 1)
	go func() {
		defer leave()
		var r result
		defer func() {
			if p := recover(); p != nil {
				r.err = panicked(p)
			}
			ended <- r
		}()
		r.done, r.err = work()
	}()
	select {
	case r := <-ended:
		return r.done, r.err
	case <-time.After(moment):
		var none T
		return none, &busy{wait: retryAfter}
	}
}

// thought is what the engine has said, or what is closed once it has said it to another.
type thought struct {
	found *diagnosis.Guidance
	other <-chan struct{}
}

// whoWaits tells, between the steps of an inference, whether its caller is gone. What cannot wait is not given up:
// whoever asks later finds what came of it.
func whoWaits(ctx context.Context, u haste) func() error {
	if u == atOnce {
		return nil
	}
	return ctx.Err
}

// think asks the engine, unless another does so for the same key just now.
func (c core) think(gone func() error, by *version, key digest, so sound) (t thought, err error) {
	known, other, done := c.guided.begin(key)
	if known != nil || other != nil {
		return thought{known, other}, nil
	}
	defer func() { done(t.found) }()
	t.found, err = so.evidence.WithEngine(by.engine).WithCancel(gone).Guide(so.state)
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return thought{}, err
	case err != nil:
		// What was told has passed the engine's check, so whatever this is, it is not the caller's mistake.
		return thought{}, fmt.Errorf("assess a conversation: %s", strings.ReplaceAll(err.Error(), "\n", "; "))
	}
	return t, nil
}

// Diagnosis answers DiagnosisService. Its errors are the engine's; a Server turns them into status codes.
type Diagnosis struct {
	lightoffv1.UnimplementedDiagnosisServiceServer
	core
}

// NewDiagnosis returns the service for a model.
func NewDiagnosis(m *knowledge.Model) *Diagnosis {
	versions := newModels(m)
	return &Diagnosis{core: core{understanding: understanding{m, versions.builtIn.engine, words.New(m)}, models: versions,
		line: newLine(runtime.GOMAXPROCS(0), 0), metrics: newMetrics(nil), guided: newGuided()}}
}

// Assess implements the RPC. A request that cannot be accepted gives a *diagnosis.InputError.
func (d *Diagnosis) Assess(ctx context.Context, req *lightoffv1.AssessRequest) (*lightoffv1.AssessResponse, error) {
	return d.assess(ctx, req, req.GetDangersKnown())
}

// assess waits for the whole assessment if whatever danger there is is known, or has to wait.
func (d *Diagnosis) assess(ctx context.Context, req *lightoffv1.AssessRequest,
	dangersKnown bool) (*lightoffv1.AssessResponse, error) {
	var v violations
	r := diagnosis.Request{
		Observations: v.observations("observations", req.GetObservations()),
		Tools:        v.tools(req.GetTools()),
		Locale:       v.inLanguage(d.model, req.GetLocale()),

		Mended: v.names("mended_ids", req.GetMendedIds()),
		Before: v.names("before_ids", req.GetBeforeIds()),

		EurosPerMinute: req.GetEurosPerMinute(),
		Willing:        int(req.GetWillingness()),
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	by, err := d.models.requested(ctx, req.GetModelVersion())
	if err != nil {
		return nil, err
	}
	// Dangers are decided by rules, so they come at once whatever else there is to think about.
	evidence, err := by.engine.Evidence(r)
	if err != nil {
		return nil, err
	}
	dangers, u := evidence.Dangers(), inTurn
	if len(dangers) > 0 && !dangersKnown {
		u = atOnce
	}
	var a *diagnosis.Assessment
	leave, err := d.acquireSlot(ctx, u)
	if err == nil {
		a, err = inTime(u, leave, func() (*diagnosis.Assessment,
			error) {
			return evidence.WithCancel(whoWaits(ctx, u)).Assess()
		})
	}
	if _, full := errors.AsType[refused](err); full && u == atOnce {
		return &lightoffv1.AssessResponse{ModelVersion: by.model.Version, Locale: r.Locale,
			Dangers: each(dangers, toDanger), Pending: true}, nil
	}
	if err != nil {
		return nil, err
	}
	return toAssessment(a, r.Locale), nil
}

// Explain implements the RPC, with errors as Assess.
func (d *Diagnosis) Explain(ctx context.Context, req *lightoffv1.ExplainRequest) (*lightoffv1.ExplainResponse, error) {
	r, err := d.explainable(req)
	if err != nil {
		return nil, err
	}
	by, err := d.models.requested(ctx, req.GetModelVersion())
	if err != nil {
		return nil, err
	}
	leave, err := d.acquireSlot(ctx, inTurn)
	if err != nil {
		return nil, err
	}
	defer leave()
	e, err := by.engine.Explain(r, req.GetCauseId())
	if err != nil {
		return nil, err
	}
	return toExplanation(e, r.Locale), nil
}

// ReadText implements the RPC, with errors as Assess.
func (d *Diagnosis) ReadText(_ context.Context, req *lightoffv1.ReadTextRequest) (*lightoffv1.ReadTextResponse, error) {
	var v violations
	v.text(req.GetText())
	locale := v.inLanguage(d.model, req.GetLocale())
	if req.GetAskedId() != "" {
		v.known(d.model, "asked_id", req.GetAskedId())
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	read := d.reader.Read(plain(req.GetText()), words.Context{Asked: req.GetAskedId(), Locale: locale})
	f := face{model: d.model, engine: d.engine, locale: locale}
	return &lightoffv1.ReadTextResponse{
		Readings: each(read.Readings, func(r words.Reading) *lightoffv1.Reading { return f.reading(fromReading(r)) }),
		Suggestions: each(read.Offers, func(o words.Offer) *lightoffv1.SuggestedReading {
			return f.suggested(fromOffer(o))
		}),
		Unclear: read.Unclear,
		Locale:  locale,
	}, nil
}
