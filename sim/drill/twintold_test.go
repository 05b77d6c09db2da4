package drill

import (
	"time"

	"loopdrill.dev/loopdrill/loop/line"
)

// What the twin is told of the devices on its loop.

func (t *twin) Preset(i int32, active bool, event uint64) {
	d := &t.devices[i]
	d.active, d.reading, d.sampled, d.inputEvent = active, active, true, event
}

func (t *twin) SetInput(_ time.Duration, i int32, active, prealarm bool, event uint64) {
	d := &t.devices[i]
	if d.active == active && d.prealarm == prealarm {
		return
	}
	if d.active != active {
		if d.active && !d.sampled {
			t.count.gone++
		}
		d.sampled = false
	}
	d.active, d.prealarm, d.inputEvent = active, prealarm, event
}

func (t *twin) SetPresence(_ time.Duration, i int32, p line.Presence, event uint64) {
	d := &t.devices[i]
	if d.presence == p {
		return
	}
	if (d.presence.Unfed || d.presence.Removed) && !p.Unfed && !p.Removed {
		t.again(int(i))
	}
	d.presence, d.presenceEvent = p, event
}

// again gives a module that is back its three tries (rule C4), but not what draws on an overloaded loop.
func (t *twin) again(i int) {
	t.devices[i].tries = 0
	if t.overload && t.cfg.Devices[i].Load {
		t.devices[i].tries = 3
	}
}

func (t *twin) SetOverload(_ time.Duration, on bool) {
	if t.overload == on {
		return
	}
	t.overload = on
	for i := range t.devices {
		if !on && t.cfg.Devices[i].Load {
			t.again(i)
		}
	}
}

func (t *twin) SetOutput(_ time.Duration, _ line.Stage, i int32, o line.OutputState, event uint64) {
	if d := &t.devices[i]; d.output != o {
		d.output, d.outputEvent = o, event
	}
}

func (t *twin) SetCircuit(_ time.Duration, _ line.Stage, i int32, c line.Circuit, event uint64) {
	if d := &t.devices[i]; d.circuit != c {
		d.circuit, d.circuitEvent = c, event
	}
}

func (t *twin) Watch(_ time.Duration, on bool, event uint64) { t.watched, t.watchEvent = on, event }

func (t *twin) Rearm(_ time.Duration, i int32, forget bool) {
	d := &t.devices[i]
	d.signalled = false
	if forget {
		d.readings = 0
	}
}
