package diff

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/loop/wire"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// wireNames are the devices of a loop in wiring order, in the old site's words.
func (p *pairing) wireNames(side int, m *pb.Loop) []string {
	names := make([]string, len(m.GetDevices()))
	for i, d := range m.GetDevices() {
		names[i] = p.deviceName(side, d)
	}
	return names
}

// deviceName is the old site's label of a device.
func (p *pairing) deviceName(side int, d *pb.Device) string {
	if side == 0 || d.Address == nil {
		return d.GetLabel()
	}
	if i, ok := p.built[1].Installation.Point(d.GetLabel()); ok {
		if old := p.points.toOld[i]; old >= 0 {
			return p.built[0].Installation.Points[old].Label
		}
	}
	return d.GetLabel()
}

// wiringOrder tells where the devices that both sites have on a loop stand in another order. l is the old
// site's index.
func (p *pairing) wiringOrder(l int32) (text, paths [2]string, differs bool) {
	other := p.loops.toNew[l]
	if other < 0 {
		return text, paths, false
	}
	a := p.wireNames(0, p.built[0].Site.GetLoops()[l])
	b := p.wireNames(1, p.built[1].Site.GetLoops()[other])
	both := func(list, others []string) (kept []int) {
		have := map[string]bool{}
		for _, n := range others {
			have[n] = true
		}
		for i, n := range list {
			if have[n] {
				kept = append(kept, i)
			}
		}
		return kept
	}
	x, y := both(a, b), both(b, a)
	for i := range min(len(x), len(y)) {
		if a[x[i]] != b[y[i]] {
			text = [2]string{fmt.Sprintf("%s as number %d", a[x[i]], x[i]+1), fmt.Sprintf("%s as number %d", b[y[i]], y[i]+1)}
			return text, [2]string{fmt.Sprintf("loops[%d].devices[%d]", l, x[i]), fmt.Sprintf("loops[%d].devices[%d]", other, y[i])}, true
		}
	}
	return text, paths, false
}

// figures compares what `check` computes of a loop on both sites: class, resistance, the lowest voltages, and
// whom each short and each break of the cable takes, for good and until the isolators have closed again.
func (p *pairing) figures(l int32) []string {
	var nets [2]*wire.Network
	var visits [2]wire.Visits
	for s, b := range p.built {
		own, ok := p.loops.side(s, l)
		if !ok {
			return nil
		}
		nets[s], visits[s] = b.Installation.Loops[own].Wire, b.Installation.Visits(int(own))
	}
	var list []string
	compare := func(what, unit string, of func(n *wire.Network) float64) {
		if a, b := of(nets[0]), of(nets[1]); a != b {
			list = append(list, fmt.Sprintf("%s %.6g -> %.6g %s", what, a, b, unit))
		}
	}
	classA, _ := nets[0].Class()
	classB, _ := nets[1].Class()
	if classA != classB {
		list = append(list, fmt.Sprintf("class %s -> %s", classA, classB))
	}
	figures := [2]wire.Figures{nets[0].Figures(), nets[1].Figures()}
	of := func(get func(f *wire.Figures) int64) func(*wire.Network) float64 {
		return func(n *wire.Network) float64 {
			if n == nets[1] {
				return float64(get(&figures[1])) / 1e6
			}
			return float64(get(&figures[0])) / 1e6
		}
	}
	compare("cable", "m", of(func(f *wire.Figures) int64 { return f.Millimetres * 1000 }))
	compare("loop resistance", "ohm", of(func(f *wire.Figures) int64 { return f.LoopMicroOhm }))
	compare("lowest voltage at rest from one end", "V", of(func(f *wire.Figures) int64 { return f.OneEndRest.MicroVolt }))
	compare("lowest voltage in alarm from one end", "V", of(func(f *wire.Figures) int64 { return f.OneEndAlarm.MicroVolt }))
	list = append(list, p.lostSets(l, nets)...)
	return append(list, blind(nets, visits)...)
}

// lostSets compares whom a short and a break in each run of cable takes.
func (p *pairing) lostSets(l int32, nets [2]*wire.Network) []string {
	var list []string
	for _, kind := range []wire.FaultKind{wire.Short, wire.Break} {
		old, changed := p.losses(0, l, nets[0], kind), p.losses(1, l, nets[1], kind)
		word := map[wire.FaultKind]string{wire.Short: "short", wire.Break: "break"}[kind]
		first, count := "", 0
		for _, before := range old.runs {
			other, ok := changed.lost[before]
			if !ok || slices.Equal(old.lost[before], other) {
				continue
			}
			if count++; first == "" {
				first = fmt.Sprintf("%s %s loses %s -> %s", word, before, namesText(old.lost[before]), namesText(other))
			}
		}
		if count > 0 {
			list = append(list, first)
			if count > 1 {
				list = append(list, fmt.Sprintf("and so for %d more runs of cable", count-1))
			}
		}
		if old.most != changed.most {
			list = append(list, fmt.Sprintf("most devices lost by one %s %d -> %d", word, old.most, changed.most))
		}
	}
	return list
}

// losses are whom a fault of one kind takes in each run of a loop's cable, all in the old site's words.
type losses struct {
	runs []string            // in wiring order, named by where they end
	lost map[string][]string // by run, sorted
	most int                 // devices that one fault takes
}

func (p *pairing) losses(side int, l int32, n *wire.Network, kind wire.FaultKind) losses {
	of := losses{lost: map[string][]string{}}
	survey := n.Survey()
	for run := range int32(n.Runs()) {
		var names []string
		for _, e := range survey.Lost(kind, run, nil) {
			names = append(names, p.entryName(side, l, e))
		}
		slices.Sort(names)
		before := "before return"
		if run != n.Return() || !n.Ring() {
			before = "before " + p.entryName(side, l, run)
		}
		of.runs = append(of.runs, before)
		of.lost[before] = names
		of.most = max(of.most, len(names))
	}
	return of
}

// blind compares the longest time for which a short makes a loop's devices stop that are not lost for good.
func blind(nets [2]*wire.Network, visits [2]wire.Visits) []string {
	var longest [2]time.Duration
	for s, n := range nets {
		for run := range int32(n.Runs()) {
			longest[s] = max(longest[s], n.Blind(run, visits[s]))
		}
	}
	if longest[0] == longest[1] {
		return nil
	}
	return []string{fmt.Sprintf("blind after a short at most %v -> %v", longest[0].Round(time.Millisecond), longest[1].Round(time.Millisecond))}
}

// entryName is the old site's name of an entry of a loop's wire.
func (p *pairing) entryName(side int, l, e int32) string {
	own, _ := p.loops.side(side, l)
	return p.deviceName(side, p.built[side].Site.GetLoops()[own].GetDevices()[e])
}

// namesText lists names, of which it shows the first few.
func namesText(names []string) string {
	const most = 3
	switch {
	case len(names) == 0:
		return "nobody"
	case len(names) > most:
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	return strings.Join(names, ", ")
}
