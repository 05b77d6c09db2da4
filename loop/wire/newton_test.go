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

// A sounder of constant power beside a constant standby current i, behind a resistance R: V^2 - (E - R i) V + R P = 0, the
// higher root. One of the current that the power draws at the driver's voltage is left with E - R (i + P / E),
// which is more: the current of the first rises as its voltage falls (Ohm's law). The current in alarm is
// stated at the driver's voltage, the same for both.
func TestSounderOfConstantPower(t *testing.T) {
	const volts, ohm, watts, standby, terminals = 28.0, 150.0, 1.0, 0.0003, 2e-4
	lowest := func(sounder *pb.LoopSounder) float64 {
		n := build(t, &pb.Loop{
			Loop: proto.Uint32(1), Wiring: "branch", Driver: &pb.Driver{VoltageV: proto.Float64(volts)}, Cable: &pb.Cable{OhmPerKm: proto.Float64((ohm - terminals) / 2)},
			Devices: []*pb.Device{{Address: proto.Uint32(1), Label: "S", CableM: proto.Float64(1000), Kind: &pb.Device_LoopSounder{LoopSounder: sounder}}},
		})
		f := n.Figures()
		near(t, "the current in alarm", float64(f.AlarmMicroAmp)/1e6, standby+watts/volts, 1e-6)
		b := newBench(t, n)
		n.SetLoads(b.s, 0, 0, false, true, 1, b)
		near(t, "with the sounder on", float64(n.Voltage(b.s, 0))/1e6, float64(f.OneEndAlarm.MicroVolt)/1e6, 1e-6)
		near(t, "the current drawn", float64(n.Drawn(b.s))/1e6, float64(n.Current(b.s))/1e6, 1e-9)
		return float64(f.OneEndAlarm.MicroVolt) / 1e6
	}
	power := lowest(&pb.LoopSounder{PowerW: proto.Float64(watts)})
	half := (volts - ohm*standby) / 2
	near(t, "of constant power", power, half+math.Sqrt(half*half-ohm*watts), 2e-6)
	current := lowest(&pb.LoopSounder{CurrentMa: proto.Float64(watts / volts * 1000)})
	near(t, "of constant current", current, volts-ohm*(standby+watts/volts), 2e-6)
	if !(power < current-0.5) {
		t.Errorf("the sounder of constant power is left with %g V, that of constant current with %g V", power, current)
	}
}

// Along a ring of sounders the same holds of every one, and the more the further it is from the driver.
func TestRingOfConstantPower(t *testing.T) {
	voltages := func(sounder *pb.LoopSounder) (volts []int64) {
		l := plan{ring: true, devices: 40, run: 20, mm2: 0.75}.loop()
		for _, d := range l.GetDevices() {
			d.Kind = &pb.Device_LoopSounder{LoopSounder: sounder}
		}
		b := newBench(t, build(t, l))
		for e := range int32(40) {
			b.n.SetLoads(b.s, 0, e, false, true, 1, b)
		}
		conserved(t, b.s)
		for e := range int32(40) {
			volts = append(volts, b.n.Voltage(b.s, e))
		}
		return volts
	}
	power, current := voltages(&pb.LoopSounder{PowerW: new(0.14)}), voltages(&pb.LoopSounder{CurrentMa: new(5.0)}) // 0.14 W at 28 V
	before := int64(0)
	for e := range power {
		if less := current[e] - power[e]; less <= before {
			t.Errorf("device %d: %d microvolts of constant power, %d of constant current", e+1, power[e], current[e])
		} else {
			before = less
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
