package wire

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// The steps that constant power takes do not grow with the number of devices: the same problem, divided
// more finely, takes the same number.
func TestStepsCounted(t *testing.T) {
	steps := uint64(0)
	for _, devices := range []int{100, 1000, 10_000} {
		n := benchLoop(t, devices).ConstantPower()
		s := n.NewState()
		n.refresh(s)
		conserved(t, s)
		before := s.Solves()
		n.solve(s)
		got := s.Solves() - before
		if steps == 0 {
			steps = got
		}
		if got != steps || got > 5 || s.work.driver.collapsed {
			t.Errorf("%d devices: %d steps, and %d with the fewest; driver %+v", devices, got, steps, s.work.driver)
		}
		if v := s.work.across(s.work.at[devices-1]); v < 22_500_000 || v > 23_500_000 {
			t.Errorf("%d devices: %d microvolts are left at the end", devices, v)
		}
	}
}

// One device of constant power behind a resistance R: V = E/2 + sqrt(E^2/4 - R P), the higher root of
// V^2 - E V + R P = 0. Close to the greatest power that can be had, E^2 / 4R, plain substitution would take
// thousands of steps; above it there is no voltage, and the device is left without. Within 1e-6
// relative, as ngspice is compared, but for what 1 pW in the balance of powers does to a double root.
func TestGreatestPower(t *testing.T) {
	const volts, ohm = 28.0, 200.0
	l := &pb.Loop{
		Loop: proto.Uint32(1), Wiring: "branch", Driver: &pb.Driver{VoltageV: proto.Float64(volts), CurrentLimitMa: proto.Float64(1000)},
		Cable:   &pb.Cable{OhmPerKm: proto.Float64(ohm/2 - 1e-4)}, // and the panel's terminals
		Devices: []*pb.Device{{Address: proto.Uint32(1), Label: "D", CableM: proto.Float64(1000), Kind: &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{}}}},
	}
	greatest := volts * volts / 4 / ohm
	for _, share := range []float64{0.01, 0.5, 0.9, 0.999, 1 - 1e-6} {
		n := build(t, l).ConstantPower()
		n.entries[0].standby = share * greatest / volts
		s := &State{next: never, iso: make([]isoState, len(n.iso)), dev: make([]devState, 1)}
		s.iso[farEnd].open = true
		n.assemble(s)
		n.solveNow(s)
		conserved(t, s)
		want := volts/2 + math.Sqrt(volts*volts/4-share*volts*volts/4)
		got := float64(s.work.voltage(0)) / 1e6
		if math.Abs(got-want) > 1e-6*want+1e-6 || s.Solves() > 14 {
			t.Errorf("%g of the greatest power: %.6f V after %d steps, want %.6f V", share, got, s.Solves(), want)
		}
	}
	for _, share := range []float64{1 + 1e-3, 1.5} {
		n := build(t, l).ConstantPower()
		n.entries[0].standby = share * greatest / volts
		if s := n.NewState(); n.Voltage(s, 0) != 0 || n.Current(s) != 0 {
			t.Errorf("%g of the greatest power: %d microvolts", share, n.Voltage(s, 0))
		}
	}
}
