package verify

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// trueRows lists, for every run, the rows that were true in it and since when first.
func trueRows(v *Verifier) [][]string {
	w := v.newWorker()
	var all [][]string
	for _, r := range v.runs {
		c := w.simulate(r)
		var rows []string
		for _, t := range w.truths(r, c, c.silence-1) {
			if proved(v, t.row) {
				continue
			}
			text := v.m.Rows[t.row].Cause
			if len(r.signals) == 1 { // further signals wait for visits that commands delay
				text += fmt.Sprint(" since ", t.spans[0].From, " for ", t.t0[0])
			}
			rows = append(rows, text)
		}
		all = append(all, rows)
	}
	return all
}

// proved reports whether a row looks at an input that proves equipment: what it reads depends on
// what the equipment was made to do.
func proved(v *Verifier, row int32) bool {
	found := false
	v.m.Rows[row].When.Each(func(f term.Fact) { found = found || v.plan.In.Points[f.Index].ProvesEquipment >= 0 })
	return found
}

// TestTruthNeverThroughTheProgram: rows are true by confirmed readings. With a program whose
// causes are all wrong the same rows are true in the same runs, and every run fails.
func TestTruthNeverThroughTheProgram(t *testing.T) {
	demo := openDemo(t)
	right := trueRows(newVerifier(t, demo.Plan(), demo.Matrix))
	wrong := proto.CloneOf(demo.Site)
	for _, c := range wrong.GetProgram().GetCauses() {
		c.When = "device('L3-SIREN-RUNNING').active && device('L3-SIREN-RUNNING').fault"
	}
	plan, ok := planOf(wrong)
	if !ok {
		t.Fatal("the wrong program is refused")
	}
	v := newVerifier(t, plan, demo.Matrix)
	for i, rows := range trueRows(v) {
		if !slices.Equal(rows, right[i]) {
			t.Errorf("%s: true rows %q, with the right program %q", v.text(v.runs[i]), rows, right[i])
		}
		for _, own := range v.runs[i].rows {
			if proved(v, own) {
				continue
			}
			if name := v.m.Rows[own].Cause; !slices.ContainsFunc(rows, func(r string) bool { return len(r) >= len(name) && r[:len(name)] == name }) {
				t.Errorf("%s: its own row %s never became true", v.text(v.runs[i]), name)
			}
		}
	}
	report, _ := verified(t, v)
	for _, c := range report.GetCells() {
		if c.GetVerdict() == asRequired.String() && c.GetRequired() != "off" {
			t.Errorf("%s x %s, %s: as required by a program that does nothing", c.GetCause(), c.GetColumn(), c.GetRequired())
		}
	}
}

// TestWorkersMakeNoDifference: the report is the same, byte for byte, however many runs are
// simulated at once.
func TestWorkersMakeNoDifference(t *testing.T) {
	demo := openDemo(t)
	site := proto.CloneOf(demo.Site)
	site.GetProgram().Actions = site.GetProgram().GetActions()[3:] // with differences to report
	plan, ok := planOf(site)
	if !ok {
		t.Fatal("the program is refused")
	}
	write := func(workers int) string {
		v := newVerifier(t, plan, demo.Matrix)
		report, err := v.Run(context.Background(), Options{Workers: workers})
		if err != nil {
			t.Fatal(err)
		}
		if report.GetPassed() {
			t.Fatal("nothing differs")
		}
		var out bytes.Buffer
		if err := WriteText(&out, report); err != nil {
			t.Fatal(err)
		}
		raw, err := protojson.Marshal(report)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Compact(&out, raw); err != nil { // protojson varies its spaces on purpose
			t.Fatal(err)
		}
		return out.String()
	}
	one := write(1)
	for _, workers := range []int{4, 7} {
		if write(workers) != one {
			t.Errorf("with %d workers the report differs from that of one", workers)
		}
	}
}

// TestInterrupted: the report of an interrupted verification covers the runs done, says that it
// is part of the whole, and passes no cell of which a run is still to come.
func TestInterrupted(t *testing.T) {
	demo := openDemo(t)
	for _, after := range []int{0, 1, 40} {
		v := newVerifier(t, demo.Plan(), demo.Matrix)
		ctx, cancel := context.WithCancel(context.Background())
		if after == 0 {
			cancel()
		}
		last := 0
		report, err := v.Run(ctx, Options{Workers: 2, Progress: func(done, total int) {
			if last++; done != last || total != v.Runs() {
				t.Errorf("progress %d of %d, after %d of %d", done, total, last-1, v.Runs())
			}
			if done == after {
				cancel()
			}
		}})
		cancel()
		if err != nil {
			t.Fatal(err)
		}
		if !report.GetInterrupted() || report.GetPassed() {
			t.Errorf("after %d runs: interrupted %v, passed %v", after, report.GetInterrupted(), report.GetPassed())
		}
		if runs := int(report.GetCounts().GetRuns()); runs != last || runs >= v.Runs() {
			t.Errorf("after %d runs: the report covers %d, %d were done, of %d", after, runs, last, v.Runs())
		}
		if n := cellsOf(report, notJudged); n == 0 || n < cellsOf(report, asRequired) && after == 0 {
			t.Errorf("after %d runs: %d cells are not judged", after, n)
		}
		if after == 0 && len(report.GetCells()) == 0 {
			t.Error("no cells are reported")
		}
		for _, c := range report.GetCells() {
			if c.GetVerdict() == asRequired.String() && int(c.GetWays()) > last {
				t.Errorf("%s x %s is as required after %d runs, of %d ways", c.GetCause(), c.GetColumn(), last, c.GetWays())
			}
		}
	}
}

func cellsOf(r *pb.VerifyReport, v verdict) int {
	n := 0
	for _, c := range r.GetCells() {
		if c.GetVerdict() == v.String() {
			n++
		}
	}
	return n
}
