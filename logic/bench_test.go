package logic

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"buf.build/go/protoyaml"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// testingT is what the bench needs of *testing.T, *testing.B and *rapid.T.
type testingT interface {
	Helper()
	Fatalf(format string, args ...any)
}

// bench runs one program in tests: it keeps time, gives events their numbers, and records.
type bench struct {
	t       testingT
	world   *term.World
	program *Program
	state   *State
	site    *pb.Site
	now     time.Duration
	events  uint64
	level   uint8 // access level of what is done from now on; 0 is the bench itself
	log     []string
	changes []Change
	times   []time.Duration // of changes
	twin    *naive          // is told the same, if there is one
}

// bureau is the world of the tests: an invented office with two zones, sounders on loop 2, relays,
// and one relay on the panel. Names of the program are added by newBench.
func bureau() *term.World {
	w := &term.World{
		Zones: []string{"a", "b"}, Places: []string{"a", "b"}, Groups: []string{"recall"}, Supplies: []string{"psu"},
		Loops: []uint32{1, 2}, Equipment: []term.Equipment{{ID: "fan", States: []string{"stopped", "running"}}},
		PointRefs: map[string]int{}, OutputRefs: map[string]int{},
		Points: []term.Point{
			{Label: "A1", Address: "1/1", Zone: 0, Place: 0, Input: term.Fire, Detector: true, Automatic: true, Smoke: true, Groups: []int{0}, Prealarm: true},
			{Label: "A2", Address: "1/2", Zone: 0, Place: 0, Input: term.Fire, Detector: true, Automatic: true},
			{Label: "ACP", Address: "1/3", Zone: 0, Place: 0, Input: term.CallPoint},
			{Label: "B1", Address: "1/4", Zone: 1, Place: 1, Input: term.Fire, Detector: true, Automatic: true, Smoke: true, Groups: []int{0}},
			{Label: "B2", Address: "1/5", Zone: 1, Place: 1, Input: term.Waterflow},
			{Label: "VALVE", Address: "1/6", Zone: 1, Place: 1, Input: term.Supervisory},
			{Label: "TECH", Address: "1/7", Zone: -1, Place: -1, Input: term.Technical},
			{Label: "SND-A", Address: "2/1", Loop: 1, Zone: 0, Place: 0},
			{Label: "SND-B", Address: "2/2", Loop: 1, Zone: 1, Place: 1},
			{Label: "FAN", Address: "2/3", Loop: 1, Zone: -1, Place: -1},
			{Label: "LIFT-MAIN", Address: "2/4", Loop: 1, Zone: -1, Place: -1},
			{Label: "LIFT-ALT", Address: "2/5", Loop: 1, Zone: -1, Place: -1},
			{Label: "DOOR", Address: "2/6", Loop: 1, Zone: -1, Place: -1},
		},
	}
	for i, p := range w.Points {
		w.PointRefs[p.Label], w.PointRefs[p.Address] = i, i
		if p.Input == term.NoInput {
			w.OutputRefs[p.Label], w.OutputRefs[p.Address] = len(w.Outputs), len(w.Outputs)
			w.Outputs = append(w.Outputs, term.Output{Label: p.Label, Address: p.Address, Sounder: strings.HasPrefix(p.Label, "SND")})
		}
	}
	w.Equipment[0].Outputs = []int32{int32(w.OutputRefs["FAN"])}
	w.OutputRefs["PANEL"] = len(w.Outputs)
	w.Outputs = append(w.Outputs, term.Output{Label: "PANEL"})
	return w
}

// compileText compiles the panel and the program of a site written in YAML.
func compileText(t testingT, text string) (*Program, *pb.Site, *term.World, []*pb.Finding) {
	t.Helper()
	site := &pb.Site{}
	if err := protoyaml.Unmarshal([]byte(text), site); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	w := bureau()
	for _, c := range site.GetProgram().GetCauses() {
		w.Causes = append(w.Causes, c.GetCause())
	}
	for _, c := range site.GetProgram().GetControls() {
		w.Controls = append(w.Controls, c.GetControl())
	}
	for _, o := range site.GetProgram().GetOverrides() {
		w.Overrides = append(w.Overrides, o.GetOverride())
	}
	for _, d := range site.GetProgram().GetDetection() {
		for i := range w.Points {
			shows := d.GetFirstSignal() == "prealarm" || d.GetInvestigate() != nil
			w.Points[i].ShowsHeld = w.Points[i].ShowsHeld || shows && w.Points[i].Automatic && w.Points[i].Zone >= 0 && w.Zones[w.Points[i].Zone] == d.GetZone()
		}
	}
	p, findings := Compile(site, w)
	return p, site, w, findings
}

// newBench compiles a program that must not be refused and evaluates it at t = 0.
func newBench(t testingT, text string) *bench {
	t.Helper()
	p, site, w, findings := compileText(t, text)
	if finding.Worst(findings) == pb.Severity_SEVERITY_REFUSED {
		t.Fatalf("refused: %v", findings)
	}
	b := &bench{t: t, world: w, program: p, site: site, state: p.NewState()}
	b.program.Evaluate(b.state, 0, b)
	return b
}

