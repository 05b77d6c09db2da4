package circuit

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// spiceCircuits is how many random circuits are compared, each at rest and active.
const spiceCircuits = 200

// needSpice returns the path of ngspice, the general-purpose circuit simulator (Debian package
// ngspice), or skips: in CI its absence is a failure.
func needSpice(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("ngspice")
	if err == nil {
		return path
	}
	if os.Getenv("LOOPDRILL_REQUIRE_REFERENCES") == "1" {
		t.Fatalf("ngspice is not there (%v), and LOOPDRILL_REQUIRE_REFERENCES=1: apt-get install ngspice", err)
	}
	t.Skip("skipped: ngspice is not there; apt-get install ngspice")
	return ""
}

// netlist writes a circuit down for ngspice: not from the ladder but from the circuit and its
// faults, so that laying the ladder is checked too. Each load is its characteristic in three
// pieces. Core a of level k is node ak, core b bk; e is the earth.
func netlist(c *Circuit, s *State, f feed, volts, sourceOhm float64) string {
	var b strings.Builder
	line := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	resistor := func(name, from, to string, ohm float64) {
		if !math.IsInf(ohm, 1) {
			line("R%s %s %s %.17g", name, from, to, ohm)
		}
	}
	last := 2 * len(c.runs)
	name := func(core string, level int) string {
		switch {
		case level > 0 && (level < last || !c.ring || sourceOhm > 0):
			return fmt.Sprintf("%s%d", core, level)
		case core == "b":
			return "0"
		case sourceOhm > 0:
			return "terminal"
		}
		return "source"
	}
	line("* an output circuit")
	line("Vsource source 0 DC %.17g", volts)
	if sourceOhm > 0 {
		resistor("source", "source", "terminal", sourceOhm)
	}
	for i, r := range c.runs {
		fault := s.runs[i]
		for k, core := range []string{"a", "b"} {
			start, middle, end := name(core, 2*i), name(core, 2*i+1), name(core, 2*i+2)
			first, second := switches(c, f, i)
			if k == 1 {
				first, second = 0, 0
			}
			resistor(fmt.Sprintf("%srun%d", core, i), start, middle, r.ohm/2+fault.series[k]+first)
			resistor(fmt.Sprintf("%srest%d", core, i), middle, end, r.ohm/2+second)
			resistor("insulation"+middle, middle, "0", 1e13) // what is cut off must not make the matrix singular
			resistor("insulation"+end, end, "0", 1e13)
			if fault.earth[k] > 0 {
				resistor("earth"+middle, middle, "e", 1/fault.earth[k])
			}
		}
		if fault.short > 0 {
			resistor(fmt.Sprintf("short%d", i), name("a", 2*i+1), name("b", 2*i+1), 1/fault.short)
		}
	}
	resistor("earth", "e", "0", 1e13)
	if sourceOhm > 0 {
		if s.resistor > 0 {
			resistor("endofline", name("a", last), name("b", last), 1/s.resistor)
		}
		if s.second > 0 {
			resistor("second", name("a", last), name("b", last), 1/s.second)
		}
	}
	for i := range c.loads {
		plus, minus := fmt.Sprintf("a%d", 2*i+2), fmt.Sprintf("b%d", 2*i+2)
		if s.reversed[i] {
			plus, minus = minus, plus
		}
		l := &c.loads[i]
		v, full := fmt.Sprintf("v(%s,%s)", plus, minus), fmt.Sprintf("%.17g", l.amps)
		if l.watts > 0 {
			full = fmt.Sprintf("%.17g/%s", l.watts, v)
		}
		line("Bload%d %s %s I = %s < %g ? 0 : (%s < %.17g ? %.17g*(%s-%g) : %s)", i, plus, minus, v, diodeV, v, l.knee, l.rise, v, diodeV, full)
	}
	line(".options reltol=1e-9 vntol=1e-12 abstol=1e-15 gmin=1e-18 itl1=500 itl2=500")
	line(".end")
	return b.String()
}

// switches is what isolators and the module's terminals put into the positive core of a run's first
// and second half: 0.1 ohm where an isolator is closed, no end of ohms where one is open. A load with
// an open isolator is on the side that is fed, on the first if both are.
func switches(c *Circuit, f feed, run int) (first, second float64) {
	open := math.Inf(1)
	fedFirst := func(section int) bool { return f.whole || section < f.first }
	fedBack := func(section int) bool { return f.whole || section >= c.sections-f.back }
	fromBack := func(run int) bool { // the isolator before a run is open, and its load hangs on this run
		section := c.runs[run].section
		return fedBack(section) && !fedBack(section-1) && (!fedFirst(section-1) || f.far)
	}
	section := c.runs[run].section
	if c.runs[run].isolator {
		first = 0.1
		if !fedFirst(section) && !fedBack(section-1) && !fromBack(run) {
			first = open
		}
	}
	if run == 0 && c.parts() && !fedFirst(0) {
		first = open
	}
	switch last := len(c.runs) - 1; {
	case run < last && c.runs[run+1].isolator && fromBack(run+1):
		second = open
	case run == last && c.parts() && !fedBack(section):
		second = open
	}
	return first, second
}

// spiceCase is one operating point that both find.
type spiceCase struct {
	name  string
	deck  string
	nodes []string
	volts []float64 // ours
}

