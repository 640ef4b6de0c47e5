//go:build !js

package api

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"strings"
	"time"

	"golang.org/x/time/rate"
	rpc "google.golang.org/genproto/googleapis/rpc/code"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"lightoff/engine/diagnosis"
	lightoffv1 "lightoff/proto/lightoff/v1"
	"lightoff/server/store"
)

// statusCodes is the one table from errors to codes and reasons. An error that is not in it, has no code of its own in
// toStatus and is no status already, is internal.
var statusCodes = append(ownCodes, []coded{
	{store.ErrNotFound, rpc.Code_NOT_FOUND, lightoffv1.ErrorReason_ERROR_REASON_NOT_FOUND},
	{store.ErrFull, rpc.Code_RESOURCE_EXHAUSTED, lightoffv1.ErrorReason_ERROR_REASON_CONVERSATION_FULL},
	{store.ErrKeyReused, rpc.Code_ALREADY_EXISTS, lightoffv1.ErrorReason_ERROR_REASON_CLIENT_KEY_REUSED},
	{store.ErrManyKeys, rpc.Code_FAILED_PRECONDITION, lightoffv1.ErrorReason_ERROR_REASON_TOO_MANY_KEYS},
	{store.ErrToken, rpc.Code_UNAUTHENTICATED, lightoffv1.ErrorReason_ERROR_REASON_TOKEN_INVALID},
	{errNoToken, rpc.Code_UNAUTHENTICATED, lightoffv1.ErrorReason_ERROR_REASON_TOKEN_MISSING},
	{errScope, rpc.Code_PERMISSION_DENIED, lightoffv1.ErrorReason_ERROR_REASON_TOKEN_SCOPE},
	{context.Canceled, rpc.Code_CANCELLED, lightoffv1.ErrorReason_ERROR_REASON_CANCELLED},
	{context.DeadlineExceeded, rpc.Code_DEADLINE_EXCEEDED, lightoffv1.ErrorReason_ERROR_REASON_DEADLINE_EXCEEDED},
}...)

// seldom limits the rate of its log line while the database is down.
var seldom = rate.Sometimes{Interval: time.Second}

// refused is the error of who has asked for too much, or at a bad time.
type refused interface {
	error
	exhausted() (reason lightoffv1.ErrorReason, wait time.Duration)
}

// toStatus turns any error into a status. What it does not know goes to the log in full, and out as a number to ask
// for.
func toStatus(log *slog.Logger, method string, err error) error {
	var input *diagnosis.InputError
	if errors.As(err, &input) {
		return badRequest(input)
	}
	if r, ok := errors.AsType[refused](err); ok {
		reason, wait := r.exhausted()
		return refusal(codes.ResourceExhausted, reason, r.Error(), retry(wait))
	}
	var full *store.FullError
	if errors.As(err, &full) {
		return refusal(codes.ResourceExhausted, lightoffv1.ErrorReason_ERROR_REASON_CONVERSATION_FULL, full.Error(),
			retry(full.Wait))
	}
	if errors.Is(err, store.ErrUnavailable) {
		seldom.Do(func() { log.Error("the store takes nothing", "method", method, "error", err) })
		return refusal(codes.Unavailable, lightoffv1.ErrorReason_ERROR_REASON_STORE_UNAVAILABLE, store.ErrUnavailable.Error(),
			retry(time.Second))
	}
	for _, row := range statusCodes {
		if errors.Is(err, row.err) {
			return refusal(codes.Code(row.code), row.reason, row.err.Error())
		}
	}
	if _, ok := status.FromError(err); ok {
		return err
	}
	id := rand.Text()[:10]
	log.Error("internal error", "id", id, "method", method, "error", err)
	return refusal(codes.Internal, lightoffv1.ErrorReason_ERROR_REASON_INTERNAL, "internal error "+id)
}

// errorDomain says whose the reasons are.
const errorDomain = "lightoff"

// refusal is a status with its reason for programs, and further details.
func refusal(code codes.Code, reason lightoffv1.ErrorReason, message string, details ...protoadapt.MessageV1) error {
	info := &errdetails.ErrorInfo{Reason: strings.TrimPrefix(reason.String(), "ERROR_REASON_"), Domain: errorDomain}
	s := status.New(code, message)
	if detailed, err := s.WithDetails(append(details, info)...); err == nil {
		s = detailed
	}
	return s.Err()
}

// retry says how long to wait before asking again.
func retry(wait time.Duration) protoadapt.MessageV1 {
	return &errdetails.RetryInfo{RetryDelay: durationpb.New(wait)}
}

