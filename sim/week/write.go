package week

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Write returns a scenario as its file has it: a line for each step and expectation.
func Write(m *pb.Scenario) string {
	var out strings.Builder
	fmt.Fprintf(&out, "scenario: %s\n", quoted(m.GetScenario()))
	if m.GetSeed() != 0 {
		fmt.Fprintf(&out, "seed: %d\n", m.GetSeed())
	}
	if m.GetBegins() != nil {
		fmt.Fprintf(&out, "begins: %s\n", flow(m.GetBegins().ProtoReflect()))
	}
	if len(m.GetSteps()) > 0 {
		out.WriteString("steps:\n")
	}
	for _, s := range m.GetSteps() {
		fmt.Fprintf(&out, "  - %s\n", flow(s.ProtoReflect()))
	}
	if len(m.GetExpect()) > 0 {
		out.WriteString("expect:\n")
	}
	for _, e := range m.GetExpect() {
		fmt.Fprintf(&out, "  - %s\n", flow(e.ProtoReflect()))
	}
	if m.GetOthers() != "" {
		fmt.Fprintf(&out, "others: %s\n", m.GetOthers())
	}
	return out.String()
}

// flow writes a message in one line, its keys in the order of the schema.
func flow(m protoreflect.Message) string {
	if d, ok := m.Interface().(*durationpb.Duration); ok {
		return duration(d.AsDuration())
	}
	var parts []string
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if m.Has(fd) {
			parts = append(parts, string(fd.Name())+": "+scalar(fd, m.Get(fd)))
		}
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

func scalar(fd protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		return flow(v.Message())
	case protoreflect.StringKind:
		return quoted(v.String())
	case protoreflect.DoubleKind:
		return strconv.FormatFloat(v.Float(), 'f', -1, 64)
	}
	return v.String()
}

// quoted writes a text between double quotes, as YAML and as CEL in it need them. Texts of scenarios
// are printable.
func quoted(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(text) + `"`
}

// duration writes a time as files have it: hours, minutes, and seconds to the nanosecond.
func duration(d time.Duration) string {
	if d == 0 {
		return "0s"
	}
	var out strings.Builder
	if h := d / time.Hour; h > 0 {
		fmt.Fprintf(&out, "%dh", h)
	}
	if m := d % time.Hour / time.Minute; m > 0 {
		fmt.Fprintf(&out, "%dm", m)
	}
	if s := d % time.Minute; s > 0 {
		whole := strconv.FormatInt(int64(s/time.Second), 10)
		rest := strings.TrimRight(fmt.Sprintf("%09d", s%time.Second), "0")
		if rest != "" {
			whole += "." + rest
		}
		out.WriteString(whole + "s")
	}
	return out.String()
}
