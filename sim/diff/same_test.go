package diff

import (
	"fmt"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// shuffleKept shuffles a list; the entries for which keep is true stay in their order among themselves.
func shuffleKept[T any](r *rand.Rand, list []T, keep func(T) bool) {
	var kept []T
	for _, x := range list {
		if keep(x) {
			kept = append(kept, x)
		}
	}
	r.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
	for i := range list {
		if keep(list[i]) {
			list[i], kept = kept[0], kept[1:]
		}
	}
}

func shuffle[T any](r *rand.Rand, list []T) { shuffleKept(r, list, func(T) bool { return false }) }

// spelt writes a site in another way that says the same: lists in another order, other ids, other texts for
// people, what holds by default written out.
func spelt(r *rand.Rand, m *pb.Site) *pb.Site {
	m = proto.CloneOf(m)
	p := m.GetProgram()
	shuffle(r, m.GetPlaces())
	shuffle(r, m.GetZones())
	shuffle(r, m.GetSupplies())
	shuffle(r, m.GetEquipment())
	shuffle(r, m.GetDeviceTypes())
	shuffle(r, m.GetPanel().GetOutputs())
	shuffle(r, p.GetControls())
	shuffle(r, p.GetOverrides())
	shuffle(r, p.GetPhasings())
	shuffle(r, p.GetDetection())
	shuffle(r, p.GetCauses())
	shuffle(r, p.GetActions())
	shuffleKept(r, p.GetEffects(), func(e *pb.Effect) bool { return e.GetOneOf() != "" })
	for _, a := range p.GetActions() {
		shuffle(r, a.GetCauses())
		shuffle(r, a.GetEffects())
	}
	for _, e := range p.GetEffects() {
		shuffle(r, e.GetOutputs())
	}
	for _, e := range m.GetEquipment() {
		shuffle(r, e.GetTrip().GetCuts())
		e.Title = fmt.Sprint("text ", r.IntN(1000))
	}
	for _, l := range m.GetLoops() {
		for _, d := range l.GetDevices() {
			shuffle(r, d.GetGroups())
		}
	}
	if m.GetPanel().GetResound() == "" {
		if m.GetPanel() == nil {
			m.Panel = &pb.Panel{}
		}
		m.Panel.Resound = "new-zone"
	}
	rename(r, m)
	return m
}

var named = regexp.MustCompile(`\b(zone|place|group|equipment|supply|control|cause|override)\('([^']*)'\)`)

// rename gives everything that has an id a new one.
func rename(r *rand.Rand, m *pb.Site) {
	ids := map[string]string{}
	fresh := func(what, id string) string {
		if id == "" || what == "supply" && id == "panel" {
			return id
		}
		key := what + " " + id
		if ids[key] == "" {
			ids[key] = fmt.Sprintf("x%d-%d", r.IntN(1000), len(ids))
		}
		return ids[key]
	}
	what := map[protoreflect.Name]string{"place": "place", "zone": "zone", "supply": "supply", "equipment": "equipment", "serves": "equipment", "cuts": "equipment",
		"groups": "group", "control": "control", "cause": "cause", "causes": "cause", "effect": "effect", "effects": "effect", "one_of": "set", "other_zones": "zone",
		"hold": "control", "hurry": "control", "opposes": "effect", "override": "override", "phasing": "phasing"}
	var walk func(m protoreflect.Message)
	walk = func(m protoreflect.Message) {
		m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			w, isID := what[fd.Name()]
			switch {
			case fd.Message() != nil && fd.IsList():
				for i := range v.List().Len() {
					walk(v.List().Get(i).Message())
				}
			case fd.Message() != nil:
				walk(v.Message())
			case isID && fd.IsList() && fd.Kind() == protoreflect.StringKind:
				for i := range v.List().Len() {
					v.List().Set(i, protoreflect.ValueOfString(fresh(w, v.List().Get(i).String())))
				}
			case isID && fd.Kind() == protoreflect.StringKind:
				m.Set(fd, protoreflect.ValueOfString(fresh(w, v.String())))
			case fd.Kind() == protoreflect.StringKind && !fd.IsList():
				m.Set(fd, protoreflect.ValueOfString(named.ReplaceAllStringFunc(v.String(), func(text string) string {
					parts := named.FindStringSubmatch(text)
					return parts[1] + "('" + fresh(parts[1], parts[2]) + "')"
				})))
			}
			return true
		})
	}
	walk(m.ProtoReflect())
}

// TestSame: what is only written in another way is the same, on every site of the test data and on a
// generated one.
func TestSame(t *testing.T) {
	sites := []*site.Built{read(t, bench+program), grid(t, 2, 60)}
	folders, err := os.ReadDir("../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range folders {
		if _, err := os.Stat("../../testdata/" + f.Name() + "/site.yaml"); err == nil {
			sites = append(sites, open(t, f.Name()))
		}
	}
	for _, built := range sites {
		for seed := range uint64(20) {
			r := rand.New(rand.NewPCG(seed, 1))
			other, ok := made(spelt(r, built.Site))
			if !ok {
				t.Fatalf("%s, seed %d: the site written in another way is refused", built.Site.GetSite(), seed)
			}
			if report := compare(t, built, other); !report.GetSame() {
				t.Fatalf("%s, seed %d:\n%s", built.Site.GetSite(), seed, reportText(t, report))
			}
			if report := compare(t, other, built); !report.GetSame() {
				t.Fatalf("%s, seed %d, turned round:\n%s", built.Site.GetSite(), seed, reportText(t, report))
			}
		}
	}
}

// TestOneOfOrder: of two effects of one set that can be demanded at one instant the first in the file holds
// it, so their order is no spelling.
func TestOneOfOrder(t *testing.T) {
	old := read(t, bench+program)
	m := proto.CloneOf(old.Site)
	effects := m.GetProgram().GetEffects()
	slices.Reverse(effects)
	changed, _ := made(m)
	report := compare(t, old, changed)
	if report.GetSame() || len(report.GetDifferences()) != 1 || report.GetDifferences()[0].GetKind() != "order" {
		t.Errorf("the effects of a one_of set exchanged:\n%s", reportText(t, report))
	}
}
