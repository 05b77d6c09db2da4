package plant

import (
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// dialler sends one report for each input: it calls, and the receipt comes a time later. A call without
// a receipt is made again after a pause, up to a number of calls; then it gives the report up and says
// so with `failed`, until the input goes to rest. A report whose input goes to rest is given up at once.
// Without power it forgets what it has sent. Stuck is a line out of order, unproven a receipt that does
// not come back: to the dialler the two are one, and its signals tell of both.
//
// Two parts for each report, the call and the pause; in the mode, for each report, the calls made so
// far, and whether it is acknowledged or given up.
//
// `acknowledged` shows while at least one input is operated and every operated one has its receipt, so
// that a second report is proven by itself; `failed` while any report is given up.
type dialler struct{ attempts int32 }

const (
	diallerIdle int32 = iota
	diallerSending
	diallerAcknowledged
	diallerNoPower
	diallerFailed
)

// The fields of a report in the mode: at most 100 calls take seven bits.
const (
	reportBits   = 9
	reportCalls  = 1<<7 - 1
	reportHeard  = 1 << 7
	reportFailed = 1 << 8
)

const mostCalls = 100

const (
	diallerAcknowledgedSignal = iota
	diallerFailedSignal
)

func describeDialler(m *pb.Dialler) description {
	receipt, pause := orDefault(m.GetReceipt(), "dialler.receipt"), max(orDefault(m.GetRetryAfter(), "dialler.retry_after"), 1)
	attempts := int32(defaultAttempts)
	if m.Attempts != nil {
		attempts = int32(min(max(m.GetAttempts(), 1), mostCalls))
	}
	d := description{
		signals: []signal{
			diallerAcknowledgedSignal: {name: "acknowledged", proves: true, level: true},
			diallerFailedSignal:       {name: "failed"},
		},
		words: []string{
			diallerIdle:         "idle",
			diallerSending:      "sending",
			diallerAcknowledged: "acknowledged",
			diallerNoPower:      "no-power",
			diallerFailed:       "failed",
		},
		is:    dialler{attempts: attempts},
		frank: true,
	}
	for _, name := range []string{"alarm", "fault", "supervisory"} {
		d.inputs = append(d.inputs, input{name, receipt})
		d.tracks = append(d.tracks, newTrack(receipt, 0), newTrack(pause, 0))
	}
	return d
}

// report reads a report's fields of the mode, and writes them.
func (dialler) report(u unit, in int) int32 {
	return u.mode() >> (reportBits * in) & (1<<reportBits - 1)
}

func (dialler) setReport(u unit, in int, report int32) {
	shift := reportBits * in
	u.setMode(u.mode()&^((1<<reportBits-1)<<shift) | report<<shift)
}

func (d dialler) follow(u unit) {
	for in := range u.machine().inputs {
		call, pause := 2*in, 2*in+1
		if !u.powered() || !u.operated(in) {
			u.put(call, 0)
			u.put(pause, 0)
			d.setReport(u, in, 0)
			continue
		}
		for d.goOn(u, in, call, pause) {
		}
	}
}

// goOn takes one step of a report, and tells whether another may follow at this instant.
func (d dialler) goOn(u unit, in, call, pause int) bool {
	report := d.report(u, in)
	switch {
	case report&(reportHeard|reportFailed) != 0 || u.moving(call) || u.moving(pause):
		return false
	case report == 0 || u.atFull(pause): // the first call, or the next
		u.put(pause, 0)
		d.setReport(u, in, report+1)
		u.goTo(call, u.full(call))
	case u.state().fault&(Stuck|Unproven) == 0:
		d.setReport(u, in, report|reportHeard)
	case report&reportCalls == d.attempts:
		u.put(call, 0)
		d.setReport(u, in, report|reportFailed)
	default:
		u.put(call, 0)
		u.goTo(pause, u.full(pause))
	}
	return true
}

func (d dialler) word(u unit) int32 {
	if !u.powered() {
		return diallerNoPower
	}
	word := diallerIdle
	for in := range u.machine().inputs {
		switch report := d.report(u, in); {
		case report&reportFailed != 0:
			return diallerFailed
		case report&reportHeard != 0 && word == diallerIdle:
			word = diallerAcknowledged
		case report != 0 && report&reportHeard == 0:
			word = diallerSending
		}
	}
	return word
}

func (d dialler) signal(u unit, k int) bool {
	if k == diallerFailedSignal {
		return d.word(u) == diallerFailed
	}
	return d.word(u) == diallerAcknowledged
}

func (d dialler) done(u unit, in int) bool { return d.report(u, in)&reportHeard != 0 }
