package term

// exchange is the world of the tests: an invented market exchange with two loops.
func exchange() *World {
	w := &World{
		Zones: []string{"hall", "lobby", "spare"}, Places: []string{"hall", "lobby"}, Groups: []string{"recall"},
		Supplies: []string{"psu-1"}, Causes: []string{"hall-fire", "any-fire"}, Controls: []string{"fan-override"}, Overrides: []string{"fan"},
		Loads: []string{"HALL-S1"}, Loops: []uint32{1, 3},
		Equipment: []Equipment{{ID: "hall-fan", States: []string{"stopped", "running"}}},
		PointRefs: map[string]int{}, OutputRefs: map[string]int{},
		Points: []Point{
			{Label: "HALL-SD-1", Address: "1/1", Zone: 0, Place: 0, Input: Fire, Detector: true, Prealarm: true, Groups: []int{0}},
			{Label: "HALL-SD-2", Address: "1/2", Zone: 0, Place: 0, Input: Fire, Detector: true},
			{Label: "HALL-CP", Address: "1/3", Zone: 0, Place: 0, Input: CallPoint},
			{Label: "LOBBY-SD", Address: "1/4", Zone: 1, Place: 1, Input: Fire, Detector: true},
			{Label: "LOBBY-FLOW", Address: "1/5", Zone: 1, Place: 1, Input: Waterflow, Groups: []int{0}},
			{Label: "VALVE", Address: "1/6", Zone: 1, Place: -1, Input: Supervisory},
			{Label: "FAN-FLOW", Address: "1/7", Zone: -1, Place: -1, Input: Technical},
			{Label: "HALL-SOUNDERS", Address: "3/1", Loop: 1, Zone: 0, Place: 0},
			{Label: "FAN-RUN", Address: "3/2", Loop: 1, Zone: -1, Place: -1},
		},
		Outputs: []Output{{Label: "HALL-SOUNDERS", Address: "3/1", Sounder: true}, {Label: "FAN-RUN", Address: "3/2"}, {Label: "PANEL-FIRE"}},
	}
	for i, p := range w.Points {
		w.PointRefs[p.Label], w.PointRefs[p.Address] = i, i
	}
	for i, o := range w.Outputs {
		w.OutputRefs[o.Label] = i
		if o.Address != "" {
			w.OutputRefs[o.Address] = i
		}
	}
	return w
}
