package logic

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Equal calls give equal changes; a State copied at any instant goes on as the one it was copied
// from, whatever the copy held before, and the two do not touch each other (DEVELOPERS.md:
// compiled site, copyable state).
func TestCopyGoesOnAlike(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := randomProgram(drawn{t})
		type moment struct {
			wait time.Duration
			acts []string
		}
		var moments []moment
		for range 2 + rapid.IntRange(0, 10).Draw(t, "steps") {
			m := moment{wait: time.Duration(rapid.IntRange(0, 3000).Draw(t, "ms")) * time.Millisecond}
			for range 1 + rapid.IntRange(0, 2).Draw(t, "acts") {
				m.acts = append(m.acts, randomAct(drawn{t}))
			}
			moments = append(moments, m)
		}
		play := func(b *bench, moments []moment) {
			for _, m := range moments {
				b.step(b.now+m.wait, m.acts...)
			}
			b.at(b.now + 20*time.Second)
		}
		whole, half := newBench(t, text), newBench(t, text)
		whole.program.chainLimit, half.program.chainLimit = 20, 20
		play(whole, moments)
		fork := rapid.IntRange(0, len(moments)).Draw(t, "fork")
		for _, m := range moments[:fork] {
			half.step(half.now+m.wait, m.acts...)
		}
		other := newBench(t, text)
		other.program.chainLimit = 20
		play(other, moments) // leaves marks in the state that is overwritten
		copied := *half
		copied.state, copied.log, copied.changes, copied.times = other.state, slices.Clone(half.log), nil, nil
		copied.state.CopyFrom(half.state)
		if !reflect.DeepEqual(clean(*copied.state), clean(*half.state)) {
			t.Fatalf("the copy differs:\n%+v\n%+v", copied.state, half.state)
		}
		play(half, moments[fork:])
		play(&copied, moments[fork:])
		for name, log := range map[string][]string{"run twice": half.log, "run on in a copy": copied.log} {
			if !slices.Equal(log, whole.log) {
				t.Fatalf("%s differs:\n%s\nwhole:\n%s", name, strings.Join(log, "\n"), strings.Join(whole.log, "\n"))
			}
		}
	})
}

// clean drops what a copy need not have: room, and lists that are empty between evaluations.
func clean(s State) State {
	s.scratch = scratch{}
	s.net.due, s.net.changed = nil, nil
	s.timers, s.inputs, s.ops, s.commanded = append([]int32{}, s.timers...), append([]input{}, s.inputs...), append([]operation{}, s.ops...), append([]int32{}, s.commanded...)
	return s
}

// A State holds no pointers, functions, maps or channels beside its slices (DEVELOPERS.md:
// compiled site, copyable state).
func TestStateIsPlain(t *testing.T) {
	var visit func(path string, typ reflect.Type)
	visit = func(path string, typ reflect.Type) {
		switch typ.Kind() {
		case reflect.Struct:
			for field := range typ.Fields() {
				visit(path+"."+field.Name, field.Type)
			}
		case reflect.Slice:
			visit(path+"[]", typ.Elem())
		case reflect.Array:
			visit(path+"[]", typ.Elem())
		case reflect.Pointer, reflect.Func, reflect.Map, reflect.Chan, reflect.Interface, reflect.UnsafePointer:
			t.Errorf("%s is a %v", path, typ.Kind())
		case reflect.String:
			t.Errorf("%s is a string", path)
		}
	}
	visit("State", reflect.TypeFor[State]())
}

// CopyFrom into a State of the same program allocates nothing once it has room.
func TestCopyAllocatesNothing(t *testing.T) {
	b := newBench(t, largeProgram(50))
	b.step(time.Second, "fire A1", "fire B1", "silence")
	spare := b.program.NewState()
	spare.CopyFrom(b.state)
	if n := testing.AllocsPerRun(100, func() { spare.CopyFrom(b.state) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

// The work of an evaluation follows what changes (counted, not timed): among 2,000 causes that
// nothing touches, one control makes as many gates and pairs to be looked at as among none; and
// nothing is allocated.
func TestWorkFollowsChange(t *testing.T) {
	work := func(idle int, act string) int {
		b := newBench(t, largeProgram(idle))
		b.step(time.Second, act)
		return int(b.state.net.looked)
	}
	if few, many := work(1, "control k1 on"), work(2000, "control k1 on"); few != many || few == 0 {
		t.Errorf("looked at %d with few idle causes, at %d with many", few, many)
	}
	if few, many := work(1, "fire B1"), work(2000, "fire B1"); many != few+1999 {
		t.Errorf("looked at %d with few causes that react, at %d with many: the count counts nothing", few, many)
	}
	b := newBench(t, largeProgram(2000))
	on := false
	toggle := func() {
		on = !on
		b.now += time.Millisecond
		b.program.Operate(b.state, Operation{Kind: Control, On: on}, 1)
		b.program.Evaluate(b.state, b.now, silent{})
	}
	toggle()
	if n := testing.AllocsPerRun(100, toggle); n != 0 {
		t.Errorf("an evaluation makes %v allocations", n)
	}
}

// silent takes changes and forgets them.
type silent struct{}

func (silent) Note(Change) uint64 { return 0 }

// largeProgram has a cause of one control, and many that only fire makes true.
func largeProgram(idle int) string {
	var causes, actions []string
	for i := range idle {
		name := fmt.Sprintf("idle-%d", i)
		causes = append(causes, `{cause: `+name+`, when: "zone('a').devices_in_fire >= 2 && !panel.silenced || device('B1').fire"}`)
		actions = append(actions, `{causes: [`+name+`], effects: [sounders], state: alert, after: 5s}`)
	}
	return `{program: {controls: [{control: k1}], causes: [{cause: k, when: "control('k1').on"}, ` + strings.Join(causes, ",") + `],
		effects: [{effect: fan, outputs: [FAN]}, {effect: sounders, outputs: [SND-A, SND-B], silenceable: true}],
		actions: [{causes: [k], effects: [fan], state: "on"}, ` + strings.Join(actions, ",") + `]}}`
}

// BenchmarkCopy copies the state of a program of 300 pairs, about what a site of 250 devices has.
func BenchmarkCopy(b *testing.B) {
	x := newBench(b, largeProgram(300))
	spare := x.program.NewState()
	b.ReportAllocs()
	for b.Loop() {
		spare.CopyFrom(x.state)
	}
}

// BenchmarkEvaluate turns one control on and off, among 2,000 causes that it does not touch.
func BenchmarkEvaluate(b *testing.B) {
	x := newBench(b, largeProgram(2000))
	on := false
	b.ReportAllocs()
	for b.Loop() {
		on = !on
		x.now += time.Millisecond
		x.program.Operate(x.state, Operation{Kind: Control, On: on}, 1)
		x.program.Evaluate(x.state, x.now, silent{})
	}
}