// Note records a change.
func (b *bench) Note(c Change) uint64 {
	b.events++
	line := fmt.Sprintf("%8s #%d %s", b.now, b.events, b.describe(c))
	if c.Parent != 0 || len(c.Also) > 0 {
		line += fmt.Sprintf(" <- #%d", c.Parent)
	}
	for _, also := range c.Also {
		line += fmt.Sprintf(" #%d", also)
	}
	b.log = append(b.log, line)
	c.Also = append([]uint64{}, c.Also...)
	b.changes, b.times = append(b.changes, c), append(b.times, b.now)
	return b.events
}

// act logs an event from outside and returns its number.
func (b *bench) act(text string) uint64 {
	b.events++
	b.log = append(b.log, fmt.Sprintf("%8s #%d %s", b.now, b.events, text))
	return b.events
}

// describe writes a change in words.
func (b *bench) describe(c Change) string {
	onOff := map[bool]string{true: "on", false: "off"}[c.On]
	switch c.Kind {
	case CauseChanged:
		return fmt.Sprintf("cause %s %s", b.world.Causes[c.Index], map[bool]string{true: "true", false: "false"}[c.On])
	case DelayStarted, DelayResumed:
		return fmt.Sprintf("%s %s until %s", c.Kind, b.pair(c.Index), c.Due)
	case DelayPaused, DelayRestarted, DelayEnded, DelayCancelled:
		return fmt.Sprintf("%s %s", c.Kind, b.pair(c.Index))
	case ActionChanged:
		return fmt.Sprintf("action %s %s", b.pair(c.Index), onOff)
	case EffectChanged:
		return fmt.Sprintf("effect %s %s -> %s", b.site.GetProgram().GetEffects()[c.Index].GetEffect(), demandWord(c.From), demandWord(c.State))
	case SetTaken, SetFreed:
		return fmt.Sprintf("%s %s", c.Kind, b.site.GetProgram().GetEffects()[c.Index].GetEffect())
	case OutputDemanded:
		return fmt.Sprintf("output %s %s -> %s", b.world.Outputs[c.Index].Label, c.From, c.State)
	case OperationRefused:
		return fmt.Sprintf("operation-refused %d, needs level %d", c.Index, c.Fact.Value)
	case ModeScheduled:
		return "mode-scheduled " + []string{"day", "night"}[c.Index]
	case ConditionChanged:
		return fmt.Sprintf("condition %s %s", panel.Condition(c.Index), onOff)
	case BuzzerChanged:
		return "buzzer " + onOff
	case OverrideMoved:
		return fmt.Sprintf("override %s %s", b.world.Overrides[c.Index], term.PositionWord(c.Fact.Value))
	case TestChanged:
		return fmt.Sprintf("test %s %s", b.world.Zones[c.Index], onOff)
	case DelayHurried:
		if c.Due == 0 {
			return fmt.Sprintf("delay-hurried %s", b.pair(c.Index))
		}
		return fmt.Sprintf("delay-hurried %s until %s", b.pair(c.Index), c.Due)
	case Unlatched, FireWithheld, FireTested:
		return fmt.Sprintf("%s %s %s", c.Kind, b.world.Points[c.Index].Label, onOff)
	case PanelChanged, DisabledChanged, SignalUnlatched:
		return fmt.Sprintf("%s %s %s", c.Kind, c.Fact, onOff)
	case ControlChanged:
		return fmt.Sprintf("control %s %s", b.world.Controls[c.Index], onOff)
	case ChainStopped:
		return fmt.Sprintf("chain-stopped %s", b.world.Outputs[c.Index].Label)
	case VerificationStarted, SignalVerified, DetectorReady, SignalDropped, InvestigationStarted, InvestigationAcknowledged, InvestigationEnded, SignalHeld, SignalConfirmed:
		text := fmt.Sprintf("%s %s", c.Kind, b.world.Points[c.Index].Label)
		switch {
		case c.Kind == SignalConfirmed:
			text += " by " + b.world.Points[c.By].Label
		case c.Due > 0:
			text += " until " + c.Due.String()
		case c.On:
			text += " as fire"
		}
		return text
	}
	return c.Kind.String()
}

// demandWord tells an inhibit from rest.
func demandWord(s term.State) string {
	if s == term.Rest {
		return "rest"
	}
	return s.String()
}

// pair names a pair: cause, effect and state.
func (b *bench) pair(i int32) string {
	pr := b.program.Pair(int(i))
	return fmt.Sprintf("%s/%s:%s", b.world.Causes[pr.Cause], b.site.GetProgram().GetEffects()[pr.Effect].GetEffect(), pr.State)
}

// runTo lets time pass up to and including an instant; whatever is set or queued before the call
// belongs to the present instant.
func (b *bench) runTo(until time.Duration) {
	b.t.Helper()
	for {
		next, ok := b.program.Next(b.state)
		if !ok || next > until {
			break
		}
		b.now = next
		b.program.Evaluate(b.state, next, b)
	}
	b.now = until
}

