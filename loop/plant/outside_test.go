package plant

import "testing"

// What happens while somebody outside stands in follows from the words of the stand-in step itself:
// only he gives signals, and the model takes up its state from the inputs as they are.
func TestStandIn(t *testing.T) {
	run(t, []story{
		{"the model is frozen, signals come from outside, and it goes on when it is given back", "words of the step", one(aFan(false)),
			"0s fan/start; 3s fan outside; 5s fan +running; 50s fan -running; 60s fan model",
			`0s fan = running-up; 5s fan +running; 50s fan -running; 69s fan = running; 69s fan +running; 69s fan done start`},
		{"an input that goes to rest meanwhile counts when it is given back", "words of the step", one(aFan(false)),
			"0s fan/start; 6s fan outside; 7s fan/start off; 20s fan model",
			`0s fan = running-up; 20s fan = running-down; 32s fan = stopped`},
		{"a signal that nobody may give changes nothing", "words of the step", one(aFan(false)),
			"0s fan +running; 1s fan outside; 2s fan -running; 3s fan model", ``},
		{"a signal given from outside is put right by the model", "words of the step", one(aFan(false)),
			"0s fan outside; 1s fan +running; 2s fan model", `1s fan +running; 2s fan -running`},
		{"a trip that somebody stands in for cuts while he shows it tripped", "the switch is his",
			one(aTrip("trip", "lift"), aLift()), "0s trip outside; 1s trip/trip; 2s trip +tripped; 9s trip -tripped",
			`2s trip +tripped; 2s lift = stopped; 9s trip -tripped; 9s lift = in-service`},
	})
}
