// Command validateproto prints the protovalidate rule definitions, which the schema
// imports, as .proto source. They come from the descriptor that the Go module links, so
// that the schema tool and the program always agree on one version.
//
// Usage: go -C tools run ./validateproto DIR
package main

import (
	"fmt"
	"os"
	"path/filepath"

	validate "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/jhump/protoreflect/v2/protoprint"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "validateproto:", err)
		os.Exit(2)
	}
}

func run(args []string) error {
	if len(args) != 1 {
		return fmt.Errorf("want one argument, the folder to write into, got %d", len(args))
	}
	file := validate.File_buf_validate_validate_proto
	path := filepath.Join(args[0], filepath.FromSlash(file.Path()))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("making the folder of %s: %w", path, err)
	}
	out, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("creating the rule definitions: %w", err)
	}
	printer := protoprint.Printer{}
	if err := printer.PrintProtoFile(file, out); err != nil {
		return fmt.Errorf("printing %s: %w", file.Path(), err)
	}
	if err := out.Close(); err != nil {
		return fmt.Errorf("closing %s: %w", path, err)
	}
	return nil
}
