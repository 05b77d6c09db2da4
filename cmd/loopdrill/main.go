// Command loopdrill is the bench: it checks, verifies and plays the files of a site, and serves
// drills.
//
// One small file per command. main parses, calls run once, and exits in exactly one place with
// the status that exit.go gives to what run returned. Results go to standard output and nothing
// else does; remarks go to standard error.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"
)

func main() { os.Exit(mainStatus()) }

// mainStatus runs the program over the process's own streams.
func mainStatus() int {
	cobra.EnableCommandSorting = false // help shows the commands in the order of commands
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	io := stdio{In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Getenv: os.Getenv}
	return status(ctx, run(ctx, os.Args[1:], io), io.Err)
}
