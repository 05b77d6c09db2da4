package service

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"runtime/debug"

	"buf.build/go/protovalidate"
	"go.uber.org/zap"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// requestIDKey names the metadata in which a client may give its own request id, and in which
// every answer carries the one that stands in the server's log.
const requestIDKey = "x-request-id"

var requestIDPattern = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

type requestIDContext struct{}

// withRequestID puts the client's request id, or a new one, into the context.
func withRequestID(ctx context.Context) (context.Context, string) {
	id := ""
	if md, ok := metadata.FromIncomingContext(ctx); ok && len(md.Get(requestIDKey)) > 0 {
		id = md.Get(requestIDKey)[0]
	}
	if !requestIDPattern.MatchString(id) {
		var b [8]byte
		rand.Read(b[:]) // never returns an error
		id = hex.EncodeToString(b[:])
	}
	return context.WithValue(ctx, requestIDContext{}, id), id
}

// requestID is the request's id as a field of a log entry.
func requestID(ctx context.Context) zap.Field {
	id, _ := ctx.Value(requestIDContext{}).(string)
	return zap.String("request_id", id)
}

// gate stands before every handler: it names requests, checks them against the rules of the
// schema, and keeps internal causes in the log.
type gate struct {
	log       *zap.Logger
	validator protovalidate.Validator
}

func newGate(log *zap.Logger) (*gate, error) {
	validator, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("compiling the rules of the schema: %w", err)
	}
	return &gate{log, validator}, nil
}

// unary is the gate of calls with one answer.
func (g *gate) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (answer any, err error) {
	ctx, id := withRequestID(ctx)
	if err := grpc.SetHeader(ctx, metadata.Pairs(requestIDKey, id)); err != nil {
		return nil, err
	}
	err = g.guarded(ctx, info.FullMethod, func() error {
		if err := g.check(req); err != nil {
			return err
		}
		answer, err = handle(ctx, req)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// stream is the gate of watches.
func (g *gate) stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
	ctx, id := withRequestID(stream.Context())
	if err := stream.SetHeader(metadata.Pairs(requestIDKey, id)); err != nil {
		return err
	}
	return g.guarded(ctx, info.FullMethod, func() error {
		return handle(srv, &gatedStream{stream, ctx, g})
	})
}

type gatedStream struct {
	grpc.ServerStream
	ctx  context.Context //nolint:containedctx // how gRPC hands a stream its context
	gate *gate
}

// Context carries the request id.
func (s *gatedStream) Context() context.Context { return s.ctx }

// RecvMsg receives and checks a request.
func (s *gatedStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return s.gate.check(m)
}

// guarded runs a handler. A panic, and an error that is no status, go to the log under the
// request id; the client gets the id and nothing else.
func (g *gate) guarded(ctx context.Context, method string, handle func() error) (err error) {
	defer func() {
		if cause := recover(); cause != nil {
			g.log.Error("handler panicked", zap.String("method", method), requestID(ctx), zap.String("cause", fmt.Sprint(cause)), zap.String("stack", string(debug.Stack())))
			err = internal(ctx)
		}
	}()
	err = handle()
	if _, ok := status.FromError(err); ok {
		g.log.Debug("call ended", zap.String("method", method), requestID(ctx), zap.Stringer("code", status.Code(err)))
		return err
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return tooLate(err)
	}
	g.log.Error("call failed", zap.String("method", method), requestID(ctx), zap.Error(err))
	return internal(ctx)
}

func internal(ctx context.Context) error {
	id, _ := ctx.Value(requestIDContext{}).(string)
	return apiError(codes.Internal, "INTERNAL", nil, "internal error; the server's log has the cause under request id "+id,
		&errdetails.RequestInfo{RequestId: id})
}

// check applies the rules of the schema to a request. Reflection and health have none.
func (g *gate) check(req any) error {
	m, ok := req.(proto.Message)
	if !ok || m.ProtoReflect().Descriptor().ParentFile().Package() != "loopdrill.v1" {
		return nil
	}
	err := g.validator.Validate(m)
	if err == nil {
		return nil
	}
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) {
		return fmt.Errorf("checking a request: %w", err)
	}
	var list []*errdetails.BadRequest_FieldViolation
	for _, v := range broken.Violations {
		path := protovalidate.FieldPathString(v.Proto.GetField())
		if _, act := m.(*pb.ActRequest); act && path == "step.at" && v.Proto.GetRuleId() == "required" {
			continue // an act without a time acts at once
		}
		list = append(list, violation(path, reasonOf(v.Proto.GetRuleId()), v.Proto.GetMessage()))
	}
	if len(list) == 0 {
		return nil
	}
	message := "the request breaks a rule: " + list[0].GetField() + ": " + list[0].GetDescription()
	return apiError(codes.InvalidArgument, "REQUEST_MALFORMED", nil, message, violations(list[:min(len(list), mostViolations)]...))
}
