package detection

import (
	"math/bits"
	"slices"
	"testing"
	"time"
)

// k of n: of every set of detectors, in every order, with a repetition of the first between all: fire
// comes with the k-th distinct one and not before. Checked against counting.
func TestEveryCountOfDetectors(t *testing.T) {
	for n := 2; n <= 5; n++ {
		points := make([]Point, n)
		for i := range points {
			points[i].Sense = Automatic
		}
		for k := 2; k <= n+1; k++ {
			rules := New([]Zone{{Confirm: Other, Detectors: k, Within: time.Hour}}, points)
			for set := range 1 << n {
				orders(set, nil, func(order []int32) { playCount(t, rules, k, order) })
			}
		}
	}
}

// orders visits every order of the members of a set.
func orders(set int, before []int32, visit func([]int32)) {
	if set == 0 {
		visit(before)
		return
	}
	for rest := set; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros(uint(rest))
		orders(set&^(1<<i), append(slices.Clip(before), int32(i)), visit)
	}
}

func playCount(t *testing.T, rules *Rules, k int, order []int32) {
	s, r := rules.NewState(), newRecorder()
	signal := func(p int32) {
		r.now += time.Second
		rules.Signal(s, r.now, p, r.event(Change{Point: p}), r)
	}
	for i, p := range order {
		signal(p)
		signal(order[0])
		want := i + 1
		if want < k {
			want = 0
		}
		if len(r.fire) != want {
			t.Fatalf("%d of them must signal; after %d of %v, %d are in fire", k, i+1, order, len(r.fire))
		}
	}
}

// A copy goes its own way, and equal calls give equal steps.
func TestCopyFrom(t *testing.T) {
	rest := "100 h1; 110 t1; 130 ack"
	whole := newBench(Zone{Confirm: SameOrOther, ReadyAfter: 30 * second, Within: 5 * minute, First: Prealarm}, look)
	want := whole.play("0 s1; 95 t2; " + rest)

	b := newBench(Zone{Confirm: SameOrOther, ReadyAfter: 30 * second, Within: 5 * minute, First: Prealarm}, look)
	b.begin("0 s1; 95 t2")
	fork := *b
	other := *b.recorder
	other.lines = slices.Clone(other.lines)
	fork.recorder = &other
	fork.state = &State{}
	fork.state.CopyFrom(b.state)
	b.begin("96 reset; 97 c1")
	fork.runTo(96 * second)
	if got := fork.play(rest); got != want {
		t.Errorf("the fork went\n%s\nand the whole run\n%s", got, want)
	}
}
