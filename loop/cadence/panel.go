package cadence

import (
	"loopdrill.dev/loopdrill/loop/figure"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Signals are the patterns of a site's sounders.
type Signals struct{ Alert, Evacuate Pattern }

// Read reads what a panel's file says; pack is the site's first rule pack, which gives what the
// file leaves open.
func Read(m *pb.Cadences, pack string) Signals {
	s := Signals{Alert: Intermittent, Evacuate: Continuous}
	if pack == "nfpa72" {
		s.Evacuate = ThreePulse
	}
	if p, ok := Of(m.GetAlert()); ok {
		s.Alert = p
	}
	if p, ok := Of(m.GetEvacuate()); ok {
		s.Evacuate = p
	}
	return s
}

// Defaults lists the patterns in force where a file gives none.
func Defaults() []figure.Default {
	return []figure.Default{
		{Key: "panel.cadences.alert", Value: "intermittent: 1 s on, 1 s off", Source: "common practice"},
		{Key: "panel.cadences.evacuate", Value: "three-pulse (nfpa72 first), continuous (en54, bs5839-1)",
			Source: "NFPA 72 18.4, ISO 8201; EN 54-3 and BS 5839-1, from memory"},
	}
}
