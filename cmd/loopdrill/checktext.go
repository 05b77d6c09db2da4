package main

import (
	"fmt"
	"io"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/page"
)

// writeCalculations prints the figures of a site in tables, one block each for loops, output
// circuits and supplies. Units stand in the headings.
func writeCalculations(w io.Writer, c *pb.Calculations) error {
	var out page.Page
	writeLoops(&out, c.GetLoops())
	writeCircuits(&out, c.GetCircuits())
	writeSupplies(&out, c.GetSupplies())
	if _, err := io.WriteString(w, out.String()); err != nil {
		return fmt.Errorf("writing the calculations: %w", err)
	}
	return nil
}

// row makes cells of figures and words.
func row(cells ...any) []string {
	texts := make([]string, len(cells))
	for i, c := range cells {
		texts[i] = fmt.Sprint(c)
	}
	return texts
}

func writeLoops(out *page.Page, loops []*pb.LoopCalculation) {
	if len(loops) == 0 {
		return
	}
	out.Line("loops:")
	built := [][]string{row("loop", "wiring", "class", "devices", "isolators", "m", "ohm", "uF")}
	works := [][]string{row("loop", "mA rest", "mA alarm", "mA limit", "s round")}
	for _, l := range loops {
		class := l.GetAchievedClass()
		if required := l.GetRequiredClass(); required != "" {
			class += " of " + required
		}
		built = append(built, row(l.GetLoop(), l.GetWiring(), class, l.GetDeviceCount(), l.GetIsolatorCount(), number(l.GetLengthM(), 1), number(l.GetResistanceOhm(), 2), number(l.GetCapacitanceUf(), 4)))
		works = append(works, row(l.GetLoop(), number(l.GetRestMa(), 1), number(l.GetAlarmMa(), 1), number(l.GetLimitMa(), 1), number(l.GetRoundS(), 3)))
	}
	out.Table("  ", 1, built)
	out.Table("  ", 1, works)
	writeVoltages(out, loops)
	writeFaults(out, loops)
}

// writeVoltages prints the lowest voltages at a device.
func writeVoltages(out *page.Page, loops []*pb.LoopCalculation) {
	out.Line("lowest voltage at a device, V:")
	rows := [][]string{row("loop", "driver", "fed from", "rest", "at", "alarm", "at")}
	for _, l := range loops {
		if l.GetOneEndRest() == nil {
			continue
		}
		rows = append(rows, row(l.GetLoop(), number(l.GetDriverV(), 2), "one end", lowestText(l.GetOneEndRest()), l.GetOneEndRest().GetDevice(), lowestText(l.GetOneEndAlarm()), l.GetOneEndAlarm().GetDevice()))
		if l.GetBothEndsRest() != nil {
			rows = append(rows, row(l.GetLoop(), number(l.GetDriverV(), 2), "both ends", lowestText(l.GetBothEndsRest()), l.GetBothEndsRest().GetDevice(), lowestText(l.GetBothEndsAlarm()), l.GetBothEndsAlarm().GetDevice()))
		}
	}
	out.Table("  ", 3, rows)
}

func lowestText(l *pb.LowestVoltage) string {
	if l.GetCollapsed() {
		return "collapsed"
	}
	return number(l.GetLowestV(), 3)
}

// writeFaults prints what one fault of the cable does.
func writeFaults(out *page.Page, loops []*pb.LoopCalculation) {
	for _, l := range loops {
		if l.GetDeviceCount() == 0 {
			continue
		}
		say := func(format string, args ...any) {
			out.Wrap(fmt.Sprintf("loop %d: ", l.GetLoop()), "  ", fmt.Sprintf(format, args...))
		}
		say("one short loses at most %s, one break at most %s", count(int(l.GetLostToShortCount()), "device"), count(int(l.GetLostToBreakCount()), "device"))
		say("a short of up to %s ohm beside the panel is indicated, of more not", number(l.GetShortShownOhm(), 1))
		switch before := l.GetBlindBefore(); before {
		case "":
			say("no device comes back after a short")
		case "return":
			say("blind after a short: %s s (in the return cable)", number(l.GetBlindS(), 3))
		default:
			say("blind after a short: %s s (before %s)", number(l.GetBlindS(), 3), before)
		}
	}
}

func writeCircuits(out *page.Page, circuits []*pb.CircuitCalculation) {
	if len(circuits) == 0 {
		return
	}
	out.Wrap("", "", "output circuits, all loads on, the supply at its lowest; rings fed from the worse end; power_w, by the end-of-line method, "+
		"at the load's least voltage, where its current is the highest:")
	for _, c := range circuits {
		class := "class " + c.GetAchievedClass()
		if required := c.GetRequiredClass(); required != "" {
			class += " of " + required
		}
		isolators := ""
		if n := c.GetIsolatorCount(); n > 0 {
			isolators = ", " + count(int(n), "isolator")
		}
		out.Wrap("  ", "    ", fmt.Sprintf("%s: %s, %s%s, %s m, %s ohm", c.GetOutput(), c.GetWiring(), class, isolators, number(c.GetLengthM(), 1), number(c.GetResistanceOhm(), 3)))
		longest := ""
		if c.LongestM != nil {
			longest = fmt.Sprintf("; longest with all at its end %s m", number(c.GetLongestM(), 0))
		}
		out.Wrap("    ", "      ", fmt.Sprintf("%s mA from %s at %s V%s", number(c.GetCurrentMa(), 1), c.GetSupply(), number(c.GetStartV(), 2), longest))
		out.Wrap("    ", "      ", fmt.Sprintf("one short at rest silences at most %s, one break at most %s", count(int(c.GetLostToShortCount()), "load"), count(int(c.GetLostToBreakCount()), "load")))
		rows := [][]string{row("load", "V", "V drop", "V margin")}
		for _, l := range c.GetLoads() {
			rows = append(rows, row(l.GetLoad(), number(l.GetVoltageV(), 4), number(l.GetDropV(), 4), number(l.GetMarginV(), 4)))
		}
		rows = append(rows, row("by the end-of-line method", number(c.GetEndOfLineV(), 4), number(c.GetEndOfLineDropV(), 4), number(c.GetEndOfLineMarginV(), 4)))
		out.Table("    ", 1, rows)
	}
}

func writeSupplies(out *page.Page, supplies []*pb.SupplyCalculation) {
	if len(supplies) == 0 {
		return
	}
	out.Line("supplies:")
	rows := [][]string{row("supply", "mA rest", "mA circuits", "mA alarm", "A limit", "A fuse")}
	for _, s := range supplies {
		rows = append(rows, row(s.GetSupply(), number(s.GetStandbyMa(), 1), number(s.GetCircuitsMa(), 1), number(s.GetAlarmMa(), 1), given(s.LimitA), given(s.FuseA)))
	}
	out.Table("  ", 1, rows)
	out.Line("batteries:")
	rows = [][]string{row("supply", "by", "Ah required", "Ah fitted", "formula")}
	for _, s := range supplies {
		for _, b := range s.GetBatteries() {
			rows = append(rows, row(s.GetSupply(), b.GetMethod(), number(b.GetRequiredAh(), 3), given(b.FittedAh), b.GetFormula()))
		}
	}
	out.Table("  ", 2, rows)
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
