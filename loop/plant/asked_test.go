package plant

import (
	"strings"
	"testing"
)

// A proof is asked for while an input that asks for its action is driven, and none that asks for the
// opposite: stop goes before start and close before open (the plant's own rule), hold-off before
// release (a government guide specification for carbon dioxide), and what has no power proves nothing:
// an undervoltage trip opens with its own supply, any other stays as it is (common practice).
func TestAsked(t *testing.T) {
	p := newRig(t, append(oneOfEach(), aTrip("lift-power", "lift"), aTrip("upper", "lift-power"))...).p
	for _, c := range []struct{ signal, driven string }{
		{"fan/running", "fan/start"}, {"fan/running", "-fan/start fan/stop"}, {"fan/running", "-"}, {"fan/tripped", "-fan/start"},
		{"supply-fan/running", "supply-fan/stop"}, {"supply-fan/running", "-supply-fan/start"},
		{"damper/opened", "damper/open"}, {"damper/opened", "-damper/open damper/close"}, {"damper/closed", "damper/open damper/close"}, {"damper/closed", "-damper/open"},
		{"lift/at-floor", "lift/recall"}, {"lift/at-floor", "lift/alternate"}, {"lift/in-recall", "-lift/hat-steady"}, {"lift/at-floor", "-lift/recall lift/power-off"},
		{"lift/at-floor", "-lift/recall lift-power/trip"}, {"gas/released", "gas/release"}, {"gas/released", "-gas/release gas/hold-off"}, {"gas/low-pressure", "-gas/release"},
		{"voice/speaking", "voice/message-alert"}, {"dialler/acknowledged", "dialler/fault"}, {"siren/running", "siren/run"}, {"siren/running", "-siren/run main/trip"},
		{"siren/running", "-siren/run trip/trip"}, {"lift/at-floor", "lift/recall upper/trip"},
		{"lock/locked", "lock/hold"}, {"door/closed", "-lock/hold"},
	} {
		want := !strings.HasPrefix(c.driven, "-")
		driven := strings.Fields(strings.TrimPrefix(c.driven, "-"))
		id, name, _ := strings.Cut(c.signal, "/")
		e, _ := p.Lookup(id)
		k, ok := p.SignalIndex(e, name)
		if !ok {
			t.Fatalf("no signal %s", c.signal)
		}
		got := p.Asked(e, k, func(e, in int) bool {
			for _, d := range driven {
				if d == p.ID(e)+"/"+p.InputName(e, in) {
					return true
				}
			}
			return false
		})
		if got != want {
			t.Errorf("%s asked for with %v: %v", c.signal, driven, got)
		}
	}
}
