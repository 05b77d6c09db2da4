package verify

import (
	"maps"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim/drill"
)

// A stage that another one follows, or that ends by itself, is over when silence comes at the horizon. So the
// run is made once more for each, with silence as soon as the stage has begun: only what the cells call silenceable
// ceases, and a later, stronger stage sounds again (rules E8, J4).
//
// Left out: silence before the last signal of a run, since a new alarm may end it.

// stage is one output in a state that it leaves again before the horizon.
type stage struct {
	course *matrix.Course
	begins time.Duration // as the cells have it, to the letter
}

// midway judges silence in every such stage.
func (j *judgement) midway() {
	stages := j.passing()
	for _, at := range slices.Sorted(maps.Keys(stages)) {
		if err := j.silencedAt(at, stages[at]); err != nil {
			j.out.err = err
			return
		}
	}
}

// passing finds the stages of all outputs, by the instant just after the panel first demanded them.
func (j *judgement) passing() map[time.Duration][]stage {
	stages := map[time.Duration][]stage{}
	for i := range j.courses {
		c := &j.courses[i]
		if c.NotJudged || j.operated(int32(c.Output)) || j.failedAlready(int32(c.Output)) {
			continue
		}
		for k := range c.Transitions {
			t := &c.Transitions[k]
			last := k+1 == len(c.Transitions) || c.Transitions[k+1].At >= j.c.silence
			if last || t.State == term.Rest {
				continue
			}
			if at := j.operations[c.Output][k].t2 + 1; at > j.c.stimulated {
				stages[at] = append(stages[at], stage{c, t.At})
			}
		}
	}
	return stages
}

// silencedAt makes the run with silence at an instant, and looks at what the panel demands then and at the horizon.
func (j *judgement) silencedAt(at time.Duration, stages []stage) error {
	d := j.w.v.bases[j.r.givenKey].Fork()
	if err := j.w.stimulate(j.r, &course{d: d}); err != nil {
		return err
	}
	if err := act(d, at, drill.Act{Kind: drill.ActSilence}); err != nil {
		return err
	}
	j.demandedAfter(d, at, stages, func(s stage) time.Duration { return s.begins })
	if err := d.RunUntil(j.c.silence - 1); err != nil {
		return err
	}
	if d.Fact(term.Fact{Kind: term.PanelSilenced}) { // else a new alarm has ended it
		j.demandedAfter(d, at, stages, func(stage) time.Duration { return j.c.silence - 1 })
	}
	return nil
}

// demandedAfter compares what the panel demands with what the course leaves of each stage at an instant after silence.
func (j *judgement) demandedAfter(d *drill.Drill, silence time.Duration, stages []stage, at func(stage) time.Duration) {
	for _, s := range stages {
		want, got := afterSilence(s.course, s.begins, at(s)), inMatrix(d.Demanded(int32(s.course.Output)))
		if got == want || j.failedAlready(int32(s.course.Output)) {
			continue
		}
		verdict := wronglySilenced
		if got > want {
			verdict = notSilenced
		}
		_, leaders := s.course.At(at(s))
		j.attribute(s.course, difference{verdict: verdict, stage: "silence", output: int32(s.course.Output), at: d.Instant(),
			required: want.String() + " at " + drill.Seconds(d.Instant()) + " with silence at " + drill.Seconds(silence),
			observed: "the panel demands " + got.String()}, leaders)
	}
}
