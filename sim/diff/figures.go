package diff

import (
	"fmt"
	"math"

	"loopdrill.dev/loopdrill/loop/check"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// calculated is what `check` computes of both sites, worked out when it is first asked for.
func (c *comparison) calculated() [2]*pb.Calculations {
	if c.figures[0] == nil {
		for s, b := range c.p.built {
			c.figures[s] = check.Calculate(b.Site, b.Installation)
		}
	}
	return c.figures
}

// partFigures compares what is computed of a part: of a loop's wire, of output circuits, of a supply.
func (c *comparison) partFigures(p *part) []string {
	first := &p.changes[0]
	switch {
	case p.kind == "wiring" && first.loop >= 0:
		return c.p.figures(first.loop)
	case first.output >= 0:
		return c.circuitFigures(first.output)
	case p.kind == "supply":
		return c.supplyFigures(p.subject)
	}
	return nil
}

// pairOfFigures lists figures that differ.
type pairOfFigures struct{ list []string }

func (f *pairOfFigures) compare(what string, a, b float64, unit string) {
	if a != b && (!math.IsNaN(a) || !math.IsNaN(b)) {
		f.list = append(f.list, fmt.Sprintf("%s %.6g -> %.6g %s", what, a, b, unit))
	}
}

// circuitFigures compares the circuit of an output.
func (c *comparison) circuitFigures(output int32) []string {
	var both [2]*pb.CircuitCalculation
	for s, b := range c.p.built {
		o, ok := c.p.outputs.side(s, output)
		if !ok {
			return nil
		}
		for _, x := range c.calculated()[s].GetCircuits() {
			if x.GetOutput() == b.Installation.Outputs[o].Label {
				both[s] = x
			}
		}
		if both[s] == nil {
			return nil
		}
	}
	a, b := both[0], both[1]
	var f pairOfFigures
	f.compare("cable", a.GetLengthM(), b.GetLengthM(), "m")
	f.compare("current", a.GetCurrentMa(), b.GetCurrentMa(), "mA")
	f.compare("lowest voltage at a load", lowest(a), lowest(b), "V")
	f.compare("voltage at the end of the line", a.GetEndOfLineV(), b.GetEndOfLineV(), "V")
	f.compare("most loads lost to a short", float64(a.GetLostToShortCount()), float64(b.GetLostToShortCount()), "loads")
	f.compare("most loads lost to a break", float64(a.GetLostToBreakCount()), float64(b.GetLostToBreakCount()), "loads")
	if a.GetAchievedClass() != b.GetAchievedClass() {
		f.list = append(f.list, fmt.Sprintf("class %s -> %s", a.GetAchievedClass(), b.GetAchievedClass()))
	}
	return f.list
}

// lowest is the lowest voltage at a load; not a number without any.
func lowest(c *pb.CircuitCalculation) float64 {
	least := math.NaN()
	for _, l := range c.GetLoads() {
		if v := l.GetVoltageV(); math.IsNaN(least) || v < least {
			least = v
		}
	}
	return least
}

// supplyFigures compares a supply, named in the old site's words.
func (c *comparison) supplyFigures(subject string) []string {
	var both [2]*pb.SupplyCalculation
	for s := range c.p.built {
		for _, x := range c.calculated()[s].GetSupplies() {
			for i, id := range c.p.built[s].World.Supplies {
				common := int32(i)
				if s == 1 {
					common = c.p.supplies.common(common)
				}
				if id == x.GetSupply() && int(common) < len(c.p.built[0].World.Supplies) && c.p.built[0].World.Supplies[common] == subject {
					both[s] = x
				}
			}
		}
	}
	if both[0] == nil || both[1] == nil {
		return nil
	}
	var f pairOfFigures
	f.compare("current at rest", both[0].GetStandbyMa(), both[1].GetStandbyMa(), "mA")
	f.compare("current in alarm", both[0].GetAlarmMa(), both[1].GetAlarmMa(), "mA")
	for i, z := range both[0].GetBatteries() {
		if i >= len(both[1].GetBatteries()) || both[1].GetBatteries()[i].GetMethod() != z.GetMethod() {
			continue
		}
		other := both[1].GetBatteries()[i]
		f.compare("battery required ("+z.GetMethod()+")", z.GetRequiredAh(), other.GetRequiredAh(), "Ah")
		f.compare("battery fitted", z.GetFittedAh(), other.GetFittedAh(), "Ah")
	}
	return f.list
}
