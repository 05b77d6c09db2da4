package diff

import (
	"cmp"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/loop"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// The sample of initiating devices that a change does not affect: a tenth of them, at most fifty (NFPA 72
// 14.4.2 on changes of site-specific software, as quoted in public texts). A fraction is rounded up.
const (
	sampleShare = 10
	sampleMost  = 50
	retestRule  = "NFPA 72 14.4.2: all functions known to be affected, and 10 % of the initiating devices that are not, at most 50"
)

// SampleSize is how many of n unaffected initiating devices are tested again.
func SampleSize(n int) int { return min((n+sampleShare-1)/sampleShare, sampleMost) }

// initiating reports whether a point is an initiating device: any input that is not the proof of equipment.
func initiating(pt *loop.Point) bool { return pt.Input != loop.NoInput && pt.ProvesEquipment < 0 }

// retest works out what must be tested again.
func (c *comparison) retest() *pb.Retest {
	out := &pb.Retest{Caution: sim.Caution, Rule: retestRule}
	why := map[int32][]string{} // new site's point -> reasons
	for i, g := range c.groups {
		diff := c.report.GetDifferences()[i]
		test := g.changed
		if test == "" {
			test = "no longer: " + g.old
		}
		out.Functions = append(out.Functions, &pb.RetestFunction{Subjects: diff.GetSubjects(), Test: test, Operate: diff.GetStimulus()})
		for _, f := range c.d.turning(g.affected) {
			if c.p.indexed(f.Kind) == &c.p.points {
				c.affect(why, f.Index, "what is asked of "+namesText(diff.GetSubjects())+" differs")
			}
		}
	}
	for _, diff := range c.report.GetDifferences()[len(c.groups):] {
		if diff.GetKind() == "order" {
			out.Functions = append(out.Functions, &pb.RetestFunction{Subjects: diff.GetSubjects(), Test: diff.GetTitle(), Operate: diff.GetStimulus()})
		}
	}
	c.retestRivals(out)
	for _, p := range c.parts {
		c.retestPart(out, why, p)
		for _, other := range p.others {
			c.affectedBy(why, other)
		}
	}
	in := c.p.built[1].Installation
	var unaffected []int32
	for i := range in.Points {
		pt := &in.Points[i]
		switch reasons := why[int32(i)]; {
		case !initiating(pt):
		case len(reasons) > 0:
			out.Affected = append(out.Affected, c.device(int32(i), strings.Join(reasons, "; ")))
		default:
			unaffected = append(unaffected, int32(i))
		}
	}
	out.Unaffected = int32(len(unaffected))
	for _, i := range c.spread(unaffected, SampleSize(len(unaffected))) {
		out.Sample = append(out.Sample, c.device(i, ""))
	}
	c.retestRemoved(out)
	return out
}

// affect notes why a point must be tested, once for each reason.
func (c *comparison) affect(why map[int32][]string, common int32, reason string) {
	if i, ok := c.p.points.side(1, common); ok && !slices.Contains(why[i], reason) {
		why[i] = append(why[i], reason)
	}
}

// retestPart enters one part of the installation or of the panel.
func (c *comparison) retestPart(out *pb.Retest, why map[int32][]string, p *part) {
	device := c.affectedBy(why, p)
	if device && p.kind == "device" || p.kind == "rules" || p.kind == "place" {
		return // the device is on the list itself; the others are no function
	}
	f := &pb.RetestFunction{Subjects: p.subjects(), Test: p.kind + ": " + headline(p.changes)}
	if p.kind == "wiring" {
		f.Operate = "open and short the cable at what has changed, and look whom it takes"
	} else if probes := c.probes(p); len(probes) > 0 {
		f.Operate = cmp.Or(p.shown, c.p.text(probes[0]))
	}
	out.Functions = append(out.Functions, f)
	for i := range p.changes {
		if ch := &p.changes[i]; ch.what == "supply" && p.kind != "supply" {
			c.retestSupplies(out, p, ch)
		}
	}
}

// retestSupplies enters the supplies between which an output has moved: each carries another load.
func (c *comparison) retestSupplies(out *pb.Retest, p *part, ch *change) {
	for _, supply := range []string{ch.old, ch.changed} {
		entered := slices.ContainsFunc(out.GetFunctions(), func(f *pb.RetestFunction) bool { return slices.Contains(f.GetSubjects(), supply) })
		if known := slices.Contains(c.p.built[1].World.Supplies, supply); known && !entered {
			out.Functions = append(out.Functions, &pb.RetestFunction{Subjects: []string{supply},
				Test: "supply: " + p.subject + " hangs on " + ch.changed + " and no longer on " + ch.old, Operate: supply + " without mains"})
		}
	}
}

// affectedBy notes the initiating devices that a part affects, and tells whether it is one itself.
func (c *comparison) affectedBy(why map[int32][]string, p *part) (device bool) {
	for i := range p.changes {
		ch := &p.changes[i]
		if ch.point >= 0 {
			c.affect(why, ch.point, ch.text())
			pt := c.d.point(ch.point)
			device = device || pt != nil && initiating(pt)
			if ch.what == "zone" {
				c.partners(why, ch)
			}
		}
		if ch.zone >= 0 {
			c.eachPoint(func(common int32, pt *loop.Point, s int) {
				switch z, ok := c.p.zones.side(s, ch.zone); {
				case ok && pt.Zone == z && pt.Input.Fire():
					c.affect(why, common, "its zone: "+ch.text())
				case p.kind == "detection" && pt.Input.Fire() && pt.Zone >= 0 && c.confirms(c.p.zones.common(pt.Zone), ch.zone):
					c.affect(why, common, "confirms "+p.subject+": "+ch.text())
				}
			})
		}
		if ch.loop >= 0 && p.kind == "line" {
			c.eachPoint(func(common int32, pt *loop.Point, s int) {
				if l, ok := c.p.loops.side(s, ch.loop); ok && pt.Loop == l {
					c.affect(why, common, "polling of its loop: "+ch.text())
				}
			})
		}
	}
	return device
}

// partners notes the fire inputs whose signals a device may confirm no more, or may now, because it has moved from
// one zone to another: those of every zone that waits for a second signal from either.
func (c *comparison) partners(why map[int32][]string, moved *change) {
	between := []int32{c.zone(0, moved.old), c.zone(1, moved.changed)}
	for s, b := range c.p.built {
		for _, d := range b.Site.GetProgram().GetDetection() {
			held := c.zone(s, d.GetZone())
			if d.GetConfirm() == "" || held < 0 {
				continue
			}
			waits := slices.Contains(between, held)
			for _, z := range logic.ConfirmingZones(d, b.Installation.Zones) {
				waits = waits || slices.Contains(between, c.zone(s, b.Installation.Zones[z]))
			}
			if !waits {
				continue
			}
			c.eachPoint(func(common int32, pt *loop.Point, _ int) {
				if pt.Zone >= 0 && pt.Input.Fire() && c.p.zones.common(pt.Zone) == held && common != moved.point {
					c.affect(why, common, "waits for a second signal, and "+moved.subject+" has moved: "+moved.text())
				}
			})
		}
	}
}

// zone is the common number of a zone of one side; -1 for none.
func (c *comparison) zone(side int, id string) int32 {
	z := int32(slices.Index(c.p.built[side].Installation.Zones, id))
	if z >= 0 && side == 1 {
		return c.p.zones.common(z)
	}
	return z
}

// confirms tells whether one zone's signals confirm those of another on either site.
func (c *comparison) confirms(zone, held int32) bool {
	for s, b := range c.p.built {
		z, is := c.p.zones.side(s, zone)
		h, also := c.p.zones.side(s, held)
		for _, d := range b.Site.GetProgram().GetDetection() {
			if is && also && d.GetZone() == b.Installation.Zones[h] && slices.Contains(logic.ConfirmingZones(d, b.Installation.Zones), z) {
				return true
			}
		}
	}
	return false
}

// eachPoint visits the points of the new site with their common numbers.
func (c *comparison) eachPoint(visit func(common int32, pt *loop.Point, side int)) {
	in := c.p.built[1].Installation
	for i := range in.Points {
		visit(c.p.points.common(int32(i)), &in.Points[i], 1)
	}
}

// retestRemoved lists devices that are gone, each with another on its circuit to operate: the nearest
// address of the same loop that is still there, of the same zone if there is one.
func (c *comparison) retestRemoved(out *pb.Retest) {
	old, now := c.p.built[0].Installation, c.p.built[1].Installation
	for i, is := range c.p.points.toNew {
		if is >= 0 {
			continue
		}
		gone := &old.Points[i]
		best := int32(-1)
		rank := func(j int32) [2]int32 {
			pt := &now.Points[j]
			elsewhere := int32(1)
			if z := gone.Zone; z >= 0 && c.p.zones.toNew[z] >= 0 && pt.Zone == c.p.zones.toNew[z] {
				elsewhere = 0
			}
			apart := pt.Device - gone.Device
			return [2]int32{elsewhere, max(apart, -apart)}
		}
		for j := range now.Points {
			l := c.p.loops.toNew[gone.Loop]
			if pt := &now.Points[j]; pt.Loop != l || !initiating(pt) {
				continue
			}
			if a, b := rank(int32(j)), rank(max(best, 0)); best < 0 || cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) < 0 {
				best = int32(j)
			}
		}
		d := &pb.RetestDevice{Label: gone.Label, Address: gone.Address, Why: "gone; no other device is left on its loop"}
		if best >= 0 {
			d.Why = "gone; operate " + now.Points[best].Label + " (" + now.Points[best].Address + ") on its loop instead"
		}
		out.Removed = append(out.Removed, d)
	}
}

// device is an entry of the list.
func (c *comparison) device(i int32, why string) *pb.RetestDevice {
	in := c.p.built[1].Installation
	pt := &in.Points[i]
	d := &pb.RetestDevice{Label: pt.Label, Address: pt.Address, Why: why}
	if pt.Place >= 0 {
		d.Place = in.Places[pt.Place]
	}
	if pt.Zone >= 0 {
		d.Zone = in.Zones[pt.Zone]
	}
	return d
}

// spread chooses n of the points so that loops and zones have their share: at equal steps through all of them
// in the order of loop, zone and address. The same points give the same choice.
func (c *comparison) spread(points []int32, n int) []int32 {
	in := c.p.built[1].Installation
	sorted := slices.Clone(points)
	slices.SortStableFunc(sorted, func(a, b int32) int {
		x, y := &in.Points[a], &in.Points[b]
		return cmp.Or(cmp.Compare(x.Loop, y.Loop), cmp.Compare(x.Zone, y.Zone), cmp.Compare(x.Device, y.Device))
	})
	var chosen []int32
	for k := range n {
		chosen = append(chosen, sorted[(2*k+1)*len(sorted)/(2*n)])
	}
	slices.Sort(chosen)
	return chosen
}
