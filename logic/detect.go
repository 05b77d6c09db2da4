package logic

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/logic/detection"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// Times in force where the file gives none, besides those of the rule packs. Both are half of what
// the standards allow at most (EN 54-2 7.12.1 and NFPA 72 23.8.5.4, from memory).
const (
	DefaultReadyAfter = 30 * time.Second
	DefaultRestart    = 30 * time.Second
)

// DefaultDetectors is how many detectors confirm with `confirm: other` where the file does not say
// (common practice).
const DefaultDetectors = 2

// Detectors is how many detectors of its zone must signal, with `confirm: other`.
func Detectors(d *pb.Detection) int {
	if d.Detectors == nil {
		return DefaultDetectors
	}
	return int(d.GetDetectors())
}

// ConfirmingZones lists the zones whose detectors confirm those of the zone, with `confirm: other-zone`:
// the named ones that exist, or every other one.
func ConfirmingZones(d *pb.Detection, zones []string) []int32 {
	var others []int32
	if d.GetConfirm() != "other-zone" {
		return nil
	}
	for _, id := range d.GetOtherZones() {
		if at, ok := index(zones, id); ok {
			others = append(others, int32(at))
		}
	}
	for i, id := range zones {
		if len(d.GetOtherZones()) == 0 && id != d.GetZone() {
			others = append(others, int32(i))
		}
	}
	return others
}

// detection reads how zones decide. A zone of which nothing is said believes every signal.
func (c *compiler) detection() {
	zones, points := make([]detection.Zone, len(c.world.Zones)), make([]detection.Point, len(c.world.Points))
	for i, pt := range c.world.Points {
		points[i] = detection.Point{Zone: int32(pt.Zone)}
		switch {
		case pt.Smoke:
			points[i].Sense = detection.Smoke
		case pt.Automatic:
			points[i].Sense = detection.Automatic
		}
	}
	first := map[int]int{}
	for i, d := range c.program.GetDetection() {
		path := fmt.Sprintf("program.detection[%d]", i)
		zone, ok := index(c.world.Zones, d.GetZone())
		if !ok {
			c.add(finding.Dangling(path+".zone", "zone", d.GetZone(), c.world.Zones))
			continue
		}
		if before, twice := first[zone]; twice {
			c.add(finding.Refuse("program.detection-twice", path+".zone", fmt.Sprintf("the detection of zone %q is written twice", d.GetZone()), fmt.Sprintf("it is entry number %d already; join the two", before+1)))
			continue
		}
		first[zone] = i
		c.detectionOptions(path, d)
		zones[zone] = c.zoneRules(path, d)
		if !c.world.Partial {
			c.detectionDevices(path, zone, zones)
		}
	}
	c.p.detection = detection.New(zones, points)
}

// zoneRules reads one zone.
func (c *compiler) zoneRules(path string, d *pb.Detection) detection.Zone {
	limits := rule.Of(c.site.GetRules())
	given := func(have interface{ AsDuration() time.Duration }, is bool, otherwise time.Duration) time.Duration {
		if is {
			return have.AsDuration()
		}
		return otherwise
	}
	z := detection.Zone{
		Confirm:    map[string]detection.Confirm{"same-or-other": detection.SameOrOther, "other": detection.Other, "other-zone": detection.OtherZone}[d.GetConfirm()],
		First:      map[string]detection.First{"prealarm": detection.Prealarm, "fire": detection.Fire}[d.GetFirstSignal()],
		Detectors:  Detectors(d),
		Within:     given(d.GetWithin(), d.GetWithin() != nil, limits.Duration(rule.FirstSignalDrops)),
		ReadyAfter: given(d.GetReadyAfter(), d.GetReadyAfter() != nil, DefaultReadyAfter),
	}
	if v := d.GetVerification(); v != nil {
		z.Restart = given(v.GetRestart(), v.GetRestart() != nil, DefaultRestart)
		z.Window = given(v.GetWindow(), v.GetWindow() != nil, limits.Duration(rule.VerificationWait))
	}
	if v := d.GetInvestigate(); v != nil {
		z.Investigate = true
		z.AcknowledgeWithin = given(v.GetAcknowledgeWithin(), v.GetAcknowledgeWithin() != nil, limits.Duration(rule.AcknowledgeWithin))
		z.Extra = given(v.GetExtra(), v.GetExtra() != nil, limits.Duration(rule.Investigation))
	}
	if z.Confirm == detection.SameOrOther && z.First != detection.Fire && z.Within <= z.ReadyAfter {
		c.add(finding.Refuse("program.detection-window", path+".within", "the first signal is dropped before its detector is ready again",
			fmt.Sprintf("it is ready %v after its signal: give `within` more than that, or `ready_after` less", z.ReadyAfter)))
	}
	z.Others = c.otherZones(path, d)
	return z
}

