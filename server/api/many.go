//go:build !js

package api

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
)

// AssessMany implements the RPC: one case after the other, so that a caller with thousands has one inference under way
// and the others in the transport's window.
func (d *Diagnosis) AssessMany(stream grpc.BidiStreamingServer[lightoffv1.AssessManyRequest,
	lightoffv1.AssessManyResponse]) error {
	ctx := stream.Context()
	for {
		req, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		if err := d.pace(ctx); err != nil {
			return err
		}
		answer, err := d.oneOfMany(ctx, req)
		if err != nil {
			return err
		}
		if err := stream.Send(answer); err != nil {
			return err
		}
	}
}

// pace waits until the caller may ask again. Nobody else waits for that.
func (d *Diagnosis) pace(ctx context.Context) error {
	for d.limiter != nil {
		wait := d.limiter.request(whoCalls(ctx).key)
		if wait == 0 {
			return nil
		}
		if err := pause(ctx, wait); err != nil {
			return err
		}
	}
	return nil
}

// oneOfMany answers one case. An error ends the stream; what is wrong with the case is in the answer.
func (d *Diagnosis) oneOfMany(ctx context.Context,
	req *lightoffv1.AssessManyRequest) (*lightoffv1.AssessManyResponse, error) {
	answer := &lightoffv1.AssessManyResponse{Id: req.GetId()}
	if len(req.GetId()) > maxName {
		answer.Id = ""
		var v violations
		v.add("id", "is longer than %d bytes", maxName)
		answer.Outcome = caseError(v.err())
		return answer, nil
	}
	for {
		a, err := d.assess(ctx, req.GetRequest(), true)
		if err == nil {
			answer.Outcome = &lightoffv1.AssessManyResponse_Assessment{Assessment: a}
			return answer, nil
		}
		if _, full := errors.AsType[*busy](err); full {
			if err := pause(ctx, retryAfter/2+rand.N(retryAfter)); err != nil {
				return nil, err
			}
			continue
		}
		if why := caseError(err); why != nil {
			answer.Outcome = why
			return answer, nil
		}
		return nil, err
	}
}

// caseError is what the status of Assess would say of a request that cannot be accepted; nil for other errors, which
// are no matter of the one case.
func caseError(err error) *lightoffv1.AssessManyResponse_Error {
	input, ok := errors.AsType[*diagnosis.InputError](err)
	if !ok {
		return nil
	}
	s := status.Convert(badRequest(input))
	out := &lightoffv1.CaseError{Message: s.Message()}
	for _, detail := range s.Details() {
		switch detail := detail.(type) {
		case *errdetails.ErrorInfo:
			out.Reason = detail.GetReason()
		case *errdetails.BadRequest:
			for _, v := range detail.GetFieldViolations() {
				out.Violations = append(out.Violations,
					&lightoffv1.FieldViolation{Field: v.GetField(), Description: v.GetDescription()})
			}
		}
	}
	return &lightoffv1.AssessManyResponse_Error{Error: out}
}

// pause waits, or returns the error of the context.
func pause(ctx context.Context, wait time.Duration) error {
	select {
	case <-time.After(wait):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
