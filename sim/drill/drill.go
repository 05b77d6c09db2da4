package drill

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/sim"
)

// Drill is one running site.
type Drill struct {
	plan *Plan
	seed uint64

	agenda   *sim.Agenda
	log      sim.Log
	lines    []poller
	wires    []*wire.State
	wirings  []wiring
	cables   []placedFault
	circuits []*circuit.State // by output; nil without a circuit
	work     circuit.Work     // storage of solves; nothing is kept in it
	power    *power.State
	drawn    []int64  // by supply: what it is asked for beside standby, microamperes
	beside   []int64  // of that, what is not its circuits'
	looped   []int64  // by loop: what it takes more than at rest
	supplied []uint64 // by supply: the latest event that may have changed its output
	loads    []bool   // by load: it works now
	fire     bool     // the supplies are asked for their current in alarm

	fireChange uint64 // the event of this instant that may have begun or ended the fire condition
	program    *logic.State
	plant      *plant.State

	points    []pointState
	proofs    []proofState // of the points that prove something, by Plan.proving
	outputs   []outputState
	operated  []bool // equipment input (flat), as last told to the plant
	journal   []Act
	standing  []int32 // acts whose faults are not repaired, where several may stand on one thing
	order     []int32 // the journal by time; those before done are executed
	done      int
	timers    []timer
	lapsed    []timer // of this instant: proofs whose time ends with it
	decisions []decision
	moves     []move  // outputs about to operate
	operators []deed  // waiting for the program
	drives    []drive // of this instant, waiting for the plant
	changed   bool    // the program must be evaluated at this instant
	faulty    []int32 // loop -> devices with a raised fault
	instant   time.Duration
	executed  int // at this instant
	crashed   error
	halt      halt
}

// pointState is the physical side of a point. There are many: wide fields stand before narrow ones.
type pointState struct {
	event       uint64 // of the last InputChanged
	smoke, heat int32  // millionths of % per metre, at most 100e6, and of degrees Celsius, at most 1200e6
	version     uint32 // of its retard timer
	restarts    uint32 // of its restart timer
	contact     bool   // flame, pressed, field contact operated
	seen        bool   // the contact as the module sees it through its field wiring
	retarded    bool   // it has seen that operated for the retard time
	stuck       stuck
	wire        fieldWire
	active      bool // what its own output says: t0 is when this becomes true
	prealarm    bool
	read        bool // last valid reading
	fault       bool // any raised fault
	indicator   bool // its alarm indicator is to be lit
	sounder     bool // a loop sounder is to sound
	lost        bool // without voltage for longer than it rides through
}

type stuck uint8

const (
	free stuck = iota
	stuckActive
	stuckRest
)

// outputState is the physical side of an output.
type outputState struct {
	state        term.State // as the contact or circuit is
	driven       term.State // as the module was told last
	stuck        bool
	held         term.State // where it is stuck
	wire         fieldWire
	reading      circuit.Verdict // of the circuit, at rest
	read         circuit.Verdict // the panel's verdict on a circuit of its own
	microV       int64           // that the supply gives the circuit
	latestMicroV int64           // the same, before it gave nothing
	microA       int64           // that the circuit asks for
	event        uint64          // of the last OutputOperated
}

// position is where the contact stands, or what the circuit does given its supply.
func (o *outputState) position() term.State {
	if o.stuck {
		return o.held
	}
	return o.driven
}

// give lets a circuit have the voltage of its supply.
func (o *outputState) give(microV int64) {
	if o.microV = microV; microV > 0 {
		o.latestMicroV = microV
	}
}

// timer is something that happens to a point by itself.
type timer struct {
	at      time.Duration
	kind    timerKind
	point   int32
	on      bool
	version uint32
	event   uint64
}

type timerKind uint8

const (
	retardOver timerKind = iota
	proofArrives
	restartOver
	loadChanges
	farEnd
	drainChanges
	circuitRests
	panelStarts
	proofAsked
	proofMissed
	proofsAnew
)

// decision is a completed signal on its way through the decision time.
type decision struct {
	at    time.Duration
	kind  sim.Kind
	point int32
	on    bool
	event uint64
}

