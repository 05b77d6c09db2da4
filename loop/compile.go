package loop

import (
	"fmt"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/loop/cadence"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// Compile reads a site's installation. It returns every problem it finds; the Installation is
// usable only if none of them is refused.
func Compile(site *pb.Site) (*Installation, []*pb.Finding) {
	c := &compiler{
		site: site,
		in: &Installation{
			Site: site.GetSite(), Title: site.GetTitle(),
			DecisionTime: duration(site.GetPanel().GetDecisionTime(), defaultDecisionTime),
			SwitchTime:   duration(site.GetPanel().GetSwitchTime(), defaultSwitchTime),
			PanelRestart: duration(site.GetPanel().GetRestartTime(), defaultPanelRestart),
			Targets:      targets(site),
			ResetDrops:   site.GetPanel().GetReset_() == "drop-all",
			points:       map[string]int32{}, outputs: map[string]int32{}, loads: map[string]int32{},
		},
		labels: map[string]bool{},
	}
	c.names()
	var found []*pb.Finding
	c.in.Plant, found = plant.Compile(site.GetEquipment())
	c.found = append(c.found, found...)
	c.served()
	pack := ""
	if packs := site.GetRules().GetPacks(); len(packs) > 0 {
		pack = packs[0]
	}
	rules := rule.Of(site.GetRules())
	c.rules = rules
	c.leastV = rules.Value(rule.LoadVoltage)
	c.in.Cadences = cadence.Read(site.GetPanel().GetCadences(), pack)
	c.in.Power, found = power.Compile(site, power.PackDelays(rules))
	c.found = append(c.found, found...)
	for i, l := range site.GetLoops() {
		c.loop(int32(i), l)
	}
	for i, o := range site.GetPanel().GetOutputs() {
		c.panelOutput(fmt.Sprintf("panel.outputs[%d]", i), o)
	}
	return c.in, c.found
}

// compiler collects what Compile makes and finds.
type compiler struct {
	site   *pb.Site
	rules  *rule.Set
	leastV float64 // at a load that gives none
	in     *Installation
	found  []*pb.Finding
	labels map[string]bool
}

func (c *compiler) add(f *pb.Finding) { c.found = append(c.found, f) }

// duration returns d, or the default where the file gives none.
func duration(d *durationpb.Duration, otherwise time.Duration) time.Duration {
	if d == nil {
		return otherwise
	}
	return d.AsDuration()
}

// micro rounds a value to whole millionths: comparisons are made on integers.
func micro(v float64) int64 { return int64(math.Round(float64(v * 1e6))) }

// targets are the file's, or those of the first rule pack.
func targets(site *pb.Site) Targets {
	set := rule.Of(site.GetRules())
	return Targets{
		Detector:  duration(site.GetTargets().GetDetector(), set.Duration(rule.DetectorTarget)),
		CallPoint: duration(site.GetTargets().GetCallPoint(), set.Duration(rule.CallPointTarget)),
	}
}

// names reads the lists that others refer to.
func (c *compiler) names() {
	for i, p := range c.site.GetPlaces() {
		c.in.Places = c.unique(c.in.Places, "place", p.GetPlace(), fmt.Sprintf("places[%d].place", i))
	}
	for i, z := range c.site.GetZones() {
		c.in.Zones = c.unique(c.in.Zones, "zone", z.GetZone(), fmt.Sprintf("zones[%d].zone", i))
	}
	for i, s := range c.site.GetSupplies() {
		c.in.Supplies = c.unique(c.in.Supplies, "supply", s.GetSupply(), fmt.Sprintf("supplies[%d].supply", i))
	}
}

// served resolves whom the places serve: a name that is nobody's would switch off, unseen, the rules that ask.
func (c *compiler) served() {
	var known []string
	for _, e := range c.site.GetEquipment() {
		known = append(known, e.GetEquipment())
	}
	for i, p := range c.site.GetPlaces() {
		for k, id := range p.GetServes() {
			c.lookup(known, "equipment", id, fmt.Sprintf("places[%d].serves[%d]", i, k))
		}
	}
}

func (c *compiler) unique(list []string, what, id, path string) []string {
	if first := slices.Index(list, id); first >= 0 && id != "" {
		c.add(finding.Refuse("reference.duplicate", path, fmt.Sprintf("the %s %q is defined twice", what, id), "every id is used once; rename one of the two"))
	}
	return append(list, id)
}

// label registers a label and reports one that is taken.
func (c *compiler) label(label, path string) {
	if label == "" {
		return // the schema has said that it is missing
	}
	if c.labels[label] {
		c.add(finding.Refuse("reference.duplicate-label", path, fmt.Sprintf("the label %q is used twice", label),
			"labels are unique over the whole site, loads and isolators included: rename one of the two"))
		return
	}
	c.labels[label] = true
}

// lookup resolves an id; an empty one is none.
func (c *compiler) lookup(list []string, what, id, path string) int32 {
	if id == "" {
		return -1
	}
	i := slices.Index(list, id)
	if i < 0 {
		c.add(finding.Dangling(path, what, id, list))
	}
	return int32(i)
}
