package service

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// domain is the domain of every ErrorInfo.
const domain = "loopdrill.dev"

// Status details travel in a trailer, and some clients take no more than 8 KB of trailers.
const (
	mostViolations = 12
	mostText       = 240 // characters of one description
)

// apiError makes an error of the API: a canonical code, a reason in the domain with its
// metadata, a message for people and further details.
func apiError(code codes.Code, reason string, metadata map[string]string, message string, more ...protoadapt.MessageV1) error {
	s := status.New(code, message)
	details := append([]protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: reason, Domain: domain, Metadata: metadata}}, more...)
	with, err := s.WithDetails(details...)
	if err != nil {
		panic(fmt.Sprintf("service: details of an error: %v", err)) // only for a code of OK
	}
	return with.Err()
}

// exhausted says that a limit is reached.
func exhausted(limit string, most int64) error {
	return apiError(codes.ResourceExhausted, "LIMIT_REACHED", map[string]string{"limit": limit, "value": strconv.FormatInt(most, 10)},
		fmt.Sprintf("the server's limit %s of %d is reached", limit, most))
}

// beyond says that one request asks for more than a limit allows.
func beyond(field, limit string, most any) error {
	text := fmt.Sprintf("beyond the server's limit %s of %v", limit, most)
	return apiError(codes.InvalidArgument, "BEYOND_LIMIT", map[string]string{"limit": limit, "value": fmt.Sprint(most)},
		field+" is "+text, violations(violation(field, "BEYOND_LIMIT", text)))
}

// notFound says that there is no such resource.
func notFound(name string) error {
	return apiError(codes.NotFound, "NOT_FOUND", map[string]string{"name": name}, fmt.Sprintf("there is no %q", name))
}

// exists says that a name is taken.
func exists(name string) error {
	return apiError(codes.AlreadyExists, "NAME_TAKEN", map[string]string{"name": name}, fmt.Sprintf("%q exists already", name))
}

// precondition says that a resource is not in the state that the request needs.
func precondition(reason, name, message string) error {
	return apiError(codes.FailedPrecondition, reason, map[string]string{"name": name}, message)
}

// badField says that one field of the request is wrong.
func badField(field, reason, description string) error {
	return apiError(codes.InvalidArgument, reason, nil, field+": "+description, violations(violation(field, reason, description)))
}

// outOfRange says that a number is past the end of what there is.
func outOfRange(field string, got, most uint64) error {
	text := fmt.Sprintf("%d is past the end: at most %d", got, most)
	return apiError(codes.OutOfRange, "OUT_OF_RANGE", map[string]string{"most": strconv.FormatUint(most, 10)}, field+" "+text,
		violations(violation(field, "OUT_OF_RANGE", text)))
}

// stopping says that the server ends.
func stopping() error {
	return apiError(codes.Unavailable, "SERVER_STOPS", nil, "the server is stopping")
}

// tooLate turns the end of a context into a status.
func tooLate(err error) error {
	if errors.Is(err, context.DeadlineExceeded) {
		return apiError(codes.DeadlineExceeded, "DEADLINE_EXCEEDED", nil, "the request's deadline came first")
	}
	return status.FromContextError(err).Err()
}

// unusable says that files are refused: the first findings as field violations. The field is the
// path inside the file's message, the description begins with file:line:column.
func unusable(findings []*pb.Finding) error {
	var list []*errdetails.BadRequest_FieldViolation
	refused := 0
	for _, f := range findings {
		if f.GetSeverity() != pb.Severity_SEVERITY_REFUSED {
			continue
		}
		if refused++; len(list) < mostViolations {
			list = append(list, violation(f.GetPath(), reasonOf(f.GetCode()), findingText(f)))
		}
	}
	message := fmt.Sprintf("the files cannot be used: %d findings refuse them", refused)
	if refused == 1 {
		message = "the files cannot be used: 1 finding refuses them"
	}
	if refused > len(list) {
		message += fmt.Sprintf("; the first %d are in the details, CheckSite lists all", len(list))
	}
	return apiError(codes.InvalidArgument, "SITE_REFUSED", map[string]string{"findings": strconv.Itoa(refused)}, message, violations(list...))
}

// refusedStep says that a step cannot be entered, as unusable does for files.
func refusedStep(findings []*pb.Finding) error {
	var list []*errdetails.BadRequest_FieldViolation
	for _, f := range findings {
		list = append(list, violation(f.GetPath(), reasonOf(f.GetCode()), findingText(f)))
	}
	return apiError(codes.InvalidArgument, "STEP_REFUSED", nil, findingText(findings[0]), violations(list...))
}

// refuses reports whether findings make files unusable.
func refuses(findings []*pb.Finding) bool {
	return finding.Worst(findings) == pb.Severity_SEVERITY_REFUSED
}

// findingText is a finding on one line, its place first where it has one.
func findingText(f *pb.Finding) string {
	text := f.GetTitle()
	if f.GetDetail() != "" {
		text += ": " + f.GetDetail()
	}
	if p := f.GetPosition(); p != nil {
		text = fmt.Sprintf("%s:%d:%d: %s", p.GetFile(), p.GetLine(), p.GetColumn(), text)
	}
	return text
}

func violations(list ...*errdetails.BadRequest_FieldViolation) *errdetails.BadRequest {
	return &errdetails.BadRequest{FieldViolations: list}
}

func violation(field, reason, description string) *errdetails.BadRequest_FieldViolation {
	if r := []rune(description); len(r) > mostText {
		description = string(r[:mostText]) + "..."
	}
	return &errdetails.BadRequest_FieldViolation{Field: field, Reason: reason, Description: description}
}

// reasonOf writes a finding's code as google.rpc wants reasons: reference.unknown becomes
// REFERENCE_UNKNOWN.
func reasonOf(code string) string {
	return strings.ToUpper(strings.NewReplacer(".", "_", "-", "_").Replace(code))
}
