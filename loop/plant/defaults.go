package plant

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/loop/figure"
)

// longest bounds every single duration; the schema allows no more than this, and a message that
// the schema refuses must still compile without overflow.
const longest = time.Hour

// defaultAttempts is how often a dialler calls before it gives a report up.
const defaultAttempts = 3

// preset is a default, and the value of one that is a duration.
type preset struct {
	figure.Default
	duration time.Duration // else 0
}

// Defaults lists every default that changes what equipment does, in the order of the schema.
func Defaults() []figure.Default {
	var list []figure.Default
	for _, p := range presets() {
		list = append(list, p.Default)
	}
	return list
}

// presets is the table that the compiler reads its values from.
func presets() []preset {
	word := func(key, value string) preset {
		return preset{Default: figure.Default{Key: key, Value: value, Source: "common practice"}}
	}
	times := func(key string, d time.Duration) preset {
		p := word(key, d.String())
		p.duration = d
		return p
	}
	return []preset{
		word("lift.start_floor", "the highest of floors"),
		times("lift.floor_time", 4*time.Second),
		times("lift.door_time", 3*time.Second),
		times("fan.run_up", 12*time.Second),
		times("fan.run_down", 20*time.Second),
		word("fan.runs_at_rest", "false"),
		times("damper.travel", 15*time.Second),
		word("damper.at_rest", "open"),
		times("door_holder.closing", 5*time.Second),
		times("door_lock.release_time", 500*time.Millisecond),
		times("announcement.start", time.Second),
		times("trip.trip_time", 100*time.Millisecond),
		times("valve.closing", 5*time.Second),
		word("valve.reopens", "false"),
		times("release.countdown", 30*time.Second),
		word("release.hold_off", "pauses"),
		times("dialler.receipt", 20*time.Second),
		word("dialler.attempts", fmt.Sprint(defaultAttempts)),
		times("dialler.retry_after", 30*time.Second),
		times("siren.run_up", 2*time.Second),
		times("bms.seen_after", time.Second),
		times("generic.takes", time.Second),
		word("plant_fault.factor", fmt.Sprint(SlowFactor)),
	}
}

// orDefault returns the duration of a field, or its default where the file says nothing. Values
// that the schema refuses are brought into range: other layers report them.
func orDefault(d *durationpb.Duration, name string) time.Duration {
	if d != nil {
		return min(max(d.AsDuration(), 0), longest)
	}
	for _, known := range presets() {
		if known.Key == name {
			return known.duration
		}
	}
	panic("plant: no default for " + name)
}
