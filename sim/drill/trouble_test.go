package drill

import "loopdrill.dev/loopdrill/loop"

// trouble is one thing that goes wrong between the panel and what an output drives. What then happens
// to a held or locked door is what the categories of BS 7273-4 tell apart: A asks that it be let go on
// virtually any of these, B on some, C on none but the alarm (from public pages, not the standard).
type trouble uint8

const (
	brokenWire  trouble = iota + 1 // a wire between the output and what it drives is broken
	shortedWire                    // the two wires touch
	feedLost                       // the output's module loses its loop; one on the panel, the panel's power
	panelStops                     // processor or power of the panel
	supplyLost                     // the supply of the module's circuit gives nothing
	troubles    = supplyLost
)

func (t trouble) String() string {
	return [...]string{"", "broken wire", "shorted wire", "loss of the loop or of power", "stop of the panel", "loss of the supply"}[t]
}

// operatesOn works out from the file alone whether a trouble operates by itself the input of equipment
// that an output at rest drives: lets a door go. After shortedWire a contact's input can no longer be
// operated, or no longer be brought to rest. A control module's supply is not that of a contact, which
// has none: there supplyLost changes nothing.
func operatesOn(in *loop.Installation, output int32, t trouble) bool {
	o := &in.Outputs[output]
	conducts := o.Closed(false)
	switch t {
	case brokenWire:
		conducts = false
	case shortedWire:
		conducts = o.Contact // a shorted circuit feeds nothing behind the short
	case feedLost, panelStops:
		if o.Contact {
			conducts = o.Closed(o.OnLoss == loop.Operates)
		}
	}
	return conducts != in.Plant.DeEnergise(int(o.Equipment), int(o.Input))
}
