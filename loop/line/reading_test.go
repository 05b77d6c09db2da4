package line

import "testing"

// Times were worked out by hand from slots of 10 (reply), 20 (no reply) and 15 (command).
func TestReadings(t *testing.T) {
	tell(t, []story{
		{name: "two readings make a signal", source: "rule B6", devices: "f2,f1", until: 200,
			script: "0 in 0 on",
			want:   "10 active 0 on; 10 counted 0 1; 30 counted 0 2; 30 signal 0"},
		{name: "a reading below resets the count", source: "rule B6", devices: "f3,f1", until: 200,
			script: "0 in 0 on; 15 in 0 off; 35 in 0 on",
			want: `10 active 0 on; 10 counted 0 1; 30 active 0 off;
				50 active 0 on; 50 counted 0 1; 70 counted 0 2; 90 counted 0 3; 90 signal 0`},
		{name: "a missed visit neither counts nor resets", source: "rule B6", devices: "f3,f1", until: 200,
			script: "0 in 0 on; 15 muted 0; 45 muted 0 off",
			want:   "10 active 0 on; 10 counted 0 1; 60 counted 0 2; 80 counted 0 3; 80 signal 0"},
		{name: "a garbled reply neither counts nor resets", source: "rules B6, B11: visit number 2 is garbled", devices: "f3,f1", until: 200,
			gaps: []int{2}, script: "0 in 0 on",
			want: "10 active 0 on; 10 counted 0 1; 30 garbled 0; 50 counted 0 2; 70 counted 0 3; 70 signal 0"},
		{name: "garbled replies are neither misses nor good replies", source: "rules B8, B11: visit 1 of the row of misses", devices: "i", until: 300,
			// Visits 0 to 1 missed (0..40), 2 answered but garbled (40..50), 3 missed (50..70).
			gaps: []int{2}, script: "0 muted 0; 40 muted 0 off; 50 muted 0",
			want: "50 garbled 0; 70 missing 0 on"},
		{name: "other inputs are read once and make no signal", source: "rule D3", devices: "i,i", until: 200,
			script: "11 in 1 on; 55 in 1 off",
			want:   "40 active 1 on; 80 active 1 off"},
		{name: "pre-alarm takes as many readings and goes with one", source: "rules B6, B7; settled in this package", devices: "f2,f1", until: 200,
			script: "0 in 0 off pre; 35 in 0 off",
			want:   "30 prealarm 0 on; 50 prealarm 0 off"},
		{name: "one reading below resets the pre-alarm's count", source: "settled in this package", devices: "f3,f1", until: 200,
			script: "0 in 0 off pre; 15 in 0 off; 35 in 0 off pre", want: "90 prealarm 0 on"},
		{name: "alarm and pre-alarm of one reading", source: "the pre-alarm is noted first", devices: "f1", until: 100,
			script: "0 in 0 on pre", want: "10 active 0 on; 10 prealarm 0 on; 10 counted 0 1; 10 signal 0"},
		{name: "after the signal the device is quiet", source: "rule D1: latched until reset", devices: "f1,f1", until: 500,
			script: "0 in 0 on; 100 in 0 off; 200 in 0 on",
			want:   "10 active 0 on; 10 counted 0 1; 10 signal 0; 110 active 0 off; 210 active 0 on"},
	})
}

