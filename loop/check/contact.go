package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// contact is one volt-free contact that drives equipment.
type contact struct {
	output     int
	path       string // of the contact in the file
	lossKey    string // of what it does when its module or the panel loses power
	rating     circuit.Rating
	onLoss     string // as written; empty: rests
	what       string // the driven input, for people
	eq         *pb.Equipment
	equipment  int
	input      int
	deEnergise bool
}

// contacts judges every contact with what hangs on it.
func (j *judge) contacts() {
	var list []contact
	for i := range j.in.Outputs {
		if o := &j.in.Outputs[i]; o.Contact && o.Equipment >= 0 {
			list = append(list, j.contact(i))
		}
	}
	for i := range list {
		c := &list[i]
		for _, f := range circuit.CheckContact(c.path, c.what, c.rating, circuit.LoadOf(c.eq)) {
			clause := commonPractice
			if f.GetCode() == "contact.drives-contactor" {
				clause = j.rules.Clause(rule.RelayForUse)
			}
			j.add(f, clause)
		}
		j.failSafe(list, c)
		j.shorted(list, c)
		j.proven(c)
	}
	j.doors()
	j.lifts()
}

// contact reads one contact.
func (j *judge) contact(i int) contact {
	o := &j.in.Outputs[i]
	c := contact{output: i, equipment: int(o.Equipment), input: int(o.Input), eq: j.site.GetEquipment()[o.Equipment]}
	c.what = fmt.Sprintf("%s of %q", j.in.Plant.InputName(c.equipment, c.input), j.in.Plant.ID(c.equipment))
	c.deEnergise = j.in.Plant.DeEnergise(c.equipment, c.input)
	if o.Point < 0 {
		k := panelOutput(j.site, j.in, i).GetRelay()
		c.path, c.lossKey, c.onLoss = o.Path+".relay", "on_power_loss", k.GetOnPowerLoss()
		c.rating = circuit.Rating{VoltsV: k.GetVoltsV(), AmpsA: k.GetAmpsA()}
		return c
	}
	p := &j.in.Points[o.Point]
	k := j.site.GetLoops()[p.Loop].GetDevices()[p.Entry].GetRelayModule().GetContact()
	c.path, c.lossKey, c.onLoss = o.Path+".relay_module.contact", "on_loop_loss", k.GetOnLoopLoss()
	c.rating = circuit.Rating{VoltsV: k.GetVoltsV(), AmpsA: k.GetAmpsA()}
	return c
}

// failSafe: equipment that acts when its voltage goes away is meant to act when anything fails, and
// a contact that keeps its voltage on without the loop or the panel undoes that. One contact that
// operates is enough where several drive one input, and where several inputs of a lift each send
// it to a landing.
func (j *judge) failSafe(list []contact, c *contact) {
	if !c.deEnergise || c.onLoss == "operates" || plant.DoorCategory(c.eq) == "c" {
		return
	}
	for i := range list {
		o := &list[i]
		if o.equipment == c.equipment && o.deEnergise && o.onLoss == "operates" && (o.input == c.input || c.eq.GetLift() != nil) {
			return
		}
	}
	does := "rests"
	if c.onLoss != "" {
		does = c.onLoss
	}
	clause := commonPractice
	switch {
	case plant.DoorCategory(c.eq) == "a":
		clause = "BS 7273-4, category A"
	case c.eq.GetLift() != nil:
		clause = j.rules.Clause(rule.LiftWireCut)
	}
	lost := "the loop"
	if c.lossKey == "on_power_loss" {
		lost = "the panel's power"
	}
	j.add(finding.Warn("contact.not-fail-safe", c.path+"."+c.lossKey, fmt.Sprintf("%s operates without voltage, and its contact %s when %s is lost", c.what, does, lost),
		fmt.Sprintf("loss of %s would leave it held: write `%s: operates`", lost, c.lossKey)), clause)
}

