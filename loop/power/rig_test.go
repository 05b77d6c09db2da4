package power

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// rig runs supplies and writes down what they say, one line for each change, with the number of
// the event that it follows from: commands are numbered on in the same count.
//
//	30m0s psu-1 +mains-fault <1
type rig struct {
	p     *Power
	s     *State
	now   time.Duration
	event uint64
	lines []string
}

var kindWords = map[ChangeKind]string{FuseBlown: "fuse-blown", BatteryCarries: "on-battery", Discharged: "discharged",
	LowBattery: "low", Overload: "overload", OutputLost: "lost"}

func newRig(site *pb.Site, delays Delays) *rig {
	p, _ := Compile(site, delays)
	return &rig{p: p, s: p.NewState()}
}

func (r *rig) Note(c Change) uint64 {
	r.event++
	word := kindWords[c.Kind]
	if c.Kind == SignalChanged {
		word = SignalNames()[c.Signal]
	}
	sign := "-"
	if c.On {
		sign = "+"
	}
	r.lines = append(r.lines, fmt.Sprintf("%v %s %s%s <%d", r.now, r.p.ID(int(c.Supply)), sign, word, c.Parent))
	return r.event
}

// until takes everything due up to a time.
func (r *rig) until(t time.Duration) {
	for {
		next, ok := r.p.Next(r.s)
		if !ok || next > t {
			break
		}
		r.now = next
		r.p.Advance(r.s, next, r)
	}
	r.now = t
}

var conditionWords = map[string]Condition{"mains": MainsFailed, "supply": SupplyFailed, "fuse": FuseOpen, "charger": ChargerFailed, "battery": BatteryOut}

// play runs commands such as `5m psu-1 mains fails`, `1h psu-1 mains back`, `2h psu-1 load 1500`
// (milliamperes), separated by semicolons, and then goes on for 100 h.
func (r *rig) play(t *testing.T, script string) string {
	t.Helper()
	for command := range strings.SplitSeq(script, ";") {
		words := strings.Fields(command)
		at, err := time.ParseDuration(words[0])
		if err != nil {
			t.Fatal(err)
		}
		r.until(at)
		r.event++
		i, ok := r.p.Lookup(words[1])
		if !ok {
			t.Fatalf("no supply %q", words[1])
		}
		if words[2] == "load" {
			milli, _ := strconv.ParseInt(words[3], 10, 64)
			r.p.SetLoad(r.s, r.now, i, 1000*milli, r.event, r)
			continue
		}
		c, ok := conditionWords[words[2]]
		if !ok {
			t.Fatalf("no condition %q", words[2])
		}
		r.p.Set(r.s, r.now, i, c, words[3] == "fails", r.event, r)
	}
	r.until(100 * time.Hour)
	return strings.Join(r.lines, "\n")
}

// oneSupply is one external supply of 24 V; the panel's own has no battery.
func oneSupply(batteryAh, limitA, fuseA, standbyMA float64) *pb.Site {
	return &pb.Site{Rules: &pb.Rules{Packs: []string{"en54"}}, Supplies: []*pb.Supply{{
		Supply: "psu-1", VoltageV: new(24.0), BatteryAh: &batteryAh, CurrentLimitA: &limitA, FuseA: &fuseA, StandbyMa: &standbyMA}}}
}

// rulesOf are the rules of one pack, of an edition of nfpa72, with limits of the file.
func rulesOf(pack string, edition uint32, limits ...*pb.Limit) *rule.Set {
	r := &pb.Rules{Limits: limits}
	if pack != "" {
		r.Packs = []string{pack}
	}
	if edition > 0 {
		r.Edition = &edition
	}
	return rule.Of(r)
}

func delaysOf(pack string) Delays { return PackDelays(rulesOf(pack, 0)) }
