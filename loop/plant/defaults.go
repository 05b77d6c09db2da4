package plant

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
)

// longest bounds every single duration; the schema allows no more than this, and a message that
// the schema refuses must still compile without overflow.
const longest = time.Hour

// Default is a value that is used where the file says nothing.
type Default struct {
	Name     string        // field, such as `fan.run_up`
	Value    string        // as a file would write it
	Duration time.Duration // the value of a duration, else 0
	Source   string        // what it rests on
}

// Defaults lists every default that changes what equipment does, in the order of the schema. The
// compiler reads its values from this same table.
func Defaults() []Default {
	times := func(name string, d time.Duration) Default {
		return Default{Name: name, Value: d.String(), Duration: d, Source: "common practice"}
	}
	word := func(name, value string) Default {
		return Default{Name: name, Value: value, Source: "common practice"}
	}
	return []Default{
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
	for _, known := range Defaults() {
		if known.Name == name {
			return known.Duration
		}
	}
	panic("plant: no default for " + name)
}
