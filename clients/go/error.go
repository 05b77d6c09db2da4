package client

import (
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Explain writes an error of the server for people: its message, and below it a line for each
// field that is wrong. Files that are refused have file, line and column in these lines.
func Explain(err error) string {
	s, ok := status.FromError(err)
	if !ok {
		return err.Error()
	}
	if Unanswered(err) {
		return "no server answers"
	}
	lines := []string{s.Message()}
	for _, detail := range s.Details() {
		if bad, ok := detail.(*errdetails.BadRequest); ok {
			for _, v := range bad.GetFieldViolations() {
				line := "  " + v.GetDescription()
				if v.GetField() != "" {
					line += " (" + v.GetField() + ")"
				}
				lines = append(lines, line)
			}
		}
	}
	return strings.Join(lines, "\n")
}

// Unanswered tells whether an error came about because nothing answers at the server's address, in
// distinction to a server that answers that it cannot serve: it gives a Reason.
func Unanswered(err error) bool {
	reason, _ := Reason(err)
	return status.Code(err) == codes.Unavailable && reason == ""
}

// Reason is the word for what is wrong in an error of the server, such as LIMIT_REACHED, and its
// metadata; empty if it has none.
func Reason(err error) (reason string, metadata map[string]string) {
	for _, detail := range status.Convert(err).Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok {
			return info.GetReason(), info.GetMetadata()
		}
	}
	return "", nil
}
