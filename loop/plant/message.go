package plant

import (
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// announcement speaks one message at a time, the earliest in the list of those whose inputs are
// operated. A change of message takes the start time again. One part, the time to the first word;
// the mode is the number of the message, from 1, or 0 for none. Its state word names the message.
type announcement struct {
	messages int
}

const (
	announcementSilent int32 = iota
	announcementNoPower
	announcementStarting
	announcementFirst // the words of the messages follow from here
)

func describeAnnouncement(m *pb.Announcement) description {
	start := orDefault(m.GetStart(), "announcement.start")
	d := description{
		signals: []signal{{name: "speaking", proves: true, level: true}},
		words: []string{
			announcementSilent:   "silent",
			announcementNoPower:  "no-power",
			announcementStarting: "starting",
		},
		tracks: []track{newTrack(start, 0)},
		is:     announcement{messages: len(m.GetMessages())},
	}
	for _, id := range m.GetMessages() {
		d.inputs = append(d.inputs, input{"message-" + id, start})
		d.words = append(d.words, "message-"+id)
	}
	return d
}

func (a announcement) follow(u unit) {
	if !u.powered() {
		u.put(0, 0)
		u.setMode(0)
		return
	}
	if u.stuck() {
		u.haltAll()
		return
	}
	first := int32(0)
	for i := 0; i < a.messages && first == 0; i++ {
		if u.operated(i) {
			first = int32(i + 1)
		}
	}
	if first != u.mode() {
		u.put(0, 0)
		u.setMode(first)
	}
	if first != 0 {
		u.goTo(0, u.full(0))
	}
}

func (announcement) word(u unit) int32 {
	switch {
	case !u.powered():
		return announcementNoPower
	case u.moving(0):
		return announcementStarting
	case u.mode() != 0 && u.atFull(0):
		return announcementFirst + u.mode() - 1
	}
	return announcementSilent
}

func (announcement) signal(u unit, _ int) bool { return u.mode() != 0 && u.atFull(0) }

func (announcement) done(u unit, in int) bool { return u.mode() == int32(in+1) && u.atFull(0) }