// ours takes down the loads' and the terminals' voltages that the latest solve found.
func (b *bench) ours(name, deck string) spiceCase {
	k := spiceCase{name: name, deck: deck}
	for i := range b.c.loads {
		if b.w.cutOff(i, b.w.across(i)) {
			b.w.rungs[2*i+2].slope = 0 // it does not lend its voltage to what lies beyond
		}
	}
	live := b.w.live()
	for i := range b.c.loads {
		// Where a core is cut off the voltage is whatever the simulator's insulation makes it.
		if live[node(2*i+2, 0)] && live[node(2*i+2, 1)] {
			k.nodes = append(k.nodes, fmt.Sprintf("v(a%d)-v(b%d)", 2*i+2, 2*i+2))
			k.volts = append(k.volts, b.w.across(i))
		}
	}
	for level := 1; level < len(b.w.rungs)-1; level++ {
		for core, letter := range []string{"a", "b"} {
			if live[node(level, core)] {
				k.nodes = append(k.nodes, fmt.Sprintf("v(%s%d)", letter, level))
				k.volts = append(k.volts, b.w.rungs[level].volts[core])
			}
		}
	}
	return k
}

// Random output circuits with random faults against ngspice, at rest and active, with the diodes
// as the same straight pieces: every node within 1e-6 relative or 1 microvolt.
func TestSpice(t *testing.T) {
	spice := needSpice(t)
	random := rand.New(rand.NewPCG(2022, 72))
	n := dice(random.IntN)
	var cases []spiceCase
	isolators, parted, earthed := 0, 0, 0
	for i := range spiceCircuits {
		b := newBench(t, n.circuit(0.5))
		n.faults(b.s)
		b.rest()
		cases = append(cases, b.ours(fmt.Sprintf("circuit %d at rest", i), netlist(b.c, b.s, feed{whole: true}, -SupervisionV, SupervisionOhm)))
		volts := n.pick(16.5, 20.4, 24, 28)
		if o := b.active(volts); !o.Collapsed {
			if b.c.Isolators() > 0 {
				isolators++
			}
			if !b.w.feed.whole {
				parted++
			}
			if b.w.earths > 0 {
				earthed++
			}
			cases = append(cases, b.ours(fmt.Sprintf("circuit %d at %g V", i, volts), netlist(b.c, b.s, b.w.feed, volts, 0)))
		}
	}
	compared := 0
	for i, got := range runSpice(t, spice, cases) {
		for j, theirs := range got {
			compared++
			if d := math.Abs(theirs - cases[i].volts[j]); d > 1e-6 && d > 1e-6*math.Abs(theirs) {
				t.Errorf("%s: %s is %.9f V, by ngspice %.9f V\n%s", cases[i].name, cases[i].nodes[j], cases[i].volts[j], theirs, cases[i].deck)
				break
			}
		}
	}
	t.Logf("%d operating points, %d voltages compared; active with isolators %d, some of them open %d, with earths %d", len(cases), compared, isolators, parted, earthed)
	if len(cases) < 2*spiceCircuits*9/10 || min(isolators, parted, earthed) < 10 {
		t.Errorf("%d operating points are too few to compare, or too few with isolators (%d), with open ones (%d), with earths (%d)", len(cases), isolators, parted, earthed)
	}
}

// runSpice runs all decks in one process and returns the voltages of each case in its order.
func runSpice(t *testing.T, spice string, cases []spiceCase) [][]float64 {
	t.Helper()
	dir := t.TempDir()
	var script strings.Builder
	script.WriteString("* all of them\n.control\nset numdgt=16\n")
	for i, c := range cases {
		deck := filepath.Join(dir, fmt.Sprintf("case%d.cir", i))
		if err := os.WriteFile(deck, []byte(c.deck), 0o600); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&script, "source %s\nop\necho case %d\n", deck, i)
		for j, expression := range c.nodes {
			fmt.Fprintf(&script, "let value%d = %s\nprint value%d\n", j, expression, j)
		}
		script.WriteString("destroy all\nremcirc\n")
	}
	script.WriteString("quit\n.endc\n.end\n")
	main := filepath.Join(dir, "all.cir")
	if err := os.WriteFile(main, []byte(script.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), spice, "-b", main).Output() // stderr apart: lines would run into each other
	got := make([][]float64, len(cases))
	current := -1
	for text := range bytes.Lines(out) {
		words := strings.Fields(string(text))
		switch {
		case len(words) == 2 && words[0] == "case":
			current, _ = strconv.Atoi(words[1])
		case len(words) == 3 && strings.HasPrefix(words[0], "value") && words[1] == "=" && current >= 0:
			v, parse := strconv.ParseFloat(words[2], 64)
			if parse != nil {
				t.Fatalf("%s: %v", text, parse)
			}
			got[current] = append(got[current], v)
		}
	}
	for i := range cases {
		if len(got[i]) != len(cases[i].nodes) {
			t.Fatalf("%s: ngspice gave %d of %d voltages (%v)\n%s\n%s", cases[i].name, len(got[i]), len(cases[i].nodes), err, cases[i].deck, tail(out))
		}
	}
	return got
}

func tail(out []byte) []byte { return out[max(0, len(out)-2000):] }
