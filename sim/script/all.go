package script

import (
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// CompileAll resolves the scenarios of a site that can be drilled, and adds what it finds to what was
// found in the files before, placed and sorted. A scenario whose file is refused is left out.
func CompileAll(built *site.Built, findings []*pb.Finding) ([]*Script, []*pb.Finding) {
	refused := map[string]bool{}
	for _, f := range findings {
		if f.GetSeverity() == pb.Severity_SEVERITY_REFUSED {
			refused[f.GetPosition().GetFile()] = true
		}
	}
	if built.Program == nil || refused[built.Index.File()] {
		return nil, findings
	}
	plan := built.Plan()
	var scripts []*Script
	for _, sc := range built.Scenarios {
		if refused[sc.Index.File()] {
			continue
		}
		s, found := Compile(plan, sc.Message)
		sc.Index.Place(found)
		scripts, findings = append(scripts, s), append(findings, found...)
	}
	finding.Sort(findings)
	return scripts, findings
}
