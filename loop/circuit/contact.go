package circuit

import (
	"fmt"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Rating is what a volt-free contact may switch. Zero stands for what the file does not say.
type Rating struct{ VoltsV, AmpsA float64 }

// ContactLoad is what equipment puts on the contact that drives it.
type ContactLoad struct {
	VoltsV     float64
	MilliA     float64
	Diode      bool // a suppression diode across the coil
	Starter    bool // of a kind that a contactor or a supply of its own switches: fan, siren, damper, lock
	Electronic bool // an input without a coil
}

// coiled is what says what hangs on a contact: a pb.Coil, or a fan, which says it itself.
type coiled interface {
	GetCoilV() float64
	GetCoilMa() float64
	GetCoilDiode() bool
}

// LoadOf is the load of a piece of equipment on one contact.
func LoadOf(eq *pb.Equipment) ContactLoad {
	coil, starter := coilOf(eq)
	load := ContactLoad{VoltsV: coilV, MilliA: coil.GetCoilMa(), Diode: coil.GetCoilDiode(), Starter: starter}
	if coil.GetCoilV() > 0 {
		load.VoltsV = coil.GetCoilV()
	}
	load.Electronic = load.MilliA == 0
	return load
}

// coilOf finds the coil, and whether a starter or a supply of its own stands behind it.
func coilOf(eq *pb.Equipment) (coil coiled, starter bool) {
	switch k := eq.GetKind().(type) {
	case *pb.Equipment_Lift:
		return k.Lift.GetCoil(), false
	case *pb.Equipment_Fan:
		return k.Fan, true
	case *pb.Equipment_Damper:
		return k.Damper.GetCoil(), true
	case *pb.Equipment_DoorHolder:
		return k.DoorHolder.GetCoil(), false
	case *pb.Equipment_DoorLock:
		return k.DoorLock.GetCoil(), true
	case *pb.Equipment_Announcement:
		return k.Announcement.GetCoil(), false
	case *pb.Equipment_Trip:
		return k.Trip.GetCoil(), false
	case *pb.Equipment_Valve:
		return k.Valve.GetCoil(), false
	case *pb.Equipment_Release:
		return k.Release.GetCoil(), false
	case *pb.Equipment_Dialler:
		return k.Dialler.GetCoil(), false
	case *pb.Equipment_Siren:
		return k.Siren.GetCoil(), true
	case *pb.Equipment_Generic:
		return k.Generic.GetCoil(), false
	}
	return (*pb.Coil)(nil), false // its getters answer for it
}

// RatedFor completes a rating with what is usual for small field relays at the load's voltage.
func (r Rating) RatedFor(l ContactLoad) (full Rating, stated bool) {
	stated = r.VoltsV > 0 && r.AmpsA > 0
	full = r
	if full.VoltsV <= 0 {
		full.VoltsV = ratingV
	}
	if full.AmpsA <= 0 {
		full.AmpsA = ratingA
		if l.mains() {
			full.AmpsA = ratingACA
		}
	}
	return full, stated
}

// mains reports whether the load is above extra-low voltage, and so taken as a.c.
func (l ContactLoad) mains() bool { return l.VoltsV > extraLowV }

// CheckContact judges one contact with what it drives. path is the contact's own field path, what
// names the driven input for people. A contactor on the contact itself is one finding, in which its
// voltage and current are named: the interposing relay that it needs mends them all.
func CheckContact(path, what string, rating Rating, l ContactLoad) []*pb.Finding {
	full, stated := rating.RatedFor(l)
	j := switched{path: path, what: what, full: full, note: unstated(stated), load: l}
	found := j.beyond()
	if !l.Electronic && l.Starter && (l.mains() || micro(l.MilliA) > micro(directMA)) {
		found = []*pb.Finding{j.contactor(len(found) > 0)}
	}
	if l.Electronic {
		return found
	}
	if !l.mains() && !l.Diode {
		found = append(found, finding.Warn("contact.no-diode", path,
			fmt.Sprintf("the coil of %s has no suppression diode", what),
			"fit a diode across the coil, cathode to positive, and write `coil_diode: true`; it slows the release, so allow for that where the release is the fire action (common practice)"))
	}
	return found
}

// switched is one contact beside its load.
type switched struct {
	path, what string
	full       Rating
	note       string // where the rating comes from, if the file does not say
	load       ContactLoad
}

// contactor is the finding about a contactor on the contact itself.
func (j *switched) contactor(beyond bool) *pb.Finding {
	rating, note := "", ""
	if beyond {
		rating, note = fmt.Sprintf("the contact is good for %g V and %g mA%s; ", j.full.VoltsV, float64(j.full.limit(j.load)*1000), j.full.derated(j.load)), j.note
	}
	return finding.Error("contact.drives-contactor", j.path,
		fmt.Sprintf("%s (%g mA at %g V) is switched by the contact directly", j.what, j.load.MilliA, j.load.VoltsV),
		rating+"contactors, groups of dampers and supplies of locks are switched by an interposing relay or the starter's control circuit (common practice); the relay stands within 1 m of what it switches"+note)
}

// beyond is what the load has above the contact's rating.
func (j *switched) beyond() (found []*pb.Finding) {
	l := j.load
	if micro(l.VoltsV) > micro(j.full.VoltsV) {
		found = append(found, finding.Error("contact.voltage", j.path+".volts_v",
			fmt.Sprintf("%s puts %g V on a contact rated %g V", j.what, l.VoltsV, j.full.VoltsV),
			"switch it through an interposing relay that is rated for it"+j.note))
	}
	if limit := j.full.limit(l); !l.Electronic && micro(l.MilliA/1000) > micro(limit) {
		found = append(found, finding.Error("contact.current", j.path+".amps_a",
			fmt.Sprintf("%s takes %g mA through a contact good for %g mA%s", j.what, l.MilliA, float64(limit*1000), j.full.derated(l)),
			"use a contact of a higher rating, or an interposing relay"+j.note))
	}
	return found
}

// limit is the current that a contact may switch, amperes; for a d.c. coil the derated figure.
func (r Rating) limit(l ContactLoad) float64 {
	if l.mains() {
		return r.AmpsA
	}
	return float64(inductive * r.AmpsA)
}

// derated says where a limit comes from that is less than the rating.
func (r Rating) derated(l ContactLoad) string {
	if l.mains() {
		return ""
	}
	return fmt.Sprintf(" for a d.c. coil (%g of its %g A resistive, common practice)", inductive, r.AmpsA)
}

func unstated(stated bool) string {
	if stated {
		return ""
	}
	return "; the contact's rating is not written, and what is usual for small field relays was taken (common practice)"
}