// at lets time pass up to just before an instant, then begins it.
func (b *bench) at(instant time.Duration) {
	b.t.Helper()
	for {
		next, ok := b.program.Next(b.state)
		if !ok || next >= instant {
			break
		}
		b.now = next
		b.program.Evaluate(b.state, next, b)
	}
	b.now = instant
}

// evaluate ends the present instant.
func (b *bench) evaluate() { b.program.Evaluate(b.state, b.now, b) }

// do does one act, written as in the stories, in the present instant.
func (b *bench) do(text string) {
	b.t.Helper()
	words := strings.Fields(text)
	name := ""
	if len(words) > 1 {
		name = words[1]
	}
	event := b.act(text)
	set := func(kind term.Kind, index int, on bool) {
		f := term.Fact{Kind: kind, Index: int32(index)}
		b.program.Set(b.state, f, on, event)
		if b.twin != nil {
			b.twin.inputs = append(b.twin.inputs, input{fact: f, on: on})
		}
	}
	order := func(op Operation) {
		op.Level = panel.Level(b.level)
		b.program.Operate(b.state, op, event)
		if b.twin != nil {
			b.twin.ops = append(b.twin.ops, op)
		}
	}
	operate := func(kind OpKind, index int, on bool) {
		order(Operation{Kind: kind, Index: int32(index), On: on})
	}
	find := func(names []string) int {
		i, ok := index(names, name)
		if !ok {
			b.t.Fatalf("%s: no %q", text, name)
		}
		return i
	}
	point := func() int {
		i, ok := b.world.PointRefs[name]
		if !ok {
			b.t.Fatalf("%s: no point %q", text, name)
		}
		return i
	}
	on := len(words) < 3 || words[2] != "off"
	switch words[0] {
	case "fire":
		set(term.DeviceActive, point(), true)
		set(term.DeviceFire, point(), true)
	case "decide":
		set(term.DeviceFire, point(), true)
	case "active":
		set(term.DeviceActive, point(), on)
	case "clear":
		set(term.DeviceActive, point(), false)
	case "supervisory":
		set(term.DeviceSupervisory, point(), on)
	case "prealarm":
		set(term.DevicePrealarm, point(), on)
	case "fault":
		set(term.DeviceFault, point(), on)
	case "output-fault":
		set(term.OutputFault, b.world.OutputRefs[name], on)
	case "proven":
		set(term.EquipmentProven, find([]string{"fan"}), on)
	case "control":
		operate(Control, find(b.world.Controls), on)
	case "night":
		order(Operation{Kind: Mode, Value: term.Night})
	case "day":
		order(Operation{Kind: Mode, Value: term.Day})
	case "disable-device":
		operate(DisableDevice, point(), on)
	case "disable-equipment":
		operate(DisableEquipment, find([]string{"fan"}), on)
	case "test":
		operate(TestZone, find(b.world.Zones), on)
	case "override":
		if !slices.Contains(b.world.Overrides, name) {
			b.do("acknowledge") // the random program has none of that name
			return
		}
		position, ok := term.Position(words[2])
		if !ok {
			b.t.Fatalf("%s: no such position", text)
		}
		order(Operation{Kind: MoveOverride, Index: int32(find(b.world.Overrides)), Value: position})
	case "level":
		b.level = name[0] - '0'
	case "disable-zone":
		operate(DisableZone, find(b.world.Zones), on)
	case "disable-output":
		operate(DisableOutput, b.world.OutputRefs[name], on)
	case "acknowledge", "silence", "resound", "reset", "evacuate":
		operate(map[string]OpKind{"acknowledge": Acknowledge, "silence": Silence, "resound": Resound, "reset": Reset, "evacuate": Evacuate}[words[0]], 0, true)
	default:
		b.t.Fatalf("no act %q", text)
	}
}

// step begins an instant, does acts in it and ends it.
func (b *bench) step(instant time.Duration, acts ...string) {
	b.t.Helper()
	b.at(instant)
	for _, act := range acts {
		b.do(act)
	}
	b.evaluate()
}

// demand returns the state demanded of an output, by its word.
func (b *bench) demand(label string) string {
	b.t.Helper()
	o, ok := b.world.OutputRefs[label]
	if !ok {
		b.t.Fatalf("no output %q", label)
	}
	return b.program.Demand(b.state, o).String()
}

// spans lists when an output was away from rest, as `15s-20s`; an open end stays open.
func (b *bench) spans(label string) string {
	var spans []string
	for i, c := range b.changes {
		if c.Kind != OutputDemanded || b.world.Outputs[c.Index].Label != label {
			continue
		}
		at := b.times[i].String()
		if c.From == term.Rest {
			spans = append(spans, at+"-")
		} else if c.State == term.Rest {
			spans[len(spans)-1] += at
		}
	}
	return strings.Join(spans, " ")
}
