package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// writeCalculations prints the figures of a site in tables, one block each for loops, output
// circuits and supplies. Units stand in the headings.
func writeCalculations(w io.Writer, c *pb.Calculations) error {
	var out strings.Builder
	writeLoops(&out, c.GetLoops())
	writeCircuits(&out, c.GetCircuits())
	writeSupplies(&out, c.GetSupplies())
	if _, err := io.WriteString(w, out.String()); err != nil {
		return fmt.Errorf("writing the calculations: %w", err)
	}
	return nil
}

// table lines cells up; every row is one line of cells that end in a tab.
type table struct{ *tabwriter.Writer }

func newTable(out *strings.Builder) table {
	return table{tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)}
}

// row adds a row. The strings below never fail to be written.
func (t table) row(indent string, cells ...any) {
	for i := range cells {
		lead := "\t"
		if i == 0 {
			lead = indent
		}
		_, _ = fmt.Fprintf(t, "%s%v", lead, cells[i])
	}
	_, _ = fmt.Fprintln(t)
}

func (t table) end() { _ = t.Flush() }

func writeLoops(out *strings.Builder, loops []*pb.LoopCalculation) {
	if len(loops) == 0 {
		return
	}
	out.WriteString("loops:\n")
	t := newTable(out)
	t.row("  ", "loop", "wiring", "class", "devices", "isolators", "m", "ohm", "uF", "mA rest", "mA alarm", "mA limit", "s round")
	for _, l := range loops {
		class := l.GetAchievedClass()
		if required := l.GetRequiredClass(); required != "" {
			class += " of " + required
		}
		t.row("  ", l.GetLoop(), l.GetWiring(), class, l.GetDeviceCount(), l.GetIsolatorCount(), number(l.GetLengthM(), 1), number(l.GetResistanceOhm(), 2),
			number(l.GetCapacitanceUf(), 4), number(l.GetRestMa(), 1), number(l.GetAlarmMa(), 1), number(l.GetLimitMa(), 1), number(l.GetRoundS(), 3))
	}
	t.end()
	writeVoltages(out, loops)
	writeFaults(out, loops)
}

// writeVoltages prints the lowest voltages at a device.
func writeVoltages(out *strings.Builder, loops []*pb.LoopCalculation) {
	out.WriteString("lowest voltage at a device, V:\n")
	t := newTable(out)
	t.row("  ", "loop", "driver", "fed from", "rest", "at", "alarm", "at")
	for _, l := range loops {
		if l.GetOneEndRest() == nil {
			continue
		}
		t.row("  ", l.GetLoop(), number(l.GetDriverV(), 2), "one end", lowestText(l.GetOneEndRest()), l.GetOneEndRest().GetDevice(), lowestText(l.GetOneEndAlarm()), l.GetOneEndAlarm().GetDevice())
		if l.GetBothEndsRest() != nil {
			t.row("  ", l.GetLoop(), number(l.GetDriverV(), 2), "both ends", lowestText(l.GetBothEndsRest()), l.GetBothEndsRest().GetDevice(), lowestText(l.GetBothEndsAlarm()), l.GetBothEndsAlarm().GetDevice())
		}
	}
	t.end()
}

func lowestText(l *pb.LowestVoltage) string {
	if l.GetCollapsed() {
		return "collapsed"
	}
	return number(l.GetLowestV(), 3)
}