func badRequest(input *diagnosis.InputError) error {
	message, violations := summary(input)
	detail := &errdetails.BadRequest{FieldViolations: each(violations,
		func(v diagnosis.Violation) *errdetails.BadRequest_FieldViolation {
			return &errdetails.BadRequest_FieldViolation{Field: v.Field, Description: v.Description}
		})}
	return refusal(codes.InvalidArgument, lightoffv1.ErrorReason_ERROR_REASON_REQUEST_INVALID, message, detail)
}

// border is what every call passes on its way in and out.
type border struct {
	*access
	*metrics
	log      *slog.Logger
	stopping <-chan struct{}
	recheck  time.Duration   // how often a stream's token is looked at again
	methods  map[string]bool // that there are; others are made up by callers
	turns    *turns          // nil lets everybody in
}

// callLimit is the longest that a call may take, whatever its caller allows.
const callLimit = 30 * time.Second

// leave maps the error of a call and takes note of it. Nothing of what was asked or answered is logged.
func (b *border) leave(method string, err error, since time.Time, stream bool) error {
	if err != nil {
		var tooMuch *limited
		var full *busy
		if errors.As(err, &tooMuch) {
			b.refused.WithLabelValues(tooMuch.what).Inc()
		} else if errors.As(err, &full) {
			b.refused.WithLabelValues("inferences").Inc()
		}
		err = toStatus(b.log, method, err)
	}
	took := time.Since(since)
	if !b.methods[method] {
		method = "unknown"
	}
	b.call(method, err, took, stream)
	b.log.Debug("call", "method", method, "code", status.Code(err).String(), "took", took)
	return err
}

// unary lets in who may come in, maps errors, and turns a panic into an error so that one bad request ends neither
// others nor the program.
func (b *border) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (answer any,
	err error) {
	start := time.Now()
	defer func() {
		if p := recover(); p != nil {
			err = panicked(p)
		}
		if err = b.leave(info.FullMethod, err, start, false); err != nil {
			answer = nil
		}
	}()
	who, err := b.admit(ctx, info.FullMethod, req)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, callLimit)
	defer cancel()
	if b.turns != nil && !strings.HasPrefix(info.FullMethod, healthAndReflection) {
		done, err := b.turns.enter(ctx, who.key, b.warns(req))
		if err != nil {
			return nil, err
		}
		defer done()
	}
	if who.named, err = b.named(ctx, who, info.FullMethod, req); err != nil {
		return nil, err
	}
	if answer, err = next(context.WithValue(ctx, calledBy{}, who), req); err == nil {
		who.hides(answer)
	}
	return answer, err
}

// streaming does for streams what unary does for single calls, and ends them when stopping is closed, for a watcher
// would otherwise hold the program up for as long as it likes, or when their token is no longer valid.
func (b *border) streaming(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo,
	next grpc.StreamHandler) (err error) {
	start := time.Now()
	ctx, end := context.WithCancelCause(stream.Context())
	defer end(nil)
	defer func() {
		if p := recover(); p != nil {
			err = panicked(p)
		}
		if cause := context.Cause(ctx); err != nil && (errors.Is(cause, errStopping) || errors.Is(cause, errRevoked)) {
			err = cause
		}
		err = b.leave(info.FullMethod, err, start, true)
	}()
	who, err := b.admit(ctx, info.FullMethod, nil)
	if err != nil {
		return err
	}
	ctx = context.WithValue(ctx, calledBy{}, who)
	if !who.inside {
		leave, wait := b.limiter.Socket(who.key)
		if wait > 0 {
			return &limited{what: "streams", wait: wait}
		}
		defer leave()
	}
	returned := make(chan struct{})
	defer close(returned)
	go b.guard(ctx, who, returned, end)
	return next(srv, &hiding{endable: endable{ServerStream: stream, ctx: ctx}, access: b.access, who: &who,
		method: info.FullMethod})
}

// guard ends a stream for which there is no reason any more.
func (b *border) guard(ctx context.Context, who caller, returned <-chan struct{}, end context.CancelCauseFunc) {
	var again <-chan time.Time
	if who.token != "" {
		ticker := time.NewTicker(b.recheck)
		defer ticker.Stop()
		again = ticker.C
	}
	for {
		select {
		case <-b.stopping:
			end(errStopping)
			return
		case <-returned:
			return
		case <-again:
			if _, err := b.access.store.Token(ctx, who.token); errors.Is(err, store.ErrToken) {
				end(errRevoked)
				return
			}
		}
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
