package api

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"lightoff/engine/diagnosis"
	"lightoff/server/store"
)

var (
	errNotTold  = errors.New("nothing to take back: that was not told")
	errStopping = errors.New("the server is going away; ask again")
)

// statusCodes is the one table from errors to codes. An error that is not in it, and is neither an InputError nor a
// status already, is internal.
var statusCodes = []struct {
	err  error
	code codes.Code
}{
	{store.ErrNotFound, codes.NotFound},
	{store.ErrFull, codes.ResourceExhausted},
	{errNotTold, codes.FailedPrecondition},
	{errStopping, codes.Unavailable},
	{context.Canceled, codes.Canceled},
	{context.DeadlineExceeded, codes.DeadlineExceeded},
}

// A status travels in a header, which other implementations bound to a few kilobytes.
const (
	maxViolations  = 20
	maxDescription = 200 // characters
	maxNamed       = 3   // violations repeated in the message
)

// toStatus turns any error into a status. What it does not know goes to the log in full, and out as a number to ask
// for.
func toStatus(log *slog.Logger, method string, err error) error {
	var input *diagnosis.InputError
	if errors.As(err, &input) {
		return badRequest(input)
	}
	for _, row := range statusCodes {
		if errors.Is(err, row.err) {
			return status.Error(row.code, row.err.Error())
		}
	}
	if _, ok := status.FromError(err); ok {
		return err
	}
	id := rand.Text()[:10]
	log.Error("internal error", "id", id, "method", method, "error", err)
	return status.Errorf(codes.Internal, "internal error %s", id)
}

func badRequest(input *diagnosis.InputError) error {
	detail := &errdetails.BadRequest{}
	for _, v := range input.Violations[:min(len(input.Violations), maxViolations)] {
		detail.FieldViolations = append(detail.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: v.Field, Description: clip(v.Description),
		})
	}
	message := ""
	for i, v := range detail.FieldViolations[:min(len(detail.FieldViolations), maxNamed)] {
		if i > 0 {
			message += "; "
		}
		message += v.Field + ": " + v.Description
	}
	if more := len(input.Violations) - maxNamed; more > 0 {
		message += fmt.Sprintf("; and %d more", more)
	}
	s := status.New(codes.InvalidArgument, message)
	if detailed, err := s.WithDetails(detail); err == nil {
		s = detailed
	}
	return s.Err()
}

func clip(text string) string {
	if runes := []rune(text); len(runes) > maxDescription {
		return string(runes[:maxDescription-1]) + "…"
	}
	return text
}

// violations gathers what is wrong with a request, so that a caller learns all of it at once.
type violations []diagnosis.Violation

func (v *violations) add(field, format string, args ...any) {
	*v = append(*v, diagnosis.Violation{Field: field, Description: fmt.Sprintf(format, args...)})
}

func (v violations) err() error {
	if len(v) == 0 {
		return nil
	}
	return &diagnosis.InputError{Violations: v}
}

// unary maps errors, and turns a panic into an error so that one bad request ends neither others nor the program.
func unary(log *slog.Logger) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (answer any, err error) {
		defer func() {
			if p := recover(); p != nil {
				err = panicked(p)
			}
			if err != nil {
				answer, err = nil, toStatus(log, info.FullMethod, err)
			}
		}()
		return next(ctx, req)
	}
}

// streaming does for streams what unary does for single calls, and ends them when stopping is closed: a watcher would
// otherwise hold the program up for as long as it likes.
func streaming(log *slog.Logger, stopping <-chan struct{}) grpc.StreamServerInterceptor {
	return func(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) (err error) {
		ctx, end := context.WithCancelCause(stream.Context())
		defer end(nil)
		returned := make(chan struct{})
		defer close(returned)
		go func() {
			select {
			case <-stopping:
				end(errStopping)
			case <-returned:
			}
		}()
		defer func() {
			if p := recover(); p != nil {
				err = panicked(p)
			}
			if err != nil && errors.Is(context.Cause(ctx), errStopping) {
				err = errStopping
			}
			if err != nil {
				err = toStatus(log, info.FullMethod, err)
			}
		}()
		return next(srv, &endable{ServerStream: stream, ctx: ctx})
	}
}

// endable is a stream that ends with its own context, also while it waits for the client to speak.
type endable struct {
	grpc.ServerStream
	ctx context.Context
}

func (s *endable) Context() context.Context { return s.ctx }

// RecvMsg abandons the message when the context ends; the transport lets go of it once the handler has returned.
func (s *endable) RecvMsg(m any) error {
	received := make(chan error, 1)
	go func() { received <- s.ServerStream.RecvMsg(m) }()
	select {
	case err := <-received:
		return err
	case <-s.ctx.Done():
		return s.ctx.Err()
	}
}

func panicked(p any) error { return fmt.Errorf("panic: %v\n%s", p, debug.Stack()) }