// move is an output about to operate.
type move struct {
	at     time.Duration
	output int32
	state  term.State
	event  uint64
}

// deed is what an operator does.
type deed struct {
	Act
	event uint64 // that says so; 0: none says so yet
}

// drive is a contact's effect on an equipment input.
type drive struct {
	flat  int32
	event uint64
}

// Sources of the agenda, in the order in which they act inside a phase.
const (
	sourceScript = iota
	sourceTimers
	sourceLapsed
	sourceProgram
	sourceOutputs
	sourcePlant
	sourcePower
	sourceLoops // and one for each further loop; then one for each loop's wire
)

// New returns a drill at the very start of t = 0, on which no calendar runs: the mode is that of a panel
// without one, and operators change it.
func New(plan *Plan, seed uint64) *Drill { return start(plan, seed, plan.Program.NewState()) }

// NewAt returns a drill whose t = 0 is a moment of the week, as panel.InWeek gives it: the calendar
// changes the mode.
func NewAt(plan *Plan, seed uint64, begins time.Duration) *Drill {
	return start(plan, seed, plan.Program.NewStateAt(begins))
}

func start(plan *Plan, seed uint64, program *logic.State) *Drill {
	d := &Drill{
		plan: plan, seed: seed,
		agenda:  sim.NewAgenda(sourceLoops + 2*len(plan.In.Loops)),
		log:     sim.NewLog(maxEvents),
		program: program,
		plant:   plan.In.Plant.NewState(),
		points:  make([]pointState, len(plan.In.Points)),
		outputs: make([]outputState, len(plan.In.Outputs)), proofs: make([]proofState, plan.provers()),
		changed: true, instant: -1, faulty: make([]int32, len(plan.In.Loops)),
	}
	d.operated = make([]bool, len(plan.drivers))
	d.power = plan.In.Power.NewState()
	d.drawn, d.loads = make([]int64, plan.In.Power.Len()), make([]bool, len(plan.In.Loads))
	d.supplied = make([]uint64, len(d.drawn))
	d.beside, d.looped = make([]int64, len(d.drawn)), make([]int64, len(plan.In.Loops))
	d.circuits = make([]*circuit.State, len(d.outputs))
	for o := range d.outputs {
		if out := &plan.In.Outputs[o]; out.Circuit != nil {
			d.circuits[o] = out.Circuit.NewState()
			d.outputs[o].give(plan.In.Power.MicroV(d.power, int(out.Supply)))
		}
	}
	begin := d.log.Add(sim.Event{Kind: Start})
	d.halt.began = begin
	for i := range plan.In.Loops {
		d.lines = append(d.lines, plan.poller(plan.In.Loops[i].Line, d.loopSink(int32(i))))
		d.wires = append(d.wires, plan.In.Loops[i].Wire.NewState())
	}
	d.wirings = make([]wiring, len(d.wires))
	for i := range d.wires {
		d.feedAtStart(int32(i), begin)
	}
	d.settle(begin)
	d.scheduleProgram(0)
	for i := range d.lines {
		d.schedule(i)
	}
	d.schedulePlant()
	d.schedulePower()
	return d
}

// settle puts inputs that are active at rest where a settled panel has them.
func (d *Drill) settle(start uint64) {
	for flat := range d.operated {
		e, input := d.plan.input(flat)
		d.operated[flat] = d.inputOperated(flat, e, input)
		if d.operated[flat] {
			d.plan.In.Plant.Drive(d.plant, 0, e, input, true, start, plantSink{d})
		}
	}
	for i := range d.points {
		p := &d.plan.In.Points[i]
		if p.ProvesEquipment < 0 || p.Input.Fire() {
			continue
		}
		on := d.plan.In.Plant.Signal(d.plant, int(p.ProvesEquipment), int(p.ProvesSignal)) != p.ClosedAtRest
		s := &d.points[i]
		s.contact, s.seen, s.retarded, s.active = on, on, on, on
		d.lines[p.Loop].Preset(p.Device, on, start)
		d.set(term.DeviceActive, int32(i), on, start)
		d.points[i].read = on
		if on && p.Input == loop.Supervisory {
			d.set(term.DeviceSupervisory, int32(i), true, start)
		}
		d.setProven(p.ProvesEquipment, start)
	}
}

