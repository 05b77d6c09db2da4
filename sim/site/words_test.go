package site

import (
	"reflect"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// everyField calls do for each field that a site or a scenario can hold.
func everyField(do func(protoreflect.FieldDescriptor)) {
	seen := map[protoreflect.FullName]bool{}
	var walk func(protoreflect.MessageDescriptor)
	walk = func(md protoreflect.MessageDescriptor) {
		if seen[md.FullName()] || md.FullName() == durationName {
			return
		}
		seen[md.FullName()] = true
		for i := range md.Fields().Len() {
			fd := md.Fields().Get(i)
			do(fd)
			if fd.Message() != nil {
				walk(fd.Message())
			}
		}
	}
	walk((&pb.Site{}).ProtoReflect().Descriptor())
	walk((&pb.Scenario{}).ProtoReflect().Descriptor())
}

// Every pattern of the schema has its words, every kind of field a reader, and no message holds
// itself: the reader is as deep as the schema.
func TestSchemaIsCovered(t *testing.T) {
	fields := 0
	everyField(func(fd protoreflect.FieldDescriptor) {
		fields++
		if pattern := rulesOf(fd, true).GetString().GetPattern(); pattern != "" && patternWords[pattern] == "" {
			t.Errorf("%s: the pattern %s has no words in patternWords", fd.FullName(), pattern)
		}
		switch fd.Kind() {
		case protoreflect.StringKind, protoreflect.BoolKind, protoreflect.DoubleKind, protoreflect.Uint32Kind, protoreflect.Uint64Kind, protoreflect.MessageKind:
		default:
			t.Errorf("%s: the reader knows no %v", fd.FullName(), fd.Kind())
		}
		if fd.IsMap() {
			t.Errorf("%s: the reader knows no map fields", fd.FullName())
		}
	})
	if fields < 300 {
		t.Errorf("only %d fields were looked at", fields)
	}
	var depth func(protoreflect.MessageDescriptor, []protoreflect.FullName)
	depth = func(md protoreflect.MessageDescriptor, above []protoreflect.FullName) {
		if len(above) > 20 {
			t.Fatalf("the schema holds a message inside itself: %v", above)
		}
		for i := range md.Fields().Len() {
			if m := md.Fields().Get(i).Message(); m != nil {
				depth(m, append(above, m.FullName()))
			}
		}
	}
	depth((&pb.Site{}).ProtoReflect().Descriptor(), nil)
	depth((&pb.Scenario{}).ProtoReflect().Descriptor(), nil)
}

// Vocabularies are read from the schema: these are the words of site and scenario files.
func TestVocabulary(t *testing.T) {
	for _, c := range []struct {
		message proto.Message
		field   protoreflect.Name
		want    []string
	}{
		{&pb.Loop{}, "wiring", []string{"ring", "branch"}},
		{&pb.Loop{}, "required_class", []string{"a", "b", "x"}},
		{&pb.Rules{}, "packs", []string{"nfpa72", "en54", "bs5839-1"}},
		{&pb.InputModule{}, "input", []string{"fire", "waterflow", "supervisory", "technical", "release", "hold-off"}},
		{&pb.Cable{}, "class", []string{"1", "2", "5"}},
		{&pb.Device{}, "label", nil},
	} {
		fd := c.message.ProtoReflect().Descriptor().Fields().ByName(c.field)
		if got := vocabulary(fd); !reflect.DeepEqual(got, c.want) {
			t.Errorf("the words of %s are %q, want %q", fd.FullName(), got, c.want)
		}
	}
	want := []string{"smoke_detector", "heat_detector", "multi_criteria_detector", "flame_detector", "call_point", "input_module", "conventional_zone", "control_module", "relay_module", "loop_sounder"}
	if got := members((&pb.Device{}).ProtoReflect().Descriptor().Oneofs().ByName("kind")); !reflect.DeepEqual(got, want) {
		t.Errorf("the kinds of a device are %q, want %q", got, want)
	}
}
