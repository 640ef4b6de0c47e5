//go:build !js

package api

import (
	"context"
	"slices"

	"lightoff/engine/knowledge"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// catalogue answers KnowledgeService.
type catalogue struct {
	lightoffv1.UnimplementedKnowledgeServiceServer
	models *models
}

func (c *catalogue) face(locale string) (face, error) {
	var v violations
	m := c.models.inUse().model
	f := face{model: m, locale: v.inLanguage(m, locale)}
	return f, v.err()
}

// ListCauses implements the RPC.
func (c *catalogue) ListCauses(_ context.Context, req *lightoffv1.ListCausesRequest) (*lightoffv1.ListCausesResponse,
	error) {
	f, err := c.face(req.GetLocale())
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ListCausesResponse{Causes: each(f.model.Causes, f.cause), Locale: f.locale}, nil
}

// ListObservations implements the RPC. Setup facts come first, as they are known before anything is tested.
func (c *catalogue) ListObservations(_ context.Context,
	req *lightoffv1.ListObservationsRequest) (*lightoffv1.ListObservationsResponse, error) {
	f, err := c.face(req.GetLocale())
	if err != nil {
		return nil, err
	}
	return f.observations(), nil
}

// ListRepairs implements the RPC.
func (c *catalogue) ListRepairs(_ context.Context, req *lightoffv1.ListRepairsRequest) (*lightoffv1.ListRepairsResponse,
	error) {
	f, err := c.face(req.GetLocale())
	if err != nil {
		return nil, err
	}
	return &lightoffv1.ListRepairsResponse{Repairs: each(f.model.Repairs, f.repair), Locale: f.locale}, nil
}

// GetModel implements the RPC.
func (c *catalogue) GetModel(context.Context, *lightoffv1.GetModelRequest) (*lightoffv1.GetModelResponse, error) {
	m := c.models.inUse().model
	stats := m.Tree().Stats()
	return &lightoffv1.GetModelResponse{
		Version:              m.Version,
		CauseCount:           int32(len(m.Causes)),
		ObservationCount:     int32(len(m.Observations) + len(m.Setup)),
		VariableCount:        int32(stats.Variables),
		LargestCliqueEntries: int64(stats.LargestClique),
		CodeTables:           each(m.CodeTables, func(t knowledge.CodeTable) string { return t.ID }),
		Locales:              slices.Clone(m.Locales()),
	}, nil
}

// ListDangers implements the RPC: what a page needs to warn by itself.
func (c *catalogue) ListDangers(_ context.Context,
	req *lightoffv1.ListDangersRequest) (*lightoffv1.ListDangersResponse, error) {
	f, err := c.face(req.GetLocale())
	if err != nil {
		return nil, err
	}
	return f.dangers(), nil
}