// input splits a flat input index into equipment and input.
func (p *Plan) input(flat int) (e, input int) {
	e, exact := slices.BinarySearch(p.first, flat)
	for exact && e+1 < len(p.first) && p.first[e+1] == flat { // equipment without inputs
		e++
	}
	if !exact {
		e--
	}
	return e, flat - p.first[e]
}

// set tells the program a fact; a panel that has stopped takes in none.
func (d *Drill) set(kind term.Kind, index int32, on bool, event uint64) {
	if d.halt.stopped {
		return
	}
	d.plan.Program.Set(d.program, term.Fact{Kind: kind, Index: index}, on, event)
	d.changed = true
}

// Do enters an act in the journal. It must not lie before the present instant, nor in it once
// that is executed; acts of one instant happen in the order of their entry.
func (d *Drill) Do(a Act) error {
	if a.At <= d.instant {
		return fmt.Errorf("the act is for %v, and the drill has already run to %v", a.At, d.instant)
	}
	index := int32(len(d.journal))
	d.journal = append(d.journal, a)
	at, _ := slices.BinarySearchFunc(d.order[d.done:], a.At, func(i int32, t time.Duration) int {
		if d.journal[i].At <= t {
			return -1
		}
		return 1
	})
	d.order = slices.Insert(d.order, d.done+at, index)
	d.agenda.Set(sourceScript, d.journal[d.order[d.done]].At, sim.Stimulus)
	return nil
}

// Next returns the next instant at which anything happens.
func (d *Drill) Next() (time.Duration, bool) {
	_, at, _, ok := d.agenda.Peek()
	return at, ok && d.crashed == nil
}

// RunInstant executes everything of the next instant and returns it.
func (d *Drill) RunInstant() (time.Duration, error) {
	at, ok := d.Next()
	if !ok {
		return d.instant, d.crashed
	}
	return at, d.guard(func() { d.runInstant(at) })
}

// RunUntil executes every instant up to and including t. Nothing needs to happen at t.
func (d *Drill) RunUntil(t time.Duration) error {
	return d.guard(func() {
		for {
			at, ok := d.Next()
			if !ok || at > t {
				break
			}
			d.runInstant(at)
		}
		if t > d.instant {
			d.agenda.Skip(t, sim.Check)
			d.instant = t
		}
	})
}

func (d *Drill) runInstant(at time.Duration) {
	d.instant, d.executed = at, 0
	for {
		_, next, _, ok := d.agenda.Peek()
		if !ok || next > at {
			return
		}
		if d.executed++; d.executed > maxPerInstant {
			panic(&sim.BoundError{Bound: "executions at one instant", Limit: maxPerInstant, At: at})
		}
		source, _, phase, _ := d.agenda.Pop()
		d.execute(source, at, phase)
	}
}

// Instant is the last instant executed; -1 before the first.
func (d *Drill) Instant() time.Duration { return d.instant }

// Plan is the site that the drill runs.
func (d *Drill) Plan() *Plan { return d.plan }

// Seed is the seed of the drill's random streams.
func (d *Drill) Seed() uint64 { return d.seed }

// Log is the log so far; it must not be changed.
func (d *Drill) Log() *sim.Log { return &d.log }

// Digest is the digest of the log so far.
func (d *Drill) Digest() string { return d.log.Digest() }

// Journal is the acts entered so far, in the order of their entry; it must not be changed.
func (d *Drill) Journal() []Act { return d.journal }

// SampleAfter is the start of the first in-turn visit to a point at or after t, as things stand.
func (d *Drill) SampleAfter(point int32, t time.Duration) time.Duration {
	p := &d.plan.In.Points[point]
	return d.lines[p.Loop].SampleAfter(p.Device, t)
}

// Round is the length of one round of a loop as things stand.
func (d *Drill) Round(loop int32) time.Duration { return d.lines[loop].Round() }

// line.Line keeps its own numbering of output states; it is that of package term.
func lineState(s term.State) line.OutputState { return line.OutputState(s) }
