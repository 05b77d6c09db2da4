package plant

import (
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// doorHolder has one part, the door: 0 held open to full closed. Once let go the door closes all
// the way and stays closed: the holder is taken up again when the input goes to rest, but nobody
// opens the door, so `closed` goes on showing. The mode is 1 from the moment it was let go.
type doorHolder struct{}

const (
	doorHeldOpen int32 = iota
	doorClosing
	doorIsClosed
	doorPartOpen // jammed on the way
)

func describeDoorHolder(m *pb.DoorHolder) description {
	closing := orDefault(m.GetClosing(), "door_holder.closing")
	return description{
		inputs:  []input{{"hold", closing}},
		signals: []signal{{name: "closed", proves: true, level: true}},
		words: []string{
			doorHeldOpen: "held-open",
			doorClosing:  "closing",
			doorIsClosed: "closed",
			doorPartOpen: "part-open",
		},
		tracks: []track{newTrack(closing, closing)},
		is:     doorHolder{},
	}
}

func (doorHolder) follow(u unit) {
	if u.stuck() {
		u.haltAll()
		return
	}
	if u.on(0) {
		u.setMode(1)
	}
	if u.mode() == 1 { // the closer needs no power
		u.goTo(0, u.full(0))
	}
}

func (doorHolder) word(u unit) int32 {
	return travelWord(u, [5]int32{doorHeldOpen, doorClosing, doorIsClosed, doorPartOpen, doorPartOpen})
}

func (doorHolder) signal(u unit, _ int) bool { return u.atFull(0) }
func (doorHolder) done(u unit, _ int) bool   { return u.atFull(0) }

// doorLock has one part, its bolt or magnet: 0 locked to full free. It locks again at once when
// its input goes to rest. `locked` shows at rest, and its loss is the proof. An
// energise-to-operate lock without power stays as it is; whether it may is for BS 7273-4 and
// NFPA 72 to say, not for the lock.
type doorLock struct{}

const (
	lockLocked int32 = iota
	lockReleasing
	lockFree
)

func describeDoorLock(m *pb.DoorLock) description {
	release := orDefault(m.GetReleaseTime(), "door_lock.release_time")
	return description{
		inputs:  []input{{"hold", release}},
		signals: []signal{{name: "locked", proves: true, level: false}},
		words:   []string{lockLocked: "locked", lockReleasing: "releasing", lockFree: "free"},
		tracks:  []track{newTrack(release, 0)},
		is:      doorLock{},
	}
}

func (doorLock) follow(u unit) { u.goOrRest() }

func (doorLock) word(u unit) int32 {
	return travelWord(u, [5]int32{lockLocked, lockReleasing, lockFree, lockLocked, lockLocked})
}

func (doorLock) signal(u unit, _ int) bool { return !u.atFull(0) }
func (doorLock) done(u unit, _ int) bool   { return u.atFull(0) }

// DoorCategory is the category of BS 7273-4 that a file gives a door: "a", "b" or "c"; empty where it gives none, or
// the equipment is no door.
func DoorCategory(m *pb.Equipment) string {
	if d := m.GetDoorHolder(); d != nil {
		return d.GetCategory()
	}
	return m.GetDoorLock().GetCategory()
}
