package wire

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// The O(n) solver against dense elimination (gonum) of naively made circuits: every terminal of every
// entry within 1e-6 relative or 1 microvolt; who is joined to the driver, exactly.
func TestDense(t *testing.T) {
	networks := 10_000
	if testing.Short() {
		networks = 500
	}
	regimes := map[string]int{}
	for seed := range uint64(networks) {
		r := rand.New(rand.NewPCG(seed, 7))
		most := 14
		if seed%100 == 0 {
			most = 50
		}
		n := build(t, randomLoop(r, most))
		s := randomState(r, n)
		conserved(t, s)
		w := &s.work
		c := naive(n, s)
		volts := c.dense(n, &w.driver)
		worst, checked := compare(t, n, s, c, volts)
		switch {
		case t.Failed():
			t.Fatalf("seed %d: worst difference %g V; faults %+v, driver %+v", seed, worst, s.faults, w.driver)
		case w.driver.collapsed && w.driver.volts == 0:
			regimes["collapsed"]++
		case w.driver.collapsed:
			regimes["folded back"]++
		case micro(w.driver.amps) == micro(n.limit):
			regimes["limited"]++
		case w.earths > 1:
			regimes["several earths"]++
		case s.far:
			regimes["both ends"]++
		default:
			regimes["one end"]++
		}
		if checked == 0 {
			regimes["nothing joined"]++
		}
	}
	t.Log(regimes)
	for _, must := range []string{"folded back", "limited", "several earths", "both ends", "one end"} {
		if regimes[must] < networks/500 {
			t.Errorf("only %d of %d networks are %s: the test is not what it says", regimes[must], networks, must)
		}
	}
}

// compare checks the solver's terminal voltages against others, by node name.
func compare(t *testing.T, n *Network, s *State, c *circuit, volts map[string]float64) (worst float64, checked int) {
	t.Helper()
	w := &s.work
	reached := c.reach()
	check := func(name string, got float64) {
		want, ok := volts[name]
		if !ok {
			return
		}
		checked++
		d := math.Abs(got - want)
		worst = max(worst, d)
		if !(d <= max(1e-6, 1e-6*math.Abs(want))) {
			t.Errorf("node %s is at %.9g V, reference %.9g V", name, got, want)
		}
	}
	for e := range n.entries {
		for k, name := range []string{fmt.Sprintf("e%d", e), c.beyond[int32(e)]} {
			at := w.near[e]
			if k == 1 {
				at = w.beyond[e]
			}
			check("p"+name, w.v[at].p)
			check("n"+name, w.v[at].n)
			if want := reached["p"+name] && reached["n"+name]; w.nodes[at].joined() != want {
				t.Errorf("node %s is joined: %v, naively %v", name, !want, want)
			}
		}
	}
	return worst, checked
}

// dense solves the circuit by LU decomposition. The driver's regime is the solver's own word; that
// its voltage and current agree with it is checked here.
func (c *circuit) dense(n *Network, d *driver) map[string]float64 {
	ground := c.root("0")
	source := c.root("d")
	index := map[string]int{"d": 0}
	for _, x := range c.elements {
		for _, name := range []string{x.a, x.b} {
			if at := c.root(name); name != "0" && (at == ground || at == source) {
				if _, ok := index[name]; !ok {
					index[name] = len(index)
				}
			}
		}
	}
	a, b := mat.NewDense(len(index), len(index), nil), mat.NewVecDense(len(index), nil)
	stamp := func(i, j string, g float64) {
		ii, iok := index[i]
		jj, jok := index[j]
		if iok {
			a.Set(ii, ii, a.At(ii, ii)+g)
		}
		if jok {
			a.Set(jj, jj, a.At(jj, jj)+g)
		}
		if iok && jok {
			a.Set(ii, jj, a.At(ii, jj)-g)
			a.Set(jj, ii, a.At(jj, ii)-g)
		}
	}
	for _, x := range c.elements {
		stamp(x.a, x.b, x.siemens)
	}
	for _, x := range c.sources {
		if i, ok := index[x.a]; ok {
			b.SetVec(i, b.AtVec(i)-x.amps)
		}
		if i, ok := index[x.b]; ok {
			b.SetVec(i, b.AtVec(i)+x.amps)
		}
	}
	// the driver: behind its resistance, or giving a current, or nothing
	switch limited := micro(d.amps) == micro(n.limit); {
	case d.collapsed && d.volts == 0:
		a.Set(0, 0, a.At(0, 0)+1e6)
	case d.collapsed, limited:
		b.SetVec(0, b.AtVec(0)+d.amps)
	default:
		g := 1 / max(n.source, 1e-7)
		a.Set(0, 0, a.At(0, 0)+g)
		b.SetVec(0, b.AtVec(0)+g*n.volts)
	}
	var x mat.VecDense
	if err := x.SolveVec(a, b); err != nil {
		if _, ill := errors.AsType[mat.Condition](err); !ill {
			panic(err)
		}
	}
	volts := map[string]float64{}
	for name, i := range index { // order does not show: each entry is set once
		volts[name] = x.AtVec(i)
	}
	return volts
}
