package power

import (
	"fmt"
	"math"
	"time"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// PanelID names the panel's own supply.
const PanelID = "panel"

// Power is the supplies of one site, compiled: immutable and shared by all its drills. External
// supplies come in file order, the panel's own last.
type Power struct {
	supplies []supply
	byID     map[string]int
	delays   [causes]time.Duration
	rules    *rule.Set
}

// supply is one supply. Figures that the file does not give are 0: no limit, no fuse, no battery.
type supply struct {
	id, path                         string
	mainsMicroV, lowMicroV, endMicro int64
	standby, alarm, limit, fuse      int64 // microamperes
	microAh                          int64
	full, low, first                 charge
	voice                            bool
}

// Compile reads the supplies, and reports what is wrong with them, with paths `supplies[i]...`. It
// makes a Power of any message: figures that the schema refuses are brought into range, because
// others report them.
func Compile(site *pb.Site, delays Delays) (*Power, []*pb.Finding) {
	p := &Power{
		byID:   map[string]int{},
		delays: [causes]time.Duration{delays.Mains, delays.Charger, delays.Battery, delays.Low, delays.Output},
		rules:  rule.Of(site.GetRules()),
	}
	var found []*pb.Finding
	for i, m := range site.GetSupplies() {
		path := fmt.Sprintf("supplies[%d]", i)
		if m.GetSupply() == PanelID {
			found = append(found, finding.Refuse("reference.duplicate", path+".supply", "a supply is called \"panel\"",
				"that is the name of the panel's own supply, whose figures stand under panel.supply; give this one another"))
		}
		p.add(m.GetSupply(), path, figures{
			volts: m.GetVoltageV(), end: m.GetEndVoltageV(), defaultEnd: p.startV(), ah: m.GetBatteryAh(), limitA: m.GetCurrentLimitA(),
			fuseA: m.GetFuseA(), standbyMA: m.GetStandbyMa(), alarmMA: m.GetAlarmMa(), voice: m.GetVoice()})
	}
	m := site.GetPanel().GetSupply()
	volts := nominalV
	if m.GetVoltageV() > 0 {
		volts = m.GetVoltageV()
	}
	p.add(PanelID, "panel.supply", figures{
		volts: volts, end: m.GetEndVoltageV(), defaultEnd: p.startV(), ah: m.GetBatteryAh(), limitA: m.GetCurrentLimitA(),
		fuseA: m.GetFuseA(), standbyMA: m.GetStandbyMa(), alarmMA: m.GetAlarmMa(), voice: m.GetVoice()})
	return p, found
}

// startV is the voltage at which the rules end a 24 V supply's discharge.
func (p *Power) startV() float64 { return p.rules.Value(rule.StartVoltage) }

// figures are a supply's as the file gives them.
type figures struct {
	volts, end, defaultEnd float64
	ah, limitA, fuseA      float64
	standbyMA, alarmMA     float64
	voice                  bool
}

func (p *Power) add(id, path string, f figures) {
	volts := within(f.volts, 1e-3, 60)
	cells := 12.0
	switch {
	case volts < 18:
		cells = 6
	case volts > 40:
		cells = 24
	}
	end := float64(f.defaultEnd / 12 * cells)
	if f.end > 0 {
		end = f.end
	}
	end = min(end, volts)
	s := supply{
		id: id, path: path, voice: f.voice,
		mainsMicroV: micro(volts), endMicro: micro(end), lowMicroV: micro(min(max(float64(lowCellV*cells), end), volts)),
		standby: micro(within(f.standbyMA, 0, 1e5) / 1e3), alarm: micro(within(f.alarmMA, 0, 1e5) / 1e3),
		limit: micro(within(f.limitA, 0, 200)), fuse: micro(within(f.fuseA, 0, 200)),
		microAh: micro(within(f.ah, 0, 2000)),
	}
	s.full = flow(s.microAh, time.Hour)
	s.low, s.first = s.full.share(lowPercent), s.full.share(firstPercent)
	if _, taken := p.byID[id]; !taken {
		p.byID[id] = len(p.supplies)
	}
	p.supplies = append(p.supplies, s)
}

// Len returns how many supplies there are, the panel's included.
func (p *Power) Len() int { return len(p.supplies) }

// Panel returns the index of the panel's own supply.
func (p *Power) Panel() int { return len(p.supplies) - 1 }

// Lookup returns the index of an id; of a duplicate id, the first.
func (p *Power) Lookup(id string) (int, bool) {
	i, ok := p.byID[id]
	return i, ok
}

// ID returns the id of a supply.
func (p *Power) ID(i int) string { return p.supplies[i].id }

// Path returns the field path of a supply.
func (p *Power) Path(i int) string { return p.supplies[i].path }

// EndMicroV is the lowest voltage at which the supply delivers: where a drop calculation starts.
func (p *Power) EndMicroV(i int) int64 { return p.supplies[i].endMicro }

// StandbyMicroA is the current at rest of everything that the supply feeds.
func (p *Power) StandbyMicroA(i int) int64 { return p.supplies[i].standby }

// AlarmMicroA is the further current in alarm beside that of the supply's output circuits.
func (p *Power) AlarmMicroA(i int) int64 { return p.supplies[i].alarm }

// drain is what a current takes from the battery.
func (s *supply) drain(microA int64) int64 {
	if microA > s.microAh/rateHours {
		return (microA*highRateNum + highRateDen - 1) / highRateDen
	}
	return microA
}

// within brings a figure into a range; what is not a number becomes the lower end.
func within(v, low, high float64) float64 {
	if math.IsNaN(v) {
		return low
	}
	return min(max(v, low), high)
}

// micro rounds to whole millionths.
func micro(v float64) int64 { return int64(math.Round(float64(v * 1e6))) }
