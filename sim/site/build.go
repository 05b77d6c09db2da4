package site

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// Built is a site with everything joined: immutable, and shared by all drills of the site.
type Built struct {
	Site         *pb.Site
	Index        *Index
	Installation *loop.Installation
	World        *term.World
	Program      *logic.Program // nil if the program is refused
	Matrix       *matrix.Matrix // nil if the bundle has none
	MatrixFile   string         // its path, for positions
	Scenarios    []Scenario
	Errors       int // findings of severity error: with any a verification fails

	sound bool // nothing refuses the installation
}

// Scenario is one scenario of a bundle.
type Scenario struct {
	Message *pb.Scenario
	Index   *Index
}

// Build reads a bundle within DefaultLimits. See Limits.Build.
func Build(b Bundle) (*Built, []*pb.Finding) { return DefaultLimits().Build(b) }

// Build reads and joins everything of a bundle, and reports the problems of all its files
// together, placed and sorted. The result is never nil; with a finding that refuses it must not
// be simulated.
//
// The models are asked even where the file breaks rules of the schema, so that a mistyped key
// and a dangling reference are reported at once; what they say about a path that is refused
// already is left out as a consequence.
func (l Limits) Build(b Bundle) (*Built, []*pb.Finding) {
	l = l.orDefault()
	out := &Built{}
	var found []*pb.Finding
	out.Site, out.Index, found = l.LoadSite(b.Site)
	if !unread(found) {
		found = append(found, out.join(found)...)
		if b.Matrix != nil {
			found = append(found, out.readMatrix(*b.Matrix, l.MatrixBytes)...)
		}
	}
	scenarios := b.Scenarios
	if len(scenarios) > l.Scenarios {
		found = append(found, pos{1, 1}.at(scenarios[l.Scenarios].Path, finding.Refuse("file.too-many", "",
			fmt.Sprintf("there are %d scenarios: at most %d", len(scenarios), l.Scenarios), "take some of them to another folder")))
		scenarios = scenarios[:l.Scenarios]
	}
	for _, file := range scenarios {
		m, index, problems := l.LoadScenario(file)
		out.Scenarios = append(out.Scenarios, Scenario{m, index})
		found = append(found, problems...)
	}
	finding.Sort(found)
	for _, f := range found {
		if f.GetSeverity() == pb.Severity_SEVERITY_ERROR {
			out.Errors++
		}
	}
	return out, found
}

// unread tells whether a file could not be read, or not to its end. What its parts refer to is then
// not judged: all that is missing would be reported as a mistake of whatever names it.
func unread(found []*pb.Finding) bool {
	return slices.ContainsFunc(found, func(f *pb.Finding) bool { return f.GetPath() == "" })
}

// join compiles installation and program, and places what they find.
func (b *Built) join(refused []*pb.Finding) []*pb.Finding {
	var found []*pb.Finding
	m := b.Site
	if len(refused) > 0 {
		m = proto.CloneOf(m)
		complete(m.ProtoReflect())
	}
	b.Installation, found = loop.Compile(m)
	found = append(found, rule.Check(m.GetRules())...)
	b.sound = len(refused) == 0 && finding.Worst(found) != pb.Severity_SEVERITY_REFUSED
	b.World = World(m, b.Installation)
	b.World.Partial = !b.sound
	program, problems := logic.Compile(m, b.World)
	b.Program = program
	found = withoutConsequences(append(found, problems...), refused)
	b.Index.Place(found)
	return found
}

// complete puts an empty part in the place of each required part that a refused file leaves out,
// because the models take required parts for granted.
func complete(m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		switch {
		case fd.Message() == nil || fd.Message().FullName() == durationName:
		case fd.IsList():
			for j := range m.Get(fd).List().Len() {
				complete(m.Get(fd).List().Get(j).Message())
			}
		case m.Has(fd) || rulesOf(fd, false).GetRequired():
			complete(m.Mutable(fd).Message())
		}
	}
}

// withoutConsequences drops findings about a path that is refused already, or about a part of it.
func withoutConsequences(found, refused []*pb.Finding) []*pb.Finding {
	spoiled := map[string]bool{}
	for _, f := range refused {
		if f.GetPath() != "" {
			spoiled[f.GetPath()] = true
		}
	}
	var kept []*pb.Finding
	for _, f := range found {
		path := f.GetPath()
		for path != "" && !spoiled[path] {
			path = parent(path)
		}
		if path == "" {
			kept = append(kept, f)
		}
	}
	return kept
}

// readMatrix parses the required matrix over the built world.
func (b *Built) readMatrix(file File, limit int) []*pb.Finding {
	if len(file.Data) > limit {
		return []*pb.Finding{tooLarge(file.Path, limit)}
	}
	var found []*pb.Finding
	b.MatrixFile = file.Path
	b.Matrix, found = matrix.Parse(file.Data, b.World, b.names())
	for _, f := range found {
		if f.GetPosition() == nil {
			f.Position = &pb.Position{Line: 1, Column: 1}
		}
		f.Position.File = file.Path
	}
	return found
}

// names lists what the matrix may refer to in the program.
func (b *Built) names() matrix.Names {
	var names matrix.Names
	for _, e := range b.Site.GetProgram().GetEffects() {
		effect := matrix.Effect{ID: e.GetEffect()}
		for _, ref := range e.GetOutputs() {
			if i, ok := b.World.OutputRefs[ref]; ok {
				effect.Outputs = append(effect.Outputs, i)
			}
		}
		names.Effects = append(names.Effects, effect)
	}
	reader := term.NewReader(b.World)
	for _, c := range b.Site.GetProgram().GetCauses() {
		// The program's own compiler reports the problems of its causes.
		when, problems := reader.Parse(c.GetWhen(), term.Cause)
		if len(problems) > 0 {
			when = nil
		} else {
			when = logic.Signals(when, b.Site.GetProgram(), b.World)
		}
		names.Causes = append(names.Causes, matrix.Cause{ID: c.GetCause(), When: when})
	}
	return names
}