func TestSampling(t *testing.T) {
	tell(t, []story{
		{name: "a stimulus at the very start of the slot is seen", source: "rule B5", devices: "f1,f1", until: 100,
			script: "10 in 1 on", want: "20 active 1 on; 20 counted 1 1; 20 signal 1"},
		{name: "one unit later it waits a round", source: "rule B5", devices: "f1,f1", until: 100,
			script: "11 in 1 on", want: "40 active 1 on; 40 counted 1 1; 40 signal 1"},
		{name: "a level that goes before the next visit is never seen", source: "rule B4: the sample is taken when the slot begins", devices: "f1,f1", until: 200,
			script: "11 in 1 on; 30 in 1 off", want: ""},
		{name: "a level that goes during its slot was seen", source: "rule B4: the sample is taken when the slot begins", devices: "f1,f1", until: 200,
			script: "10 in 1 on; 11 in 1 off", want: "20 active 1 on; 20 counted 1 1; 20 signal 1; 40 active 1 off"},
		{name: "a quiet loop does nothing", source: "package comment: a visit without news has no consequence", devices: "f1,i,o", until: 1_000_000, script: "", want: ""},
		{name: "re-armed while still active, it signals again", source: "rule J3 drop-all", devices: "f2,f1", until: 100,
			script: "0 in 0 on; 35 rearm 0", want: "10 active 0 on; 10 counted 0 1; 30 counted 0 2; 30 signal 0; 50 counted 0 1; 70 counted 0 2; 70 signal 0"},
		{name: "re-armed while its slot runs, that slot's sample counts", source: "rule B4: the panel has the reading at the end", devices: "f1,f1", until: 45,
			script: "0 in 0 on; 25 rearm 0", want: "10 active 0 on; 10 counted 0 1; 10 signal 0; 30 counted 0 1; 30 signal 0"},
		{name: "re-arming may forget what was counted", source: "rule J3 drop-all: new readings", devices: "f3,f1", until: 100,
			script: "0 in 0 on; 35 rearm 0 forget", want: "10 active 0 on; 10 counted 0 1; 30 counted 0 2; 50 counted 0 1; 70 counted 0 2; 90 counted 0 3; 90 signal 0"},
		{name: "a probe ends the round", source: "rule B1: 10 + 10 + 20", devices: "i,i", until: 200,
			config: func(c *Config) { c.ProbeUnused = true },
			script: "15 in 1 on", want: "60 active 1 on"},
		{name: "probes are numbered among the visits", source: "rule B11: visits 0, 2 and 4 are the device's, 1 and 3 are probes", devices: "i", until: 200,
			config: func(c *Config) { c.ProbeUnused = true },
			gaps:   []int{4}, want: "70 garbled 0"},
		{name: "where nothing answers nothing is garbled, and the next is drawn", source: "rule B11", devices: "i", until: 200,
			config: func(c *Config) { c.ProbeUnused = true },
			gaps:   []int{1, 0}, want: "40 garbled 0"},
		{name: "without a probe the round is shorter", source: "rule B1", devices: "i,i", until: 200,
			script: "15 in 1 on", want: "40 active 1 on"},
		{name: "visits are in the order of addresses, lengths change at the next start", source: "rule B4: 100..120 three healthy visits are left, then 20 + 10 + 10", devices: "i,i,f1", until: 230,
			script: "100 removed 0; 141 in 2 on", want: "160 active 2 on; 160 counted 2 1; 160 signal 2; 220 missing 0 on"},
	})
}

func TestOutOfTurn(t *testing.T) {
	asks := func(c *Config) { c.OutOfTurn = true }
	tell(t, []story{
		{name: "the extra visit counts as one reading", source: "rule B10", devices: "f2,f2,f2,f2", config: asks, until: 200,
			script: "5 in 3 on",
			want:   "20 active 3 on; 20 counted 3 1; 50 counted 3 2; 50 signal 3"},
		{name: "the lowest address first, one extra visit between two in turn", source: "rule B10", devices: "i,i,i,i", config: asks, until: 200,
			script: "5 in 3 on; 5 in 2 on",
			want:   "20 active 2 on; 40 active 3 on"},
		{name: "known at the very end of a visit", source: "settled in this package: stimuli of an instant come first", devices: "i,i,i", config: asks, until: 200,
			script: "10 in 2 on", want: "20 active 2 on"},
		{name: "one unit later, at the end of the next", source: "rule B10", devices: "i,i,i,i", config: asks, until: 200,
			script: "11 in 3 on", want: "30 active 3 on"},
		{name: "commands go first and the request stays", source: "rules C2, B10", devices: "i,o,i", config: asks, until: 45,
			script: "5 in 2 on; 10 send 1 1", want: "10 sent 1 s1 try 1; 25 done 1 s1 heard; 35 active 2 on"},
		{name: "a device that does not answer does not ask", source: "rule B10", devices: "i,i,i", config: asks, until: 80,
			script: "5 in 2 on; 5 muted 2; 25 muted 2 off", want: "50 active 2 on"},
		{name: "a lone duplicate's reply is no reading of the device", source: "rule B10: not yet read in its present state", devices: "i,i,i", config: asks, until: 100,
			// Visit 10..20 reads the duplicate alone (an act at 15 makes the line execute it); back at
			// 25, the device asks at 30 and is read before its turn at 40.
			script: "0 removed 1; 0 duplicate 1 same; 5 in 1 on; 15 rearm 0; 25 removed 1 off; 25 duplicate 1 off", want: "40 active 1 on"},
	})
}
