package check

import (
	"fmt"
	"math"
	"slices"

	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

const (
	commonPractice = "common practice"
	fromMemory     = ", from memory"
)

// Limit is one limit that findings rest on. A file replaces its value under rules.limits.
type Limit struct {
	Name   string // ends in its unit
	Value  float64
	Source string // standard and clause, or common practice
	Packs  string // where it applies; empty: everywhere
}

// Names of the limits.
const (
	loopResistance  = "loop_resistance_ohm"
	loopCapacitance = "loop_capacitance_uf"
	loopLength      = "loop_length_m"
	deviceVoltage   = "device_voltage_v"
	isolatorSpacing = "devices_between_isolators_count"
	zonesLost       = "zones_lost_count"
	devicesLost     = "devices_lost_count"
	fireInputsLost  = "fire_inputs_lost_count"
	areaLost        = "area_lost_m2"
)

// zoneRuleFrom is the edition of NFPA 72 whose limit for one fault is a zone, no longer a number of
// devices.
const zoneRuleFrom = 2016

// defaultEdition of nfpa72, where the file gives none.
const defaultEdition = 2022

// Limits are the limits as the packs and the trade have them.
func Limits() []Limit {
	return []Limit{
		{loopResistance, 40, commonPractice, ""},
		{loopCapacitance, 0.36, commonPractice, ""},
		{loopLength, 1500, commonPractice, ""},
		{deviceVoltage, wire.LeastMicroVolts / 1e6, commonPractice, ""},
		{isolatorSpacing, 20, commonPractice, ""},
		{zonesLost, 1, "NFPA 72 23.6.1 (2016 on)", fmt.Sprintf("nfpa72 from %d", zoneRuleFrom)},
		{devicesLost, 50, "NFPA 72 23.6.1 (2013)" + fromMemory, fmt.Sprintf("nfpa72 before %d", zoneRuleFrom)},
		{fireInputsLost, 32, "CEN/TS 54-14 and EN 54-2 12.5" + fromMemory, "en54"},
		{areaLost, 2000, "BS 5839-1:2025 and earlier", "bs5839-1"},
	}
}

// limits are the values in force.
type limits []Limit

// Names refuses limits of the file that do not exist, or are given twice.
func Names(site *pb.Site) []*pb.Finding {
	_, found := readLimits(site.GetRules())
	return found
}

// InForce are the limits with the file's values in place of the built-in ones.
func InForce(site *pb.Site) []Limit {
	list, _ := readLimits(site.GetRules())
	return list
}

// readLimits joins the file's limits with the built-in ones.
func readLimits(rules *pb.Rules) (limits, []*pb.Finding) {
	list := limits(Limits())
	names := make([]string, len(list))
	for i := range list {
		names[i] = list[i].Name
	}
	given := make([]bool, len(list))
	var found []*pb.Finding
	for i, l := range rules.GetLimits() {
		path := fmt.Sprintf("rules.limits[%d].limit", i)
		at := slices.Index(names, l.GetLimit())
		switch {
		case at < 0:
			found = append(found, finding.Dangling(path, "limit", l.GetLimit(), names))
		case given[at]:
			found = append(found, finding.Refuse("reference.duplicate", path, fmt.Sprintf("the limit %q is given twice", l.GetLimit()), "keep one of the two"))
		default:
			given[at] = true
			list[at].Value = l.GetValue()
			list[at].Source = fmt.Sprintf("rules.limits of the file, in place of %g (%s)", Limits()[at].Value, Limits()[at].Source)
		}
	}
	return list, found
}

// of returns a limit; its name must be one of the table's.
func (l limits) of(name string) Limit {
	for i := range l {
		if l[i].Name == name {
			return l[i]
		}
	}
	panic("check: there is no limit " + name)
}

// micro is a limit in whole millionths, the form in which figures are compared.
func (l Limit) micro() int64 { return int64(math.Round(float64(min(l.Value, 1e12) * 1e6))) }
