package verify

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"

	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// insideKinds are the events of the program's own works. Their subjects are numbered by causes,
// effects and actions, so that two programs which do the same may number them differently.
var insideKinds = map[sim.Kind]bool{
	drill.CauseChanged: true, drill.ActionChanged: true, drill.EffectChanged: true, drill.ProgramChanged: true,
	drill.OutputDemanded: true, // an output at rest may be demanded off: only the command shows a difference
	drill.DelayStarted:   true, drill.DelayEnded: true, drill.DelayCancelled: true,
	drill.DelayPaused: true, drill.DelayRestarted: true, drill.DelayResumed: true, drill.DelayHurried: true,
}

// outsideDigest is the digest of everything in a log but the program's own works: stimuli,
// readings, decisions, operators, commands, outputs, equipment, faults, each with its
// instant, subject and value, in order. Runs of two programs for one installation have the same
// if and only if nothing outside the programs was different. The log's own digest cannot tell:
// event numbers and the numbers of actions are part of it, and one action more moves them all.
func outsideDigest(log *sim.Log) string {
	h := sha256.New()
	var buf []byte
	for n := 1; n <= log.Len(); n++ {
		e := log.Event(uint64(n))
		if insideKinds[e.Kind] {
			continue
		}
		buf = binary.AppendVarint(buf[:0], int64(e.At))
		buf = binary.AppendUvarint(buf, uint64(e.Kind))
		buf = binary.AppendVarint(buf, int64(e.Subject))
		buf = binary.AppendVarint(buf, e.Value)
		buf = binary.AppendVarint(buf, e.Extra)
		h.Write(buf)
	}
	return hex.EncodeToString(h.Sum(nil))
}