// writeFaults prints what one fault of the cable does.
func writeFaults(out *strings.Builder, loops []*pb.LoopCalculation) {
	for _, l := range loops {
		if l.GetDeviceCount() == 0 {
			continue
		}
		fmt.Fprintf(out, "loop %d: one short loses at most %s, one break at most %s\n", l.GetLoop(),
			count(int(l.GetLostToShortCount()), "device"), count(int(l.GetLostToBreakCount()), "device"))
		fmt.Fprintf(out, "loop %d: a short of up to %s ohm beside the panel is indicated, one of more is not\n", l.GetLoop(), number(l.GetShortShownOhm(), 1))
		switch before := l.GetBlindBefore(); before {
		case "":
			fmt.Fprintf(out, "loop %d: no device comes back after a short\n", l.GetLoop())
		case "return":
			fmt.Fprintf(out, "loop %d: blind after a short: %s s (in the return cable)\n", l.GetLoop(), number(l.GetBlindS(), 3))
		default:
			fmt.Fprintf(out, "loop %d: blind after a short: %s s (before %s)\n", l.GetLoop(), number(l.GetBlindS(), 3), before)
		}
	}
}

func writeCircuits(out *strings.Builder, circuits []*pb.CircuitCalculation) {
	if len(circuits) == 0 {
		return
	}
	out.WriteString("output circuits, all loads on, the supply at its lowest; rings fed from the worse\n" +
		"end; power_w, by the end-of-line method, at the load's least voltage, where its\ncurrent is the highest:\n")
	for _, c := range circuits {
		class := "class " + c.GetAchievedClass()
		if required := c.GetRequiredClass(); required != "" {
			class += " of " + required
		}
		isolators := ""
		if n := c.GetIsolatorCount(); n > 0 {
			isolators = ", " + count(int(n), "isolator")
		}
		fmt.Fprintf(out, "  %s: %s, %s%s, %s m, %s ohm\n", c.GetOutput(), c.GetWiring(), class, isolators, number(c.GetLengthM(), 1), number(c.GetResistanceOhm(), 3))
		longest := ""
		if c.LongestM != nil {
			longest = fmt.Sprintf("; longest with all at its end %s m", number(c.GetLongestM(), 0))
		}
		fmt.Fprintf(out, "    %s mA from %s at %s V%s\n", number(c.GetCurrentMa(), 1), c.GetSupply(), number(c.GetStartV(), 2), longest)
		fmt.Fprintf(out, "    one short at rest silences at most %s, one break at most %s\n", count(int(c.GetLostToShortCount()), "load"), count(int(c.GetLostToBreakCount()), "load"))
		t := newTable(out)
		t.row("    ", "load", "V", "V drop", "V margin")
		for _, l := range c.GetLoads() {
			t.row("    ", l.GetLoad(), number(l.GetVoltageV(), 4), number(l.GetDropV(), 4), number(l.GetMarginV(), 4))
		}
		t.row("    ", "by the end-of-line method", number(c.GetEndOfLineV(), 4), number(c.GetEndOfLineDropV(), 4), number(c.GetEndOfLineMarginV(), 4))
		t.end()
	}
}

func writeSupplies(out *strings.Builder, supplies []*pb.SupplyCalculation) {
	if len(supplies) == 0 {
		return
	}
	out.WriteString("supplies:\n")
	t := newTable(out)
	t.row("  ", "supply", "mA rest", "mA circuits", "mA alarm", "A limit", "A fuse")
	for _, s := range supplies {
		t.row("  ", s.GetSupply(), number(s.GetStandbyMa(), 1), number(s.GetCircuitsMa(), 1), number(s.GetAlarmMa(), 1), given(s.LimitA), given(s.FuseA))
	}
	t.end()
	out.WriteString("batteries:\n")
	t = newTable(out)
	t.row("  ", "supply", "by", "Ah required", "Ah fitted", "formula")
	for _, s := range supplies {
		for _, b := range s.GetBatteries() {
			t.row("  ", s.GetSupply(), b.GetMethod(), number(b.GetRequiredAh(), 3), given(b.FittedAh), b.GetFormula())
		}
	}
	t.end()
}

// number writes a figure with at most so many places, without zeros that say nothing.
func number(v float64, places int) string {
	text := fmt.Sprintf("%.*f", places, v)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	if text == "-0" {
		return "0"
	}
	return text
}

// given writes a figure that a file may leave out.
func given(v *float64) string {
	if v == nil {
		return "-"
	}
	return number(*v, 3)
}
