package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

func TestErrorsBecomeCodes(t *testing.T) {
	tests := []struct {
		err  error
		want codes.Code
	}{
		{&diagnosis.InputError{Violations: []diagnosis.Violation{{Field: "id", Description: "is odd"}}},
			codes.InvalidArgument},
		{store.ErrNotFound, codes.NotFound},
		{store.ErrFull, codes.ResourceExhausted},
		{errNotTold, codes.FailedPrecondition},
		{errStopping, codes.Unavailable},
		{context.Canceled, codes.Canceled},
		{context.DeadlineExceeded, codes.DeadlineExceeded},
		{status.Error(codes.Unimplemented, "not here"), codes.Unimplemented},
		{errors.New("disk on fire"), codes.Internal},
	}
	for _, test := range tests {
		log := &safeBuffer{}
		logger := slog.New(slog.NewTextHandler(log, nil))
		for _, err := range []error{test.err, fmt.Errorf("append to conversation secret-key: %w", test.err)} {
			got := toStatus(logger, "/method", err)
			assert.Equal(t, test.want, status.Code(got), "%v", err)
			if test.want != codes.Unimplemented {
				assert.NotContains(t, got.Error(), "secret-key", "wrapping is for the log")
			}
		}
		assert.Equal(t, test.want == codes.Internal, log.String() != "", "only faults of our own are logged: %v", test.err)
	}
}

func TestInternalErrorsGoOutAsANumber(t *testing.T) {
	log := &safeBuffer{}
	err := toStatus(slog.New(slog.NewTextHandler(log, nil)), "/method", errors.New("disk on fire"))
	message := status.Convert(err).Message()
	assert.NotContains(t, message, "fire")
	id := strings.TrimPrefix(message, "internal error ")
	require.Len(t, id, 10)
	assert.Contains(t, log.String(), id)
	assert.Contains(t, log.String(), "disk on fire")
}

func TestPanicsAreErrors(t *testing.T) {
	log := &safeBuffer{}
	logger := slog.New(slog.NewTextHandler(log, nil))
	b := &border{log: logger, metrics: newMetrics(nil), access: &access{limiter: NewLimiter(Limits{})}}
	_, err := b.unary(t.Context(), nil, &grpc.UnaryServerInfo{FullMethod: "/one"},
		func(context.Context, any) (any, error) { panic("out of mind") })
	assert.Equal(t, codes.Internal, status.Code(err))
	err = b.streaming(nil, silent{t.Context()}, &grpc.StreamServerInfo{FullMethod: "/two"},
		func(any, grpc.ServerStream) error { panic("out of hand") })
	assert.Equal(t, codes.Internal, status.Code(err))
	for _, want := range []string{"out of mind", "out of hand", "errors_test.go", "/one", "/two"} {
		assert.Contains(t, log.String(), want)
	}
}

func TestRefusalsFitIntoAHeader(t *testing.T) {
	input := &diagnosis.InputError{}
	for i := range 300 {
		input.Violations = append(input.Violations,
			diagnosis.Violation{Field: fmt.Sprintf("observations[%d].id", i), Description: strings.Repeat("ü", 5000)})
	}
	s := status.Convert(badRequest(input))
	require.Len(t, s.Details(), 2)
	bad := s.Details()[0].(*errdetails.BadRequest)
	assert.Len(t, bad.FieldViolations, maxViolations)
	assert.Equal(t, maxDescription, len([]rune(bad.FieldViolations[0].Description)))
	assert.True(t, strings.HasSuffix(s.Message(), "; and 297 more"), s.Message()[len(s.Message())-30:])
}

// silent is a stream on which nothing is ever heard.
type silent struct{ ctx context.Context }

func (s silent) Context() context.Context     { return s.ctx }
func (s silent) SetHeader(metadata.MD) error  { return nil }
func (s silent) SendHeader(metadata.MD) error { return nil }
func (s silent) SetTrailer(metadata.MD)       {}
func (s silent) SendMsg(any) error            { return nil }
func (s silent) RecvMsg(any) error            { <-s.ctx.Done(); return s.ctx.Err() }

// TestNoSuchCall: a call that there is not is refused with a reason like any other, and makes no figure of its own.
func TestNoSuchCall(t *testing.T) {
	r := start(t)
	for _, method := range []string{"/lightoff.v1.ConversationService/Settled", "/elsewhere.v1.Service/Get"} {
		err := r.conn.Invoke(r.ctx, method, &lightoffv1.GetConversationRequest{}, &lightoffv1.GetConversationResponse{})
		assert.Equal(t, codes.Unimplemented, code(err))
		assert.Equal(t, "NO_SUCH_CALL", reason(t, err))
	}
	// Whatever the table says has a reason of its own, and a code.
	for _, row := range statusCodes {
		err := toStatus(slog.New(slog.DiscardHandler), "/", row.err)
		assert.Equal(t, codes.Code(row.code), code(err), "%v", row.err)
		assert.NotEmpty(t, reason(t, err))
	}
}
