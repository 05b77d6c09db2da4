package site

import (
	"loopdrill.dev/loopdrill/loop/figure"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// programDefaults lists what is in force of the panel's program where the file gives none; package
// logic reads the same.
func programDefaults(m *pb.Site) (out []Default) {
	for _, d := range []figure.Default{
		{Key: "panel.fault_sounds_again", Value: "limit " + rule.FaultSoundsAgain, Source: "rule pack"},
		{Key: "program.controls.level", Value: "2", Source: "EN 54-2, from memory"},
		{Key: "program.overrides.level", Value: "2", Source: "EN 54-2, from memory"},
		{Key: "program.phasings.together", Value: "above", Source: "common practice"},
		{Key: "program.phasings.waiting", Value: "alert", Source: "common practice"},
	} {
		out = appendInForce(out, m, Default{Default: d})
	}
	return out
}
