package site

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// LoadSite reads a site.yaml. The message is never nil; with a finding that refuses, it holds
// what could be read and may break any rule of the schema. Findings are placed and sorted.
func (l Limits) LoadSite(file File) (*pb.Site, *Index, []*pb.Finding) {
	l = l.orDefault()
	m := &pb.Site{}
	index, findings := load(file, l.SiteBytes, l.Findings, m)
	return m, index, findings
}

// LoadScenario reads a scenario, as LoadSite does a site.
func (l Limits) LoadScenario(file File) (*pb.Scenario, *Index, []*pb.Finding) {
	l = l.orDefault()
	m := &pb.Scenario{}
	index, findings := load(file, l.ScenarioBytes, l.Findings, m)
	return m, index, findings
}

// load reads a file into m.
func load(file File, maxBytes, maxFindings int, m proto.Message) (*Index, []*pb.Finding) {
	root, findings := parse(file, maxBytes)
	index := newIndex(file)
	if root == nil {
		return index, findings
	}
	r := &reader{file: file.Path, index: index, findings: findings, spoiled: map[string]bool{}, root: m.ProtoReflect().Descriptor(), cut: len(findings) > 0}
	if r.plainRoot(root) {
		r.message(root, m.ProtoReflect(), "", "the file")
		if !r.spoiled[""] {
			r.validate(m)
		}
	}
	finding.Sort(r.findings)
	return index, curtail(r.findings, maxFindings)
}

// curtail keeps the first findings of a file, and says how many more there are.
func curtail(findings []*pb.Finding, limit int) []*pb.Finding {
	if len(findings) <= limit {
		return findings
	}
	rest := finding.Refuse("findings.more", "", fmt.Sprintf("%d more problems are not listed", len(findings)-limit), "put these right first")
	rest.Position = proto.CloneOf(findings[limit].GetPosition())
	return append(findings[:limit:limit], rest)
}
