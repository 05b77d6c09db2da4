package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"loopdrill.dev/loopdrill/sim/verify"
)

// newWhy returns `why SITE --way W --effect E`.
func newWhy(std stdio) *cobra.Command {
	var flags reporting
	var way, effect string
	cmd := &cobra.Command{
		Use:   "why SITE --way WAY --effect EFFECT",
		Short: "Tell the story of one effect, from stimulus to contact",
		Long: `Runs one way and prints, for each output of the effect, every time and every event
from the stimulus to the contact and the equipment, with the place in the site file
that made it so; for an output that stays at rest, the first link that is missing.

WAY is written as verify writes it: one label or loop/address, or several joined by
" and " (at once) or ", then " (one after another), with "(given mode=night)" behind.`,
		Example: "  loopdrill why testdata/alder-quay --way G-SD-LIFT --effect lift-alternate",
		Args:    oneSite,
		RunE: func(_ *cobra.Command, args []string) error {
			if way == "" || effect == "" {
				return errors.New("why takes --way and --effect (see `loopdrill why --help`)")
			}
			built, findings, err := loadWith(std, args[0], "")
			if err != nil {
				return flags.refused(std, findings, err)
			}
			report, err := verify.Why(built.Plan(), way, effect, built.Where)
			if err != nil {
				return err
			}
			if flags.output == asJSON {
				err = writeMessage(std.Out, report)
			} else {
				_, err = fmt.Fprint(std.Out, verify.WhyText(report))
			}
			if err != nil {
				return fmt.Errorf("writing the result: %w", err)
			}
			for _, o := range report.GetOutputs() {
				if !o.GetOperated() {
					return errFailed
				}
			}
			return flags.verdict(findings)
		},
	}
	flags.addTo(cmd)
	cmd.Flags().StringVar(&way, "way", "", "what is stimulated")
	cmd.Flags().StringVar(&effect, "effect", "", "effect id or output label")
	return cmd
}
