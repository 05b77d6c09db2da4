package script

import (
	"math/rand/v2"
	"testing"
	"time"
)

// Every form against a twin that looks at each nanosecond of a short run: a list of truths, and
// the sentences of rule J17 and of the schema (Expectation) said over it as plainly as they can be.
func TestJudgeAgainstEveryNanosecond(t *testing.T) {
	const end = 12
	forms := []form{at, by, since, never, always, once}
	passed, failed := map[form]int{}, map[form]int{}
	for seed := range uint64(20000) {
		r := rand.New(rand.NewPCG(seed, 7))
		tr := trace{before: r.IntN(2) == 0}
		truths := make([]bool, end+1)
		last := tr.before
		for i := range truths {
			if r.IntN(4) == 0 {
				last = !last
			}
			truths[i] = last
			if r.IntN(2) == 0 || i == 0 || truths[i] != truths[i-1] { // instants without a change are observed or not
				tr.observe(time.Duration(i), last)
			}
		}
		e := expectation{form: forms[r.IntN(len(forms))], from: time.Duration(r.IntN(end + 1))}
		e.to = e.from + time.Duration(r.IntN(int(end-e.from)+1))
		v := e.judge(&tr, end)
		if want := naive(&e, tr.before, truths); v.passed != want {
			t.Fatalf("seed %d: form %d from %d to %d over %v, %v before: passed %v, want %v (%s)", seed, e.form, e.from, e.to, truths, tr.before, v.passed, want, v.got)
		}
		if v.at > end || v.look > end || !v.passed && (v.expected == "" || v.got == "") {
			t.Fatalf("seed %d: a verdict outside the run, or a failure without words: %+v", seed, v)
		}
		if v.passed {
			passed[e.form]++
		} else {
			failed[e.form]++
		}
	}
	for _, f := range forms {
		if passed[f] < 100 || failed[f] < 100 {
			t.Errorf("form %d passed %d times and failed %d times: too seldom for a test", f, passed[f], failed[f])
		}
	}
}

func naive(e *expectation, before bool, truths []bool) bool {
	from, to := int(e.from), int(e.to)
	count := func(list []bool, is bool) int {
		n := 0
		for _, truth := range list {
			if truth == is {
				n++
			}
		}
		return n
	}
	interval := truths[from : to+1]
	switch e.form {
	case at:
		return truths[to]
	case by:
		return truths[to] && count(truths[:to], false) > 0
	case since:
		was := before
		if from > 0 {
			was = truths[from-1]
		}
		return !was && count(interval, true) > 0
	case never:
		return count(interval, true) == 0
	case always:
		return count(interval, false) == 0
	}
	begins := 0
	for i, truth := range interval {
		if truth && (i == 0 || !interval[i-1]) {
			begins++
		}
	}
	return begins == 1
}
