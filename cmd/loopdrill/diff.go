package main

import (
	"fmt"

	"github.com/spf13/cobra"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/diff"
	"loopdrill.dev/loopdrill/sim/site"
)

// newDiff returns `diff OLD NEW`.
func newDiff(std stdio) *cobra.Command {
	var flags reporting
	var retest bool
	cmd := &cobra.Command{
		Use:   "diff OLD NEW",
		Short: "Tell what two sites do differently, and what to test again",
		Long: `Compares what two sites do. What the programs ask of each output is decided over all
combinations of inputs; each difference comes with the smallest stimulus that shows it,
simulated on both sites, and both chains of events. What is built and how the panel is
set is compared field by field, and the devices concerned are simulated on both sites.

Another order of devices in the program, of causes, effects and actions, other ids
where labels stay, comments and formatting are no difference. Wiring order is one.

With --retest a list to take to site comes first: every function and every initiating
device that is affected, and of those that are not a tenth, at most 50 (NFPA 72 14.4.2).

Exit status 0: the same; 1: different; 2: it could not run.`,
		Example: "  loopdrill diff before/ after/ --retest",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 {
				return fmt.Errorf("%s takes two sites, OLD and NEW: %d given (see `%s --help`)", cmd.Name(), len(args), cmd.CommandPath())
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			var sites [2]*site.Built
			var all []*pb.Finding
			var refused error
			for i, path := range args {
				bundle, err := site.Open(path)
				if err != nil {
					return err
				}
				bundle.Matrix, bundle.Scenarios = nil, nil // what is asked for is not what is done
				built, findings, err := build(std, bundle)
				if err != nil {
					refused = err // the other site's problems are worth knowing too
				}
				sites[i], all = built, append(all, findings...)
			}
			if refused != nil {
				return flags.refused(std, all, refused)
			}
			report, err := diff.Compare(cmd.Context(), sites[0], sites[1], diff.Options{Retest: retest})
			if err != nil {
				return err
			}
			if flags.output == asJSON {
				err = writeMessage(std.Out, report)
			} else {
				err = diff.WriteText(std.Out, report)
			}
			if err != nil {
				return fmt.Errorf("writing the result: %w", err)
			}
			if !report.GetSame() {
				return errFailed
			}
			if flags.strict {
				return flags.verdict(all)
			}
			return nil // what is wrong with both alike is no difference
		},
	}
	flags.addTo(cmd)
	cmd.Flags().BoolVar(&retest, "retest", false, "list what must be tested again on site")
	return cmd
}
