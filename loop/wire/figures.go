package wire

import (
	"cmp"
	"slices"
)

// Figures are what `check` prints of a loop. Micro means millionths: of ohms, farads, amperes,
// volts.
type Figures struct {
	Millimetres     int64 // of all cable
	LoopMicroOhm    int64 // both cores and the closed isolators: round a ring, or to the worst end of a branch
	Picofarads      int64
	RestMicroAmp    int64
	AlarmMicroAmp   int64  // all sounders, and as many indicators as may be lit; a constant power at the driver's voltage
	OneEndRest      Lowest // of a ring the worse end: a break may leave either
	OneEndAlarm     Lowest
	BothEndsRest    Lowest // on a ring only
	BothEndsAlarm   Lowest
	LimitMicroAmp   int64
	DriverMicroVolt int64
	ShownMicroOhm   int64 // highest resistance of a short beside the panel that shows at rest, see shown
}

// Lowest is the lowest voltage at a device, and where.
type Lowest struct {
	MicroVolt int64
	Entry     int32 // -1: the loop has no device
	Collapsed bool  // the driver cannot hold the line
	MicroAmp  int64 // that the driver then gives
}

// Figures computes them. The indicators lit in alarm are those of the devices that have the lowest
// voltages at rest.
func (n *Network) Figures() Figures {
	f := Figures{LimitMicroAmp: micro(n.limit), DriverMicroVolt: micro(n.volts)}
	metres, farad := 0.0, 0.0
	for i := range n.runs {
		metres += n.runs[i].metres
		farad += n.runs[i].farad
	}
	f.Millimetres = micro(metres / 1000)
	f.Picofarads = micro(float64(farad * 1e6))
	f.LoopMicroOhm = micro(n.loopOhm())
	total := n.rest()
	f.RestMicroAmp = micro(total)
	f.ShownMicroOhm = n.shown()
	for e := range n.entries {
		total += n.entries[e].sounder
	}
	f.AlarmMicroAmp = micro(total + n.brightest())
	f.OneEndRest, f.OneEndAlarm = n.lowest(true, false)
	if n.ring {
		f.BothEndsRest, f.BothEndsAlarm = n.lowest(true, true)
		rest, alarm := n.lowest(false, true)
		f.OneEndRest, f.OneEndAlarm = f.OneEndRest.worse(rest), f.OneEndAlarm.worse(alarm)
	}
	return f
}

// shown is the highest resistance of a short beside the panel that shows at rest: it puts the driver
// at its limit or, behind a source resistance, leaves a device less than its drop-out voltage, or
// the panel's terminal less than that at which it parts.
func (n *Network) shown() int64 {
	rest := n.rest()
	ohm := 0.0
	if spare := n.limit - rest; spare > 0 {
		ohm = max(n.volts-float64(n.source*n.limit), 0) / spare
	}
	s := &State{next: never, iso: make([]isoState, len(n.iso)), dev: make([]devState, len(n.entries))}
	s.iso[farEnd].open = true
	n.assemble(s)
	n.solveNow(s)
	need := n.iso[terminalA].opens
	for e := range n.entries {
		if n.entries[e].device {
			need = max(need, n.entries[e].dropOut+micro(s.work.driver.volts)-s.work.voltage(int32(e)))
		}
	}
	volts := float64(need) / 1e6
	if amps := (n.volts-volts)/max(n.source, leastOhm) - rest; amps > 0 && !s.work.driver.collapsed {
		ohm = max(ohm, volts/amps)
	}
	return micro(ohm)
}

// loopOhm is the resistance of both cores with closed isolators.
func (n *Network) loopOhm() float64 {
	way := make([]float64, len(n.entries)+1)
	most := 0.0
	for _, r := range n.order {
		up := 0.0
		if r == n.Return() {
			if n.last >= 0 {
				up = way[n.last]
			}
			return up + float64(2*n.runs[r].ohm)
		}
		if parent := n.entries[r].parent; parent >= 0 {
			up = way[parent]
		}
		way[r] = up + float64(2*n.runs[r].ohm)
		if i := n.entries[r].iso; i >= 0 {
			way[r] += n.iso[i].ohm
		}
		most = max(most, way[r])
	}
	return most
}

// worse is the lower of two; a line that collapses is lower than any that holds.
func (l Lowest) worse(o Lowest) Lowest {
	if o.Collapsed != l.Collapsed && o.Collapsed || o.Collapsed == l.Collapsed && o.MicroVolt < l.MicroVolt {
		return o
	}
	return l
}

// lowest solves the healthy loop at rest and in alarm, driven from the first end, the far one or both.
func (n *Network) lowest(first, far bool) (rest, alarm Lowest) {
	s := &State{next: never, iso: make([]isoState, len(n.iso)), dev: make([]devState, len(n.entries)), far: far}
	s.iso[terminalA].open, s.iso[farEnd].open = !first, !far
	n.assemble(s)
	n.solveNow(s)
	rest = n.lowestNow(s)
	var devices []int32
	for e := range n.entries {
		if n.entries[e].device {
			devices = append(devices, int32(e))
			s.dev[e].sounder = true
		}
	}
	slices.SortStableFunc(devices, func(a, b int32) int {
		return cmp.Or(-cmp.Compare(micro(n.entries[a].indicator), micro(n.entries[b].indicator)), cmp.Compare(s.work.voltage(a), s.work.voltage(b)))
	})
	s.lit = devices
	n.solveNow(s)
	return rest, n.lowestNow(s)
}

func (n *Network) lowestNow(s *State) Lowest {
	l := Lowest{Entry: -1, Collapsed: s.work.driver.collapsed, MicroAmp: micro(s.work.driver.amps)}
	for e := range n.entries {
		if v := s.work.voltage(int32(e)); n.entries[e].device && (l.Entry < 0 || v < l.MicroVolt) {
			l.MicroVolt, l.Entry = v, int32(e)
		}
	}
	return l
}
