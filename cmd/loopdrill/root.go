package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/page"
)

// stdio is everything of the process that a command may touch.
type stdio struct {
	In     io.Reader
	Out    io.Writer // the result and nothing else
	Err    io.Writer
	Getenv func(string) string
}

// caution closes the help of every command: what the bench is not, in lines of a terminal.
func caution() string {
	var text page.Page
	text.Wrap("", "", sim.Caution)
	return strings.TrimSuffix(text.String(), "\n")
}

// run executes one command line.
func run(ctx context.Context, args []string, io stdio) error {
	root := newRoot(io) //nolint:contextcheck // cobra gives each command the ctx of ExecuteContext
	root.SetArgs(args)
	return root.ExecuteContext(ctx)
}

// newRoot returns the command tree.
func newRoot(io stdio) *cobra.Command {
	root := &cobra.Command{
		Use:   "loopdrill",
		Short: "A bench for commissioning addressable fire alarm systems",
		Long: `A site file and a required matrix go in; what the installation would do, exactly and
to the nanosecond, comes out.

SITE is a site.yaml, or a folder with site.yaml, matrix.csv and scenarios/.

Exit status: 0 good; 1 it ran and something is wrong; 2 it could not run;
130 interrupted. Every flag may also be set in the environment, --output as
LOOPDRILL_OUTPUT; a flag on the command line wins.`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          knownCommand,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cmd.Help()
		},
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error { return fromEnvironment(cmd.Flags(), io.Getenv) },
	}
	root.SuggestionsMinimumDistance = 2
	root.SetIn(io.In)
	root.SetOut(io.Out)
	root.SetErr(io.Err)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		if invalid, ok := errors.AsType[*pflag.InvalidValueError](err); ok {
			err = fmt.Errorf("--%s: %w", invalid.GetFlag().Name, badValue(invalid))
		}
		return fmt.Errorf("%w (see `%s --help`)", err, cmd.CommandPath())
	})
	for _, command := range commands(io) {
		root.AddCommand(command)
	}
	layOut(root)
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), ".FlagUsages", fmt.Sprintf(".FlagUsagesWrapped %d", page.Width)))
	root.InitDefaultCompletionCmd()
	return root
}

// commands lists the commands in the order in which a user meets them.
func commands(io stdio) []*cobra.Command {
	return []*cobra.Command{newCheck(io), newVerify(io), newWhy(io), newMatrix(io), newDiff(io), newPlay(io), newNew(io), newServe(io)}
}

// layOut brings the help of a command, and of all below it, to a terminal's width, and puts the caution under it.
func layOut(cmd *cobra.Command) {
	if cmd.Long == "" {
		cmd.Long = cmd.Short + "."
	}
	var text page.Page
	for paragraph := range strings.SplitSeq(cmd.Long, "\n\n") {
		if strings.Contains(paragraph, "\n  ") { // lined up by hand
			text.Line("%s\n", paragraph)
			continue
		}
		text.Wrap("", "", paragraph)
		text.Line("")
	}
	cmd.Long = text.String() + caution()
	for _, sub := range cmd.Commands() {
		layOut(sub)
	}
}

// fromEnvironment gives each flag that the command line does not set the value of its variable,
// LOOPDRILL_ and the flag's name in capitals, if there is one.
func fromEnvironment(flags *pflag.FlagSet, getenv func(string) string) error {
	var problems []error
	flags.VisitAll(func(f *pflag.Flag) {
		name := "LOOPDRILL_" + strings.ToUpper(strings.ReplaceAll(f.Name, "-", "_"))
		value := getenv(name)
		if f.Changed || value == "" || f.Name == "help" {
			return
		}
		if err := flags.Set(f.Name, value); err != nil {
			if invalid, ok := errors.AsType[*pflag.InvalidValueError](err); ok {
				err = badValue(invalid)
			}
			problems = append(problems, fmt.Errorf("%s in the environment: %w", name, err))
		}
	})
	return errors.Join(problems...)
}

// badValue says what is wrong with the value of a flag, and what the flag takes where the library's
// own error names a function of Go. The name of the flag is the caller's to say.
func badValue(invalid *pflag.InvalidValueError) error {
	takes := map[string]string{"bool": "true or false", "int": "a whole number", "duration": "a duration such as 10s"}[invalid.GetFlag().Value.Type()]
	if takes == "" {
		return invalid.Unwrap()
	}
	return fmt.Errorf("%q is not %s", invalid.GetValue(), takes)
}

// knownCommand is the argument check of the program itself: what it is given is a command misspelt.
func knownCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	hint := ""
	if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
		hint = ": did you mean " + near[0] + "?"
	}
	return fmt.Errorf("unknown command %q%s (see `%s --help`)", args[0], hint, cmd.CommandPath())
}

// oneSite is the argument check of commands that take one SITE.
func oneSite(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return fmt.Errorf("%s takes one SITE, a site.yaml or its folder: %d given (see `%s --help`)", cmd.Name(), len(args), cmd.CommandPath())
	}
	return nil
}

// isTerminal tells whether w is a character device, a terminal in practice.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}
