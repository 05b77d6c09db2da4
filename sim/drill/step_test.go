package drill

import (
	"slices"
	"strings"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// What an event says was done is the key of that step in the schema of scenarios, for every step that
// there is. A repair is the event of what it repairs.
func TestStepWordsAreTheSchemas(t *testing.T) {
	said := map[string]bool{"repair": true}
	for k := ActSmoke; k <= ActDeviceReversed; k++ {
		if k == ActSupply || k == ActRepair {
			continue
		}
		for _, extra := range []int64{0, 1} {
			said[stepWord(&sim.Event{Value: int64(k), Extra: extra})] = true
		}
	}
	for condition := range supplySteps {
		said[stepWord(&sim.Event{Value: int64(ActSupply), Extra: int64(condition)})] = true
	}
	steps := (&pb.Step{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range steps.Len() {
		if name := string(steps.Get(i).Name()); !said[name] && !said[strings.TrimSuffix(name, "_")] {
			t.Errorf("no event says %q", name)
		} else {
			delete(said, strings.TrimSuffix(name, "_"))
		}
	}
	for word := range said {
		t.Errorf("an event says %q, which no step is", word)
	}
}

// The log says what a fault is, when it begins and when it is put right.
func TestLogSaysWhatTheFaultIs(t *testing.T) {
	t.Parallel()
	slow := plantFault("fan", "slow")
	slow.GetPlantFault().Factor = new(2.5)
	for _, c := range []struct {
		step *pb.Step
		want string
	}{
		{plantFault("fan", "stuck"), "fan: stuck"},
		{plantFault("fan", "slow"), "fan: slow, takes 2 times as long"},
		{slow, "fan: slow, takes 2.5 times as long"},
		{plantFault("fan", "unproven"), "fan: works, and its signals do not show it"},
		{&pb.Step{Step: "fault", Kind: &pb.Step_LineErrors{LineErrors: &pb.LineErrorsStep{Loop: new(uint32(1)), Rate: new(0.125)}}}, "loop 1: 12.5 % of the replies garbled"},
		{&pb.Step{Step: "fault", Kind: &pb.Step_MainsFail{MainsFail: &pb.SupplyStep{Supply: "psu"}}}, "supply psu: mains lost"},
		{&pb.Step{Step: "fault", Kind: &pb.Step_Break{Break: &pb.CableStep{Before: "CP"}}}, "loop 1: broken cable before CP"},
	} {
		b := newBench(t, circuitSite())
		b.do(time.Second, c.step)
		b.repair(2*time.Second, "fault")
		b.run(3 * time.Second)
		said := strings.Split(b.latest(b.log.Len()), "\n")
		for _, want := range []string{"fault: " + c.want, "put right: " + c.want} {
			if !slices.ContainsFunc(said, func(line string) bool { return strings.HasSuffix(line, "s "+want) }) {
				t.Errorf("nobody says %q:\n%s", want, strings.Join(said, "\n"))
			}
		}
	}
}
