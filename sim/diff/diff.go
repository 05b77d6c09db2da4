package diff

import (
	"context"
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/site"
)

// How a difference is known.
const (
	simulated = "simulated" // a run shows it
	decided   = "decided"   // it follows from the conditions, and no run showed it
	computed  = "computed"  // figures differ
	unseen    = "unseen"    // the files differ, and no run showed a difference
)

// Options are the choices of one comparison.
type Options struct {
	Retest   bool           // what must be tested again on site is worked out too
	Progress func(runs int) // called after each run
}

// Compare tells what two sites do differently. Both must be such that nothing refuses them. When ctx ends,
// its error is returned.
func Compare(ctx context.Context, old, changed *site.Built, opt Options) (*pb.DiffReport, error) {
	p := pair(old, changed)
	d, err := decide(p)
	if err != nil {
		return nil, fmt.Errorf("deciding over all combinations of inputs: %w", err)
	}
	r := newRunner(p)
	if err := d.resting(r); err != nil {
		return nil, err
	}
	c := &comparison{p: p, d: d, r: r, play: func(s *stimulus) (*outcome, error) {
		o, err := r.play(ctx, s)
		if opt.Progress != nil {
			opt.Progress(r.runs)
		}
		return o, err
	}}
	c.report = &pb.DiffReport{Old: old.Site.GetSite(), New: changed.Site.GetSite(), Caution: sim.Caution}
	if err := c.behaviour(); err != nil {
		return nil, err
	}
	if err := c.rest(); err != nil {
		return nil, err
	}
	if err := d.f.Err(); err != nil {
		return nil, fmt.Errorf("deciding over all combinations of inputs: %w", err)
	}
	c.report.Counts = &pb.DiffCounts{Outputs: int32(len(p.outputs.toNew)), Facts: int32(len(d.facts)), Runs: int32(r.runs), RunsLeftOut: int32(r.left), ToleranceS: r.tolerance.Seconds()}
	c.report.Same = len(c.report.GetDifferences()) == 0
	if opt.Retest {
		c.report.Retest = c.retest()
	}
	return c.report, nil
}

// comparison is one comparison on its way.
type comparison struct {
	p      *pairing
	d      *decider
	r      *runner
	play   func(*stimulus) (*outcome, error)
	report *pb.DiffReport
	groups []*group
	parts  []*part
	// figures are what calculated has worked out.
	figures [2]*pb.Calculations
}

// behaviour tells what the programs ask differently.
func (c *comparison) behaviour() error {
	c.groups = c.d.groups()
	for _, g := range c.groups {
		c.r.explained = append(c.r.explained, g.outputs...)
	}
	c.r.tolerance = c.r.toleranceOf(len(c.groups) > 0)
	for _, g := range c.groups {
		if err := c.d.show(c.r, g, c.play); err != nil {
			return err
		}
		diff := &pb.Difference{Kind: "behaviour", Known: decided, Old: g.old, New: g.changed, OldPosition: g.oldAt, NewPosition: g.newAt, Runs: int32(g.runs), Also: g.also}
		if g.sequence {
			diff.Kind = "sequence"
		}
		for _, o := range g.outputs {
			diff.Subjects = append(diff.Subjects, c.p.name(term.Fact{Kind: term.OutputState, Index: o}))
		}
		diff.Title = groupTitle(g)
		if g.stimulus != nil {
			diff.Stimulus, diff.StimulusSize = c.p.text(g.stimulus), int32(g.stimulus.count())
		}
		if g.gap != nil {
			diff.Known = simulated
			diff.OldCourse, diff.NewCourse = c.courses(g.shown, *g.gap)
		}
		c.report.Differences = append(c.report.Differences, diff)
	}
	c.report.Differences = append(c.report.Differences, c.d.order()...)
	return nil
}

func groupTitle(g *group) string {
	switch {
	case g.sequence:
		return "the same for every combination that stands, asked in another way"
	case g.old == "":
		return "asked for only by the new site"
	case g.changed == "":
		return "asked for only by the old site"
	}
	return "asked for otherwise"
}

// courses write down what both sites did with one thing in one run.
func (c *comparison) courses(o *outcome, g gap) (old, changed *pb.DiffCourse) {
	var out [2]*pb.DiffCourse
	for s, course := range o.courses {
		steps := c.r.lasting(g.track, course.tracks[g.track])
		out[s] = &pb.DiffCourse{Subject: c.r.trackName(g.track), Did: course.text(steps, g.number)}
		if g.track.kind == trackDemand {
			out[s].Subject += ", as demanded"
		}
		var event uint64
		if g.number < len(steps) {
			event = steps[g.number].event
		} else {
			event = c.towards(s, course, o.courses[1-s], g)
		}
		out[s].Chain = c.r.chain(s, course, event)
	}
	return out[0], out[1]
}

// towards is the last event towards a step that one site did not make: the last decision on the run's own
// signals before the other site made it, or the last thing that happened to what is watched.
func (c *comparison) towards(s int, mine, other *course, g gap) uint64 {
	steps := c.r.lasting(g.track, other.tracks[g.track])
	if g.number >= len(steps) {
		return 0
	}
	until := steps[g.number].at - other.stimulated + mine.stimulated
	last := uint64(0)
	for n := uint64(mine.began) + 1; n <= uint64(mine.log.Len()); n++ {
		e := mine.log.Event(n)
		if e.At > until {
			break
		}
		if mine.mine(e) || c.isAbout(s, e, g.track) {
			last = n
		}
	}
	return last
}

// headline joins changes into one line, of which it shows the first few.
func headline(changes []change) string {
	const most = 4
	var texts []string
	for i := range changes {
		if i == most {
			texts = append(texts, fmt.Sprintf("and %d more", len(changes)-most))
			break
		}
		texts = append(texts, changes[i].text())
	}
	return strings.Join(texts, "; ")
}