// otherZones lists the zones whose detectors confirm those of a zone, and refuses those that cannot.
func (c *compiler) otherZones(path string, d *pb.Detection) []int32 {
	if d.GetConfirm() != "other-zone" {
		return nil
	}
	for i, id := range d.GetOtherZones() {
		if id == d.GetZone() {
			c.add(finding.Refuse("program.detection-own-zone", fmt.Sprintf("%s.other_zones[%d]", path, i), "a zone is no other zone to itself", "detectors of one zone confirm each other with `confirm: other`"))
		}
	}
	c.resolve(path+".other_zones", "zone", d.GetOtherZones(), c.world.Zones) // for its findings
	return ConfirmingZones(d, c.world.Zones)
}

// detectionOptions refuses options that say nothing beside the others: somebody relies on them.
func (c *compiler) detectionOptions(path string, d *pb.Detection) {
	without := func(bad bool, key, title, detail string) {
		if bad {
			c.add(finding.Refuse("program.detection-option", path+"."+key, "`"+key+"` "+title, detail))
		}
	}
	confirm := d.GetConfirm()
	plain := confirm == "" || confirm == "none"
	first := d.GetFirstSignal()
	without(d.Detectors != nil && confirm != "other", "detectors", "counts detectors of one zone, which only `confirm: other` does", "set `confirm: other`, or leave it out")
	without(len(d.GetOtherZones()) > 0 && confirm != "other-zone", "other_zones", "is for `confirm: other-zone`", "set `confirm: other-zone`, or leave it out")
	without(d.GetReadyAfter() != nil && confirm != "same-or-other", "ready_after", "is for a detector that confirms its own signal", "set `confirm: same-or-other`, or leave it out")
	without(d.GetWithin() != nil && plain, "within", "has no confirmation to wait for", "set `confirm`, or leave it out")
	without(first != "" && first != "nothing" && plain, "first_signal", "has no confirmation after it", "set `confirm`, or leave it out")
	without(d.GetWithin() != nil && !plain && first == "fire", "within", "ends nothing: the first signal is fire already, and that stays until reset", "leave it out, or let the first signal be `prealarm` or `nothing`")
	without(d.GetInvestigate() != nil && first == "fire", "investigate", "can hold nothing back: the first signal is fire already", "leave it out, or let the first signal be `prealarm` or `nothing`")
	without(d.GetInvestigate() != nil && (confirm == "other" || confirm == "other-zone"), "investigate", "has nothing to wait for: where two detectors have signalled, nobody goes to look", "leave it out, or take `confirm: same-or-other`")
}

// detectionDevices finds what the zone's devices can never do, and warns where they have nothing to do
// with what is asked.
func (c *compiler) detectionDevices(path string, zone int, zones []detection.Zone) {
	z := &zones[zone]
	detectors := func(of int) (all, smoke int) {
		for _, pt := range c.world.Points {
			if pt.Zone == of && pt.Automatic {
				all++
				if pt.Smoke {
					smoke++
				}
			}
		}
		return all, smoke
	}
	all, smoke := detectors(zone)
	others := 0
	for _, other := range z.Others {
		n, _ := detectors(int(other))
		others += n
	}
	switch {
	case all == 0:
		c.add(finding.Warn("program.detection-without-detector", path+".zone", fmt.Sprintf("zone %q has no detector to hold back", c.world.Zones[zone]), "call points, waterflow and fire inputs are never held; leave the entry out, or check the zone"))
		return
	case z.Confirm == detection.Other && all < z.Detectors:
		c.add(finding.Error("program.confirmation-impossible", path+".confirm", fmt.Sprintf("%d detectors must signal in zone %q, and it has %d", z.Detectors, c.world.Zones[zone], all), "its detectors can never give fire; a conventional zone counts as one, because the panel cannot tell its detectors apart"))
	case z.Confirm == detection.OtherZone && others == 0:
		c.add(finding.Error("program.confirmation-impossible", path+".confirm", fmt.Sprintf("no detector of another zone can confirm zone %q", c.world.Zones[zone]), "its detectors can never give fire; name zones with detectors in `other_zones`"))
	}
	if z.Restart > 0 && smoke == 0 {
		f := finding.Warn("program.verification-without-smoke", path+".verification", fmt.Sprintf("zone %q has no smoke detector to verify", c.world.Zones[zone]), "only smoke detectors are verified: leave it out")
		f.Clause = rule.Of(c.site.GetRules()).Source(rule.VerificationAdds)
		c.add(f)
	}
}

// readGiven reads when signals of zones are investigated; nil where nothing is said.
func (c *compiler) readGiven(reader *term.Reader) []*term.Term {
	given := make([]*term.Term, len(c.world.Zones))
	for i, d := range c.program.GetDetection() {
		if zone, ok := index(c.world.Zones, d.GetZone()); ok && d.GetInvestigate().GetGiven() != "" {
			given[zone] = c.parse(reader, fmt.Sprintf("program.detection[%d].investigate.given", i), d.GetInvestigate().GetGiven())
		}
	}
	return given
}
