package verify

import (
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestGarbledRepliesAreLeftOut: with line errors in the file the responses are those of the same
// site without, cell by cell.
func TestGarbledRepliesAreLeftOut(t *testing.T) {
	demo := openDemo(t)
	want, _ := verified(t, newVerifier(t, demo.Plan(), demo.Matrix))
	garbled := proto.Clone(demo.Site).(*pb.Site)
	for _, l := range garbled.GetLoops() {
		if l.GetLine() == nil {
			l.Line = &pb.Line{}
		}
		l.Line.ErrorRate = new(0.3)
	}
	plan, ok := planOf(garbled)
	if !ok {
		t.Fatal("the demo with line errors is refused")
	}
	got, _ := verified(t, newVerifier(t, plan, demo.Matrix))
	for i, cell := range got.GetCells() {
		if w := want.GetCells()[i]; cell.GetVerdict() != w.GetVerdict() || cell.GetWorstS() != w.GetWorstS() || cell.GetBoundS() != w.GetBoundS() {
			t.Errorf("%s x %s: %s %v s (computed %v s), want %s %v s (computed %v s)", cell.GetCause(), cell.GetColumn(),
				cell.GetVerdict(), cell.GetWorstS(), cell.GetBoundS(), w.GetVerdict(), w.GetWorstS(), w.GetBoundS())
		}
	}
	if len(got.GetCells()) == 0 {
		t.Fatal("no cells")
	}
}
