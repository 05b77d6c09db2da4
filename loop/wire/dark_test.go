package wire

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// A ring whose driver is off loses every device after the hold-up, and its isolators open as on any
// dead line. When the driver is back they close one after another, 100 ms each, and each device works
// 500 ms after its own voltage is there. Times by hand from the figures of the package.
func TestFeed(t *testing.T) {
	n := build(t, plan{ring: true, devices: 3, run: 10, after: []int{1}}.loop())
	b := newBench(t, n)
	b.run(time.Second)
	b.n.Feed(b.s, time.Second, false, 1, b)
	b.run(2 * time.Second)
	b.n.Feed(b.s, 2*time.Second, true, 1, b)
	b.run(10 * time.Second)
	want := []string{
		"1s 1 fed=false", "1s 2 fed=false", "1s 3 fed=false",
		"1.005s A terminal closed=false", "1.005s I1 isolator closed=false",
		"1.05s 1 hold-up over=true", "1.05s 2 hold-up over=true", "1.05s 3 hold-up over=true",
		"2.1s A terminal closed=true", "2.2s I1 isolator closed=true",
		"2.6s 1 fed=true", "2.7s 2 fed=true", "2.7s 3 fed=true",
	}
	if diff := cmp.Diff(want, b.log); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

// A gap shorter than the hold-up is ridden through, and one with a short meanwhile is found when the
// driver is back. Without the driver there is neither voltage nor current.
func TestFeedWithFaults(t *testing.T) {
	n := build(t, plan{ring: true, devices: 3, run: 10}.loop())
	b := newBench(t, n)
	b.n.Feed(b.s, 0, false, 1, b)
	b.run(3 * time.Millisecond)
	if v, i := n.Voltage(b.s, 1), n.Current(b.s); v != 0 || i != 0 {
		t.Errorf("%d uV and %d uA from a driver that is off", v, i)
	}
	b.n.Feed(b.s, 3*time.Millisecond, true, 1, b)
	b.run(time.Second)
	if slices.ContainsFunc(b.log, func(line string) bool { return line[len(line)-len("over=true"):] == "over=true" }) || !n.Fed(b.s, 2) {
		t.Errorf("3 ms without a driver: %q", b.log)
	}
	b.n.Feed(b.s, time.Second, false, 1, b)
	b.run(2 * time.Second)
	short := b.at(Fault{Kind: Short}, 2)
	b.run(3 * time.Second)
	b.n.Feed(b.s, 3*time.Second, true, 1, b)
	b.run(5 * time.Second)
	if n.Fed(b.s, 0) || n.Fed(b.s, 2) {
		t.Errorf("a shorted ring without isolators works: %q", b.log)
	}
	b.n.Repair(b.s, 5*time.Second, short, 1, b)
	b.run(10 * time.Second)
	if !n.Fed(b.s, 0) || !n.Fed(b.s, 2) {
		t.Errorf("mended, and it does not work: %q", b.log)
	}
}
