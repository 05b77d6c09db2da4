package drill

import (
	"time"

	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/sim"
)

// execute runs one source's event.
func (d *Drill) execute(source int, now time.Duration, phase sim.Phase) {
	switch source {
	case sourceScript:
		d.runScript(now)
	case sourceTimers:
		d.runTimers(now)
	case sourceLapsed:
		d.runLapsed()
	case sourceProgram:
		d.runProgram(now)
	case sourceOutputs:
		d.runMoves(now)
	case sourcePlant:
		d.runPlant(now)
	case sourcePower:
		d.runPower(now)
	default:
		i := source - sourceLoops
		if i >= len(d.lines) {
			d.runWire(int32(i-len(d.lines)), now)
			break
		}
		moment := line.End
		if phase == sim.Slot {
			moment = line.Begin
		}
		d.lines[i].Advance(now, moment, d.loopSink(int32(i)))
		d.schedule(i)
	}
	if d.changed {
		d.agenda.Set(sourceProgram, now, sim.Logic)
	}
}

// schedule enters a loop's next event in the agenda.
func (d *Drill) schedule(i int) {
	at, moment, ok := d.lines[i].Next()
	switch {
	case !ok:
		d.agenda.Clear(sourceLoops + i)
	case moment == line.End:
		d.agenda.Set(sourceLoops+i, at, sim.Line)
	default:
		d.agenda.Set(sourceLoops+i, at, sim.Slot)
	}
}

// add logs an event of the instant and phase being executed.
func (d *Drill) add(e sim.Event) uint64 {
	e.At, e.Phase = d.agenda.Now()
	return d.log.Add(e)
}

func flag(on bool) int64 {
	if on {
		return 1
	}
	return 0
}
