package wire

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// spice runs a netlist in one batch process; without ngspice (Debian package ngspice) the test
// skips, or fails if references are required.
func spice(t testing.TB, netlist []byte) []byte {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if os.Getenv("LOOPDRILL_REQUIRE_REFERENCES") == "1" {
			t.Fatal("ngspice is required as a reference and is not installed: apt-get install ngspice")
		}
		t.Skip("ngspice is not installed, nothing was compared: apt-get install ngspice")
	}
	file := filepath.Join(t.TempDir(), "loops.cir")
	if err := os.WriteFile(file, netlist, 0o600); err != nil {
		t.Fatal(err)
	}
	run := exec.Command(program, "-b", "-n", file)
	var stderr bytes.Buffer
	run.Stderr = &stderr
	out, err := run.Output()
	if err != nil {
		t.Fatalf("ngspice: %v\n%s\n%s", err, stderr.Bytes(), out)
	}
	return out
}

// tight are the tolerances under which ngspice is compared.
const tight = ".options reltol=1e-9 vntol=1e-12 abstol=1e-15 gmin=1e-18\n"

// netlist writes a circuit; every node but ground carries the prefix. Conductances are written as
// voltage-controlled currents, since ngspice takes no resistor below a milliohm.
func (c *circuit) netlist(out *bytes.Buffer, prefix string, n *Network, d *driver) {
	ground, top := c.root("0"), c.root("d")
	name := func(node string) string {
		if node == "0" {
			return "0"
		}
		return prefix + node
	}
	for i, x := range c.elements {
		if at := c.root(x.a); at == ground || at == top {
			fmt.Fprintf(out, "G%sg%d %s %s %s %s %.17g\n", prefix, i, name(x.a), name(x.b), name(x.a), name(x.b), x.siemens)
		}
	}
	for i, x := range c.sources {
		if x.watts > 0 {
			fmt.Fprintf(out, "B%sb%d %s %s I=%.17g/max(v(%s,%s),1)\n", prefix, i, name(x.a), name(x.b), x.watts, name(x.a), name(x.b))
			fmt.Fprintf(out, ".nodeset v(%s)=%g\n", name(x.a), n.volts)
		} else {
			fmt.Fprintf(out, "I%si%d %s %s %.17g\n", prefix, i, name(x.a), name(x.b), x.amps)
		}
	}
	switch {
	case d.collapsed, micro(d.amps) == micro(n.limit):
		fmt.Fprintf(out, "I%sd 0 %s %.17g\n", prefix, name("d"), d.amps)
	case n.source == 0:
		fmt.Fprintf(out, "V%sd %s 0 %.17g\n", prefix, name("d"), n.volts)
	default:
		fmt.Fprintf(out, "V%sd %ss 0 %.17g\nR%sd %ss %s %.17g\n", prefix, prefix, n.volts, prefix, prefix, name("d"), n.source)
	}
}

// The solver against ngspice on random networks: rings, branches, spurs, faults, open isolators, the
// driver in every regime, constant current and constant power. Every terminal within 1e-6 relative
// or 1 microvolt.
func TestSpice(t *testing.T) {
	const networks = 400
	out := bytes.NewBufferString("loops\n")
	type one struct {
		seed uint64
		n    *Network
		s    *State
		c    *circuit
	}
	var all []one
	power, mixed := 0, 0
	for seed := uint64(1_000_000); len(all) < networks; seed++ {
		r := rand.New(rand.NewPCG(seed, 7))
		l := randomLoop(r, 20)
		some := r.IntN(3) == 0
		for _, d := range l.GetDevices() {
			if d.GetKind() != nil && some && r.IntN(2) == 0 { // up to 10 mA at the driver's voltage
				d.Kind = &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{PowerW: new((0.001 + 0.009*r.Float64()) * l.GetDriver().GetVoltageV())}}
			}
		}
		n := build(t, l)
		if !some && r.IntN(2) == 0 {
			n = n.ConstantPower()
		}
		s := randomState(r, n)
		conserved(t, s)
		if s.work.driver.collapsed && s.work.driver.volts == 0 {
			continue // no solution: nothing to compare
		}
		if n.power && !s.work.driver.collapsed {
			power++
			if !n.all && slices.ContainsFunc(s.dev, func(d devState) bool { return d.sounder }) {
				mixed++
			}
		}
		c := naive(n, s)
		c.netlist(out, fmt.Sprintf("k%dx", len(all)), n, &s.work.driver)
		all = append(all, one{seed, n, s, c})
	}
	out.WriteString(tight + ".control\nset numdgts=15\nop\nprint all\nquit\n.endc\n.end\n")
	volts := make([]map[string]float64, networks)
	for i := range volts {
		volts[i] = map[string]float64{}
	}
	lines := bufio.NewScanner(bytes.NewReader(spice(t, out.Bytes())))
	for lines.Scan() {
		name, value, ok := strings.Cut(lines.Text(), " = ")
		number, node, node2 := strings.Cut(strings.TrimPrefix(name, "k"), "x")
		i, err := strconv.Atoi(number)
		v, err2 := strconv.ParseFloat(strings.TrimSpace(value), 64)
		if ok && node2 && err == nil && err2 == nil && i < networks {
			volts[i][node] = v
		}
	}
	total := 0
	for i, x := range all {
		worst, checked := compare(t, x.n, x.s, x.c, volts[i])
		if t.Failed() {
			t.Fatalf("seed %d: worst difference %g V; faults %+v, driver %+v, constant power %v", x.seed, worst, x.s.faults, x.s.work.driver, x.n.power)
		}
		total += checked
	}
	t.Logf("%d networks (%d of constant power, %d of them beside constant current), %d voltages", networks, power, mixed, total)
	if total < 20*networks/2 || power < 80 || mixed < 40 {
		t.Errorf("%d voltages of %d networks were compared: ngspice's output was not understood", total, networks)
	}
}
