package api

import (
	"context"
	"runtime"
	"time"

	"lightoff/engine/diagnosis"
	"lightoff/engine/knowledge"
	"lightoff/engine/words"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// core is what every service thinks with. It is shared. Model and engine are the built-in ones, which serve for all that does not
// hang on learnt numbers: what may be told, dangers and words. Numbers come from a version that models gives.
type core struct {
	model  *knowledge.Model
	engine *diagnosis.Engine
	models *models
	reader *words.Reader
	// slots holds one token for each assessment under way. Each fills a processor and takes megabytes, so more of them
	// at a time would only make all of them late.
	slots   chan struct{}
	metrics *metrics
	guided  *guided
}

// enter waits for a processor to think on; leave gives it back.
func (c core) enter(ctx context.Context) (leave func(), err error) {
	c.metrics.queued.Inc()
	defer c.metrics.queued.Dec()
	select {
	case c.slots <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	start := time.Now()
	return func() {
		<-c.slots
		c.metrics.thinking.Observe(time.Since(start).Seconds())
	}, nil
}

// Diagnosis answers DiagnosisService. Its errors are the engine's; a Server turns them into status codes.
type Diagnosis struct {
	lightoffv1.UnimplementedDiagnosisServiceServer
	core
}

// NewDiagnosis returns the service for a model.
func NewDiagnosis(m *knowledge.Model) *Diagnosis {
	versions := newModels(m)
	return &Diagnosis{core: core{model: m, engine: versions.builtIn.engine, models: versions, reader: words.New(m),
		slots: make(chan struct{}, runtime.GOMAXPROCS(0)), metrics: newMetrics(nil), guided: newGuided()}}
}

// Assess implements the RPC. A request that cannot be accepted gives a *diagnosis.InputError.
func (d *Diagnosis) Assess(ctx context.Context, req *lightoffv1.AssessRequest) (*lightoffv1.AssessResponse, error) {
	var v violations
	r := diagnosis.Request{
		Observations: v.observations("observations", req.GetObservations()),
		Tools:        v.tools(req.GetTools()),
		Locale:       v.locale(req.GetLocale()),

		Mended: v.names("mended_ids", req.GetMendedIds()),
		Before: v.names("before_ids", req.GetBeforeIds()),

		EurosPerMinute: req.GetEurosPerMinute(),
		Willing:        int(req.GetWillingness()),
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	by, err := d.models.asked(ctx, req.GetModelVersion())
	if err != nil {
		return nil, err
	}
	leave, err := d.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	a, err := by.engine.Assess(r)
	if err != nil {
		return nil, err
	}
	return toAssessment(a), nil
}

// Explain implements the RPC, with errors as Assess.
func (d *Diagnosis) Explain(ctx context.Context, req *lightoffv1.ExplainRequest) (*lightoffv1.ExplainResponse, error) {
	var v violations
	r := diagnosis.Request{
		Observations: v.observations("observations", req.GetObservations()),
		Locale:       v.locale(req.GetLocale()),
		Mended:       v.names("mended_ids", req.GetMendedIds()),
		Before:       v.names("before_ids", req.GetBeforeIds()),
	}
	v.name("cause_id", req.GetCauseId())
	if err := v.err(); err != nil {
		return nil, err
	}
	by, err := d.models.asked(ctx, req.GetModelVersion())
	if err != nil {
		return nil, err
	}
	leave, err := d.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	e, err := by.engine.Explain(r, req.GetCauseId())
	if err != nil {
		return nil, err
	}
	return toExplanation(e), nil
}

// ReadText implements the RPC, with errors as Assess.
func (d *Diagnosis) ReadText(_ context.Context, req *lightoffv1.ReadTextRequest) (*lightoffv1.ReadTextResponse, error) {
	var v violations
	v.text(req.GetText())
	locale := v.locale(req.GetLocale())
	if req.GetAskedId() != "" {
		v.known(d.model, "asked_id", req.GetAskedId())
	}
	if err := v.err(); err != nil {
		return nil, err
	}
	read := d.reader.Read(req.GetText(), words.Context{Asked: req.GetAskedId(), Locale: locale})
	f := face{model: d.model, engine: d.engine, locale: locale}
	return &lightoffv1.ReadTextResponse{
		Readings: each(read.Readings, func(r words.Reading) *lightoffv1.Reading { return f.reading(fromReading(r)) }),
		Suggestions: each(read.Offers, func(o words.Offer) *lightoffv1.SuggestedReading {
			return f.suggested(fromOffer(o))
		}),
		Unclear: read.Unclear,
	}, nil
}
