package matrix

import (
	"fmt"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// maxRefusals is after how many refusals the rest of a file is not read: behind a wrong export
// stand thousands of the same.
const maxRefusals = 1000

// report collects the findings of one file.
type report struct {
	findings []*pb.Finding
	refusals int
}

func (r *report) refuse(at Place, code, title, detail string) {
	r.refusals++
	r.add(at, finding.Refuse(code, at.cell(), title, detail))
}

func (r *report) warn(at Place, code, title, detail string) {
	r.add(at, finding.Warn(code, at.cell(), title, detail))
}

func (r *report) add(at Place, f *pb.Finding) {
	f.Position = at.proto()
	r.findings = append(r.findings, f)
}

// full reports whether reading on is of no use.
func (r *report) full() bool { return r.refusals >= maxRefusals }

// done returns the findings in the order of their places.
func (r *report) done() []*pb.Finding {
	finding.Sort(r.findings)
	if r.full() {
		r.findings = append(r.findings, finding.Refuse("matrix.limit", "",
			fmt.Sprintf("the rest of the file was not read after %d problems", r.refusals), "correct those listed first"))
	}
	return r.findings
}

// cell names the cell as spreadsheets do in their R1C1 form, as far as it is known.
func (p Place) cell() string {
	switch {
	case p.Row == 0:
		return ""
	case p.Field == 0:
		return fmt.Sprintf("R%d", p.Row)
	}
	return fmt.Sprintf("R%dC%d", p.Row, p.Field)
}

func (p Place) proto() *pb.Position {
	return &pb.Position{Line: int32(p.Line), Column: int32(p.Column)}
}
