package loop

// Trouble is one thing that goes wrong between the panel and what an output drives. What then happens
// to a held or locked door is what the categories of BS 7273-4 tell apart: A asks that it be let go on
// virtually any of these, B on some, C on none but the alarm (from public pages, not the standard).
type Trouble uint8

// Troubles.
const (
	WireOpen     Trouble = iota + 1 // a wire between the output and what it drives is broken
	WireShort                       // the two wires touch
	FeedLost                        // the output's module loses its loop; one on the panel, the panel's power
	PanelStops                      // processor or power of the panel
	SupplyLost                      // the supply of the module's circuit gives nothing
	lastTrouble  = SupplyLost
	firstTrouble = WireOpen
)

// Troubles lists them all.
func Troubles() []Trouble {
	var list []Trouble
	for t := firstTrouble; t <= lastTrouble; t++ {
		list = append(list, t)
	}
	return list
}

// String says what has gone wrong.
func (t Trouble) String() string {
	return [...]string{"", "broken wire", "shorted wire", "loss of the loop or of power", "stop of the panel", "loss of the supply"}[t]
}

// OperatesOn reports whether a trouble operates by itself the input of equipment that an output at rest
// drives, whatever else drives it: lets a door go, recalls a lift. After WireShort a contact's input can
// no longer be operated, or no longer be brought to rest. A control module's supply is not that of a
// contact, which has none: there SupplyLost changes nothing.
func (in *Installation) OperatesOn(output int32, t Trouble) bool {
	o := &in.Outputs[output]
	if o.Equipment < 0 {
		return false
	}
	conducts := o.Closed(false)
	switch t {
	case WireOpen:
		conducts = false
	case WireShort:
		conducts = o.Contact // a shorted circuit feeds nothing behind the short
	case FeedLost, PanelStops:
		if o.Contact {
			conducts = o.Closed(o.OnLoss == Operates)
		}
	}
	return conducts != in.Plant.DeEnergise(int(o.Equipment), int(o.Input))
}
