package plant

import (
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// follower is equipment with one input and one signal: the signal comes a time after the input
// and goes with it at once. One part, the time.
type follower struct{}

const (
	followerAtRest int32 = iota
	followerUnderWay
	followerThere
	followerNoPower
)

func describeFollower(in, out string, takes time.Duration, words [3]string) description {
	return description{
		inputs:  []input{{in, takes}},
		signals: []signal{{name: out, proves: true, level: true}},
		words: []string{
			followerAtRest:   words[0],
			followerUnderWay: words[1],
			followerThere:    words[2],
			followerNoPower:  "no-power",
		},
		tracks: []track{newTrack(takes, 0)},
		is:     follower{},
	}
}

func describeSiren(m *pb.Siren) description {
	return describeFollower("run", "running", orDefault(m.GetRunUp(), "siren.run_up"),
		[3]string{"silent", "running-up", "running"})
}

func describeBms(m *pb.Bms) description {
	return describeFollower("point", "seen", orDefault(m.GetSeenAfter(), "bms.seen_after"),
		[3]string{"normal", "reporting", "seen"})
}

func describeGeneric(m *pb.Generic) description {
	return describeFollower("operate", "done", orDefault(m.GetTakes(), "generic.takes"),
		[3]string{"at-rest", "operating", "done"})
}

func (follower) follow(u unit) {
	switch {
	case !u.powered():
		u.put(0, 0)
	case u.stuck():
		u.halt(0)
	case u.operated(0):
		u.goTo(0, u.full(0))
	default:
		u.put(0, 0)
	}
}

func (follower) word(u unit) int32 {
	switch {
	case !u.powered():
		return followerNoPower
	case u.moving(0):
		return followerUnderWay
	case u.atFull(0):
		return followerThere
	}
	return followerAtRest
}

func (follower) signal(u unit, _ int) bool { return u.atFull(0) }
func (follower) done(u unit, _ int) bool   { return u.atFull(0) }
