package site

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/cockroachdb/datadriven"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestStories runs testdata/stories. The expected text is the behaviour; `go test -rewrite`
// writes it anew. Commands:
//
//	site, scenario     reads the input; prints the findings, or `good`
//	build              reads the input as a site and joins it with the models
//	message            prints the message that the last input was read to
//	place path=P [offset=N]   prints where the last input has a path
func TestStories(t *testing.T) {
	datadriven.Walk(t, "testdata/stories", func(t *testing.T, path string) {
		var message proto.Message
		var index *Index
		datadriven.RunTest(t, path, func(t *testing.T, d *datadriven.TestData) string {
			var findings []*pb.Finding
			switch d.Cmd {
			case "site":
				message, index, findings = DefaultLimits().LoadSite(File{Path: "site.yaml", Data: []byte(d.Input)})
			case "scenario":
				message, index, findings = DefaultLimits().LoadScenario(File{Path: "a.scenario.yaml", Data: []byte(d.Input)})
			case "build":
				var built *Built
				built, findings = Build(Bundle{Site: File{Path: "site.yaml", Data: []byte(d.Input)}})
				message, index = built.Site, built.Index
			case "message":
				return asJSON(t, message)
			case "place":
				var p string
				var offset int
				d.ScanArgs(t, "path", &p)
				d.MaybeScanArgs(t, "offset", &offset)
				f := finding.Error("story", p, "", "")
				f.Offset = int32(offset)
				index.Place([]*pb.Finding{f})
				return fmt.Sprintf("%d:%d %s\n", f.GetPosition().GetLine(), f.GetPosition().GetColumn(), restOfLine(index, f))
			default:
				d.Fatalf(t, "there is no command %q", d.Cmd)
			}
			if len(findings) == 0 {
				return "good\n"
			}
			var out bytes.Buffer
			if err := WriteText(&out, findings, Plain); err != nil {
				t.Fatal(err)
			}
			return out.String()
		})
	})
}

// restOfLine shows the source from a position on, so that a story can be read.
func restOfLine(x *Index, f *pb.Finding) string {
	line := []rune(x.lines[f.GetPosition().GetLine()-1])
	return string(line[min(len(line), int(f.GetPosition().GetColumn())-1):])
}

// asJSON prints a message with stable blanks; protojson's own change from build to build.
func asJSON(t *testing.T, m proto.Message) string {
	raw, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := json.Compact(&out, raw); err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(out.String(), `,"`, ",\n\"") + "\n"
}
