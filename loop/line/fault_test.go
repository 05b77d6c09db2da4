package line

import "testing"

// Faults of devices at their addresses; times worked out by hand.
func TestFaults(t *testing.T) {
	checked := func(c *Config) { c.ReplyCurrentCheck = true }
	tell(t, []story{
		{name: "missing at the end of the third miss, cleared by the first good reply", source: "rules B8, B4: the slot in progress keeps length and sample", devices: "i,i", until: 300,
			script: "5 removed 0; 115 removed 0 off",
			want:   "100 missing 0 on; 150 missing 0 off"},
		{name: "a good reply breaks the row of misses", source: "rule B8: consecutive", devices: "i", until: 120,
			// Missed 0..20 and 20..40, good 40..50, missed 50..70, 70..90, 90..110.
			script: "0 muted 0; 40 muted 0 off; 50 muted 0", want: "110 missing 0 on"},
		{name: "cut off is missing too", source: "rule B4", devices: "i", until: 100, script: "0 unfed 0", want: "60 missing 0 on"},
		{name: "wrong type at its first reply; readings ignored meanwhile", source: "rule B8", devices: "i,i", until: 200,
			script: "5 other 0; 35 in 0 on; 55 other 0 off",
			want:   "30 wrong 0 on; 70 wrong 0 off; 70 active 0 on"},
		{name: "a wrong type ends missing", source: "rule J8", devices: "i", until: 100,
			script: "0 removed 0; 70 other 0; 70 removed 0 off", want: "60 missing 0 on; 90 missing 0 off; 90 wrong 0 on"},
		{name: "wrong type neither counts nor resets readings", source: "rule J8", devices: "f2", until: 100,
			script: "0 in 0 on; 10 other 0; 20 other 0 off", want: "10 active 0 on; 10 counted 0 1; 20 wrong 0 on; 30 wrong 0 off; 30 counted 0 2; 30 signal 0"},
		{name: "two kinds at one address: a duplicate instead of missing", source: "rule B8", devices: "i,i", until: 200,
			script: "5 duplicate 0 other; 75 duplicate 0 off", want: "70 duplicate 0 on; 90 duplicate 0 off"},
		{name: "one row for misses and collisions", source: "settled in this package", devices: "i", until: 100,
			// Missed 0..20 and 20..40, collision 40..50.
			script: "0 removed 0; 40 removed 0 off; 40 duplicate 0 other", want: "50 duplicate 0 on"},
		{name: "the same kind shows only in the current of the reply", source: "rule B8", devices: "i,i", until: 200,
			script: "5 duplicate 0 same", want: ""},
		{name: "the same kind, current checked", source: "rule B8", devices: "i,i", config: checked, until: 200,
			script: "5 duplicate 0 same; 55 duplicate 0 off", want: "30 duplicate 0 on; 70 duplicate 0 off"},
		{name: "a duplicate known from the current still counts collisions", source: "settled in this package: one row; missing when it is full", devices: "i", config: checked, until: 100,
			// Valid 0..10, collisions 10..20, 20..30, 30..40, no reply 40..60.
			script: "0 duplicate 0 same; 10 duplicate 0 other; 40 duplicate 0 off; 40 removed 0", want: "10 duplicate 0 on; 60 missing 0 on"},
		{name: "a lone duplicate of the same kind reads as at rest", source: "rule B8", devices: "f2,i", until: 100,
			script: "0 in 0 on; 15 removed 0; 15 duplicate 0 same", want: "10 active 0 on; 10 counted 0 1; 30 active 0 off"},
		{name: "a lone duplicate of another kind is a wrong type", source: "rule B8", devices: "i,i", until: 100,
			script: "5 removed 0; 5 duplicate 0 other", want: "30 wrong 0 on"},
	})
}
