// Package starter writes the files of a site to start from: a small one, a large generated one,
// or one made from an address list.
//
// It leaves out all decisions about the user's own building: what an address list does not say
// is either absent or marked TO COMPLETE in the file. It touches no disk.
//
// Invariants: equal arguments give equal bytes; every site it returns is read by package site
// without a refusal, and the small and the generated one pass check, verify and play.
//
// Validated by running those commands on its output.
package starter

import (
	"embed"
	"fmt"
	"strings"
	"text/template"

	"loopdrill.dev/loopdrill/sim/site"
)

//go:embed templates
var templates embed.FS

// Files are the files of a new site, by their paths inside its folder, and what is said of them.
type Files struct {
	List []site.File
	// Remarks are what the user should know or complete, a line each.
	Remarks []string
}

// Small returns a site of nine devices with a matrix and a scenario.
func Small() Files {
	var out Files
	for _, f := range []struct{ from, to string }{
		{"site.yaml", "site.yaml"}, {"matrix.csv", "matrix.csv"}, {"kitchen-heat.scenario.yaml", "scenarios/kitchen-heat.scenario.yaml"},
	} {
		data, err := templates.ReadFile("templates/small/" + f.from)
		if err != nil {
			panic("starter: an embedded file is missing: " + err.Error())
		}
		out.List = append(out.List, site.File{Path: f.to, Data: data})
	}
	return out
}

// Bundle puts the files together as site.Open would, under folder.
func (f Files) Bundle(folder string) site.Bundle {
	var b site.Bundle
	for _, file := range f.List {
		file.Path = folder + "/" + file.Path
		switch {
		case strings.HasSuffix(file.Path, "/site.yaml"):
			b.Site = file
		case strings.HasSuffix(file.Path, "/matrix.csv"):
			b.Matrix = &file
		default:
			b.Scenarios = append(b.Scenarios, file)
		}
	}
	return b
}

// siteData is what the template of a site is filled with. Devices and actions are whole lines.
type siteData struct {
	Head   []string // comment
	ID     string
	Title  string
	Places []string
	Zones  []string
	Supply string // id; empty for none
	Loops  []loopData
	// Causes, Effects and Actions are empty for a site without a program.
	Causes, Effects, Actions []string
}

type loopData struct {
	Number  int
	Wiring  []string // lines between `loop:` and `devices:`
	Devices []string
}

// render fills the template of a site.
func (d *siteData) render() []byte {
	t, err := template.ParseFS(templates, "templates/site.yaml.tmpl")
	if err != nil {
		panic("starter: the embedded template does not parse: " + err.Error())
	}
	var out strings.Builder
	if err := t.Execute(&out, d); err != nil {
		panic("starter: the embedded template does not fit its data: " + err.Error())
	}
	return []byte(out.String())
}

// scenarioText is a scenario with a line for each step and expectation.
func scenarioText(head, name string, steps, expect []string) []byte {
	var out strings.Builder
	fmt.Fprintf(&out, "# %s\nscenario: %s\nsteps:\n", head, name)
	for _, s := range steps {
		fmt.Fprintf(&out, "  - %s\n", s)
	}
	out.WriteString("expect:\n")
	for _, e := range expect {
		fmt.Fprintf(&out, "  - %s\n", e)
	}
	return []byte(out.String())
}
