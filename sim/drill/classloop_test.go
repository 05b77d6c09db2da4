package drill

import (
	"fmt"
	"slices"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// classRow is one row of the class table of loops: what is put into the cable before device k, and what
// the panel must show of it beside the devices it misses.
type classRow struct {
	fault  string
	faults func(k, runs int) []*pb.Step
	hurts  func(k, runs int) hurt
	ring   bool // a ring is found broken
	earth  bool // an earth is found
	moves  bool // isolators move, where there are any
}

// hurt is a fault as the table's rule sees it: runs of cable and devices by number, 0 for none.
type hurt struct{ open, short, reversed int }

// elsewhere is another run, near and far, on either side.
func elsewhere(k, runs int) int { return 1 + (k*5)%runs }

func classRows() []classRow {
	return []classRow{
		{
			fault: "open", ring: true,
			faults: func(k, _ int) []*pb.Step { return []*pb.Step{open(k)} },
			hurts:  func(k, _ int) hurt { return hurt{open: k} },
		},
		{
			fault: "single ground", earth: true,
			faults: func(k, _ int) []*pb.Step { return []*pb.Step{ground(k, []string{"positive", "negative"}[k%2])} },
			hurts:  func(int, int) hurt { return hurt{} },
		},
		{
			fault: "short", ring: true, moves: true,
			faults: func(k, _ int) []*pb.Step { return []*pb.Step{short(k)} },
			hurts:  func(k, _ int) hurt { return hurt{short: k} },
		},
		{
			fault: "open, and a short elsewhere", ring: true,
			faults: func(k, runs int) []*pb.Step {
				if elsewhere(k, runs) == k {
					return nil
				}
				return []*pb.Step{open(k), short(elsewhere(k, runs))}
			},
			hurts: func(k, runs int) hurt { return hurt{open: k, short: elsewhere(k, runs)} },
		},
		{
			fault: "reversed device", ring: true, moves: true,
			faults: func(k, _ int) []*pb.Step {
				if k > dozenDevices {
					return nil
				}
				return []*pb.Step{reversed(k)}
			},
			hurts: func(k, _ int) hurt { return hurt{reversed: k} },
		},
	}
}

func reversed(k int) *pb.Step {
	return &pb.Step{Kind: &pb.Step_Reversed{Reversed: &pb.ReversedStep{Subject: &pb.ReversedStep_Device{Device: device(k)}}}}
}

// The class table of NFPA 72 chapter 12 for a signalling line circuit, row by row and column by column,
// at every place of the cable (rows of opens and shorts: ecmag.com, quiz on circuits and pathways;
// open-exam-prep.com; securityinfowatch.com on pathways; that isolators do not clear a ground:
// securitysales.com on ground faults; the reversed device: douglaskrantz.com,
// QFWhatHappensIfSmokeDetIsMiswired). Columns: class B, also with isolators; class A, a ring without
// isolators; class X, with isolators of their own or in devices.
func TestClassTableOfLoops(t *testing.T) {
	t.Parallel()
	drills := 0
	for _, z := range []dozen{{}, {gaps: true}, {ring: true}, {ring: true, gaps: true}, {ring: true, builtIn: true}} {
		runs := dozenDevices
		if z.ring {
			runs++
		}
		for _, row := range classRows() {
			for k := 1; k <= runs; k++ {
				faults := row.faults(k, runs)
				if faults == nil {
					continue
				}
				what := fmt.Sprintf("%s, before or at %d", row.fault, k)
				b := z.suffer(t, what, z.lost(row.hurts(k, runs)), faults...)
				row.read(b, z, what)
				drills++
			}
		}
	}
	t.Logf("%d drills", drills)
}

// read checks what the panel has shown of it, and what the isolators have done.
func (row classRow) read(b *bench, z dozen, what string) {
	b.Helper()
	if _, broken := b.since(0, RingBroken, 1, ""); broken != (row.ring && z.ring) {
		b.Errorf("%v: %s: the ring is found broken: %v", z, what, broken)
	}
	if _, seen := b.since(0, EarthSeen, 1, ""); seen != row.earth {
		b.Errorf("%v: %s: an earth is found: %v", z, what, seen)
	}
	isolators := z.gaps || z.builtIn
	if moves := b.isolatorMoves(); row.moves && isolators && len(moves) == 0 || row.earth && len(moves) > 0 {
		b.Errorf("%v: %s: isolators: %v", z, what, moves)
	}
}

// lost is the table's own rule, by reachability: from each end that the panel drives, along the
// cable, up to the open and up to the section of the short, which ends at an open as it does at an
// isolator. A reversed device shorts the section that it hangs on; one with an isolator in it hangs on
// two. The table's word for a ring without isolators under an open and a short, 'whole loop lost',
// is that of a panel whose two terminals are one section; here they part from a short as isolators
// would (rule H2), and what lies before the open is kept.
func (z dozen) lost(h hurt) []string {
	boundary := func(k int) bool { return (z.gaps || z.builtIn) && (k == 3 || k == 6 || k == 9) }
	section := func(run int) (s int) { // of the end of a run
		for b := 1; b < run; b++ {
			if boundary(b) {
				s++
			}
		}
		if h.open > 0 && h.open <= run {
			s += 100
		}
		return s
	}
	inside := func(k int) bool { return z.builtIn && boundary(k) }
	dead := map[int]bool{}
	if h.short > 0 {
		dead[section(h.short)] = true
	}
	if k := h.reversed; k > 0 {
		dead[section(k)] = true
		if inside(k) {
			dead[section(k+1)] = true
		}
	}
	fed := map[int]bool{}
	for k := 1; k <= dozenDevices && k != h.open && !dead[section(k)]; k++ {
		fed[k] = true
	}
	for k := dozenDevices; z.ring && k >= 1 && k+1 != h.open && !dead[section(k+1)] && (inside(k) || !dead[section(k)]); k-- {
		fed[k] = true
	}
	var labels []string
	for k := 1; k <= dozenDevices; k++ {
		if !fed[k] {
			labels = append(labels, device(k))
		}
	}
	return labels
}

// Several faults on one device stand each for itself, a device that is taken out no longer shorts the
// line, and what is put right is in service again (rule H2; common practice: the device that shorts a
// line is found by taking devices out).
func TestReversedDevice(t *testing.T) {
	t.Parallel()
	z := dozen{ring: true, gaps: true}
	b := newBench(t, z.site())
	turn := func(at time.Duration, step string) {
		s := reversed(5)
		s.Step = step
		b.do(at, s)
	}
	turn(10*time.Second, "one")
	turn(20*time.Second, "two")
	b.do(5*time.Minute, &pb.Step{Step: "out", Kind: &pb.Step_Remove{Remove: &pb.PointStep{Device: device(5)}}})
	b.repair(10*time.Minute, "out")
	b.repair(15*time.Minute, "two")
	b.repair(20*time.Minute, "one")
	b.run(5*time.Minute - 1)
	b.wantLost("reversed twice", devices(4, 6))
	b.run(10*time.Minute - 1)
	b.wantLost("taken out", devices(5, 5))
	b.run(15*time.Minute - 1)
	b.wantLost("put back", devices(4, 6))
	b.run(20*time.Minute - 1)
	b.wantLost("once put right", devices(4, 6))
	b.want("loop(1).fault && !device('D5').fed && device('D7').fed")
	b.run(25 * time.Minute)
	b.wantLost("put right", nil)
	b.want("!panel.fault")
	if got := b.chain(RingBroken, 1); !slices.Equal(got, []string{"fault-injected", "loop-collapsed", "isolator", "ring-broken"}) {
		t.Errorf("the chain of the trouble is %v", got)
	}
	rooted(t, b.Drill)
}
