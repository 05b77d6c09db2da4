package main

import (
	"context"
	"errors"
	"fmt"
	"io"
)

// Exit statuses. Warnings leave statusGood; --strict makes them statusFailed.
const (
	statusGood        = 0
	statusFailed      = 1   // it ran, and something is wrong: an error, a failed cell or expectation, a difference
	statusRefused     = 2   // it could not run: usage, schema, reference, unreadable file
	statusInterrupted = 130 // the partial result is kept
)

// errFailed and errRefused say that the result, already written, is a bad one.
var (
	errFailed  = errors.New("the run failed")
	errRefused = errors.New("the files were refused")
)

// status turns what run returned into an exit status, and reports an error that has not been
// reported yet.
func status(ctx context.Context, err error, stderr io.Writer) int {
	switch {
	case err == nil:
		return statusGood
	case errors.Is(err, errFailed):
		return statusFailed
	case errors.Is(err, errRefused):
		return statusRefused
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		_, _ = fmt.Fprintln(stderr, "loopdrill: interrupted") // the status says it too
		return statusInterrupted
	}
	_, _ = fmt.Fprintf(stderr, "loopdrill: %v\n", err) // the status says it too
	return statusRefused
}