// shorted: a short across the wire of a contact that opens keeps the door held, even in an alarm, and shows nowhere. Category A
// is to let go under it: a second contact in series, on a wire of its own, does.
func (j *judge) shorted(list []contact, c *contact) {
	if !c.deEnergise || plant.DoorCategory(c.eq) != "a" {
		return
	}
	for i := range list {
		if o := &list[i]; o.output != c.output && o.equipment == c.equipment && o.input == c.input {
			return
		}
	}
	j.add(finding.Warn("contact.short-holds", c.path, fmt.Sprintf("a short of its wire would hold %q, even in an alarm", j.in.Plant.ID(c.equipment)),
		"category A is to let go under a short too: take the hold through a second contact in series, on a module and a wire of its own, or agree on category b"), "BS 7273-4, category A")
}

// doors: a door that needs voltage to be let go stays held when anything fails.
func (j *judge) doors() {
	for i, eq := range j.site.GetEquipment() {
		if _, holder := eq.GetKind().(*pb.Equipment_DoorHolder); !holder && eq.GetDoorLock() == nil || plant.DoorCategory(eq) == "c" {
			continue
		}
		hold, ok := j.in.Plant.InputIndex(i, "hold")
		if !ok || j.in.Plant.DeEnergise(i, hold) || !driven(j.in, i) {
			continue
		}
		clause := commonPractice
		if plant.DoorCategory(eq) != "" {
			clause = "BS 7273-4, categories A and B"
		}
		j.add(finding.Warn("equipment.energise-to-release", fmt.Sprintf("equipment[%d]", i), fmt.Sprintf("%q needs voltage to be let go", eq.GetEquipment()),
			"a broken wire or a lost supply would leave it held: list hold under deenergise_to_operate, and drive it with a contact that is closed at rest"), clause)
	}
}

// lifts: a cut wire between panel and lift is to start the recall, which a contact that must close cannot do.
func (j *judge) lifts() {
	if !j.pack("en54") && !j.pack("bs5839-1") {
		return
	}
	for i, eq := range j.site.GetEquipment() {
		if eq.GetLift() == nil {
			continue
		}
		wired, failsafe := false, false
		for _, o := range j.in.Outputs {
			if int(o.Equipment) == i {
				name := j.in.Plant.InputName(i, int(o.Input))
				landing := name == "recall" || name == "alternate"
				wired = wired || landing
				failsafe = failsafe || landing && j.in.Plant.DeEnergise(i, int(o.Input))
			}
		}
		if wired && !failsafe {
			j.add(finding.Warn("equipment.energise-to-recall", fmt.Sprintf("equipment[%d]", i), fmt.Sprintf("%q needs voltage to be recalled", eq.GetEquipment()),
				"a broken wire or a lost loop would leave it in service: list recall under deenergise_to_operate, and drive it with a contact that is closed at rest"), j.rules.Clause(rule.LiftWireCut))
		}
	}
}

// driven tells whether an output drives a piece of equipment.
func driven(in *loop.Installation, equipment int) bool {
	for i := range in.Outputs {
		if int(in.Outputs[i].Equipment) == equipment {
			return true
		}
	}
	return false
}

// proven: the field wiring of a contact is not supervised. Unless a break of it operates the
// equipment, only a proof can tell. Points of a building management system only report.
func (j *judge) proven(c *contact) {
	if c.deEnergise || c.eq.GetBms() != nil {
		return
	}
	for i := range j.in.Points {
		p := &j.in.Points[i]
		if int(p.ProvesEquipment) != c.equipment {
			continue
		}
		if _, proves := j.in.Plant.Proof(c.equipment, int(p.ProvesSignal)); proves {
			return
		}
	}
	j.add(finding.Warn("contact.unproven", j.in.Outputs[c.output].Path, fmt.Sprintf("nothing proves that %s operates", c.what),
		"a break of the wire from the contact shows nowhere: add an input module that proves the equipment, or operate it by taking its voltage away"), j.rules.Clause(rule.RelayWiring))
}
