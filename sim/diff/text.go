package diff

import (
	"fmt"
	"io"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/page"
)

// WriteText writes a report for people: the verdict, each difference with its smallest stimulus and both
// courses, and what must be tested again where that was asked for.
func WriteText(w io.Writer, r *pb.DiffReport) error {
	t := &text{}
	if r.GetRetest() != nil {
		t.retest(r.GetRetest())
		t.Line("")
	}
	t.head(r)
	for i, d := range r.GetDifferences() {
		t.difference(i+1, d)
	}
	if len(r.GetNotes()) > 0 {
		t.Line("")
	}
	for _, n := range r.GetNotes() {
		t.Wrap("note: ", "      ", n)
	}
	t.Line("")
	t.Wrap("", "", r.GetCaution())
	if _, err := io.WriteString(w, t.String()); err != nil {
		return fmt.Errorf("writing the report: %w", err)
	}
	return nil
}

// text collects lines.
type text struct{ page.Page }

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func (t *text) head(r *pb.DiffReport) {
	if r.GetSame() {
		t.Line("SAME: %s and %s do the same", r.GetOld(), r.GetNew())
	} else {
		t.Line("DIFFERENT: %s", plural(len(r.GetDifferences()), "difference"))
	}
	c := r.GetCounts()
	left := ""
	if c.GetRunsLeftOut() > 0 {
		left = fmt.Sprintf(", %d more left out", c.GetRunsLeftOut())
	}
	times := "times compared to the nanosecond"
	if c.GetToleranceS() > 0 {
		times = fmt.Sprintf("times within %.4g s count as equal, since polling or the order of commands differs", c.GetToleranceS())
	}
	t.Wrap("", "", fmt.Sprintf("%s decided over all combinations of %s; %s on both sites%s; %s", plural(int(c.GetOutputs()), "output"), plural(int(c.GetFacts()), "fact"), plural(int(c.GetRuns()), "run"), left, times))
}

// maxSubjects bounds the names that one difference shows.
const maxSubjects = 6

func (t *text) difference(n int, d *pb.Difference) {
	t.Line("")
	names := d.GetSubjects()
	more := ""
	if len(names) > maxSubjects {
		names, more = names[:maxSubjects], fmt.Sprintf(" and %d more", len(names)-maxSubjects)
	}
	t.Wrap(fmt.Sprintf("%d. %s ", n, d.GetKind()), "   ", strings.Join(names, ", ")+more+": "+d.GetTitle())
	side := func(lead, words string, at *pb.Position) {
		if words == "" && at == nil {
			return
		}
		if at != nil {
			words = strings.TrimSpace(fmt.Sprintf("%s [%s:%d]", words, at.GetFile(), at.GetLine()))
		}
		t.Wrap("   "+lead+" ", "       ", words)
	}
	side("old", d.GetOld(), d.GetOldPosition())
	if d.GetOld() == "" && d.GetKnown() == simulated && d.GetKind() != "behaviour" && d.GetKind() != "sequence" && d.GetNew() != "" {
		side("new", "", d.GetNewPosition())
		t.Wrap("   computed: ", "       ", d.GetNew())
	} else if d.GetKnown() == computed {
		side("new", "", d.GetNewPosition())
	} else {
		side("new", d.GetNew(), d.GetNewPosition())
	}
	switch d.GetKnown() {
	case computed:
		t.Wrap("   computed: ", "       ", d.GetNew())
		t.Wrap("   ", "   ", fmt.Sprintf("%s showed no difference", plural(int(d.GetRuns()), "run")))
	case decided:
		if d.GetStimulus() != "" {
			t.Wrap("   by: ", "       ", d.GetStimulus())
		}
		t.Wrap("   ", "   ", fmt.Sprintf("decided by the conditions; %s showed no difference", plural(int(d.GetRuns()), "run")))
	case unseen:
		t.Wrap("   ", "   ", fmt.Sprintf("differs in the file; no difference was seen in %s", plural(int(d.GetRuns()), "run")))
	case simulated:
		t.Wrap("   shown by: ", "       ", d.GetStimulus())
		t.course("old", d.GetOldCourse(), 0)
		t.course("new", d.GetNewCourse(), alikeLinks(d.GetOldCourse().GetChain(), d.GetNewCourse().GetChain()))
		if len(d.GetAlso()) > 0 {
			t.Wrap("   also: ", "       ", namesText(d.GetAlso()))
		}
	}
}

// alikeLinks is how many links two chains begin with alike.
func alikeLinks(a, b []*pb.ChainLink) int {
	n := 0
	for n < min(len(a), len(b)) && a[n].GetAtS() == b[n].GetAtS() && a[n].GetWhat() == b[n].GetWhat() {
		n++
	}
	return n
}

// course writes one site's course; of its chain the links that the other site's has too are not repeated.
func (t *text) course(side string, c *pb.DiffCourse, alike int) {
	t.Wrap("   "+side+" ", "       ", c.GetSubject()+": "+c.GetDid())
	switch chain := c.GetChain(); {
	case alike == len(chain) && alike > 0:
		t.Line("                    as above, up to %.6f s", chain[alike-1].GetAtS())
	case alike > 0:
		t.Line("                    as above, up to %.6f s; then", chain[alike-1].GetAtS())
	}
	for _, link := range c.GetChain()[alike:] {
		t.Link(link)
	}
}

func (t *text) retest(r *pb.Retest) {
	t.Line("TEST AGAIN ON SITE")
	t.Wrap("", "", r.GetCaution())
	t.Wrap("", "", r.GetRule()+".")
	t.Line("")
	t.Line("Functions affected: all %d", len(r.GetFunctions()))
	for _, f := range r.GetFunctions() {
		t.Wrap("[ ] ", "    ", namesText(f.GetSubjects())+": "+f.GetTest())
		if f.GetOperate() != "" {
			t.Wrap("    operate: ", "      ", f.GetOperate())
		}
	}
	t.Line("")
	t.Line("Initiating devices affected: all %d", len(r.GetAffected()))
	for _, d := range r.GetAffected() {
		t.device(d)
	}
	if len(r.GetRemoved()) > 0 {
		t.Line("")
		t.Line("Devices gone: %d", len(r.GetRemoved()))
		for _, d := range r.GetRemoved() {
			t.device(d)
		}
	}
	t.Line("")
	t.Line("Initiating devices not affected: %d of %d", len(r.GetSample()), r.GetUnaffected())
	for _, d := range r.GetSample() {
		t.device(d)
	}
}

func (t *text) device(d *pb.RetestDevice) {
	where := d.GetPlace()
	if d.GetZone() != "" {
		where += ", zone " + d.GetZone()
	}
	t.Wrap("[ ] ", "    ", fmt.Sprintf("%-7s %s (%s)", d.GetAddress(), d.GetLabel(), where))
	if d.GetWhy() != "" {
		t.Wrap("    ", "    ", d.GetWhy())
	}
}
