package diff

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// change is one field that differs once both files are in the same words.
type change struct {
	kind    string // of the difference it belongs to
	subject string
	what    string // field, in words
	old     string // empty: not given
	changed string
	paths   [2]string // field path on each side; empty where a side has none

	point, output, equipment, zone, loop int32 // common numbers of what it is about; -1
}

// text says what a field was and is.
func (c *change) text() string {
	given := func(v string) string {
		if v == "" {
			return "not given"
		}
		return v
	}
	if c.changed == isGone || c.changed == isNew {
		return strings.TrimSpace(c.what + " " + c.changed)
	}
	return fmt.Sprintf("%s %s -> %s", c.what, given(c.old), given(c.changed))
}

// What a change to an entry as a whole is.
const (
	isGone = "gone"
	isNew  = "new"
)

// comparer walks two messages of one type side by side.
type comparer struct {
	p        *pairing
	defaults map[string]string // parent key and key -> value in force without it
	same     func(old, changed string) bool
	subject  change // what the walk is about just now: kind, subject and numbers
	found    []change
	texts    int // texts for people that differ
}

// forPeople are fields that only people read.
var forPeople = map[protoreflect.FullName]bool{
	"loopdrill.v1.Site.site": true, "loopdrill.v1.Site.title": true, "loopdrill.v1.Equipment.title": true, "loopdrill.v1.Cause.title": true,
	"loopdrill.v1.Effect.title": true, "loopdrill.v1.Limit.why": true,
}

// apart are fields that are compared elsewhere: wiring order, the calendar, and what the program asks of outputs.
var apart = map[protoreflect.FullName]bool{
	"loopdrill.v1.Loop.devices": true, "loopdrill.v1.Program.causes": true, "loopdrill.v1.Program.effects": true, "loopdrill.v1.Program.actions": true,
	"loopdrill.v1.Panel.calendar": true, "loopdrill.v1.Program.phasings": true, "loopdrill.v1.Override.effects": true, "loopdrill.v1.Override.opposes": true,
}

// sets are lists in which order has no meaning.
var sets = map[protoreflect.Name]bool{
	"groups": true, "latched": true, "serves": true, "deenergise_to_operate": true, "cuts": true, "effects": true, "opposes": true,
	"other_zones": true, "together": true, "days": true,
}

// keys are the fields that name an entry of a list.
var keys = map[protoreflect.Name]protoreflect.Name{
	"places": "place", "zones": "zone", "supplies": "supply", "equipment": "equipment", "loops": "loop", "device_types": "type", "limits": "limit",
	"outputs": "label", "loads": "label", "detection": "zone", "controls": "control", "phasings": "phasing", "overrides": "override", "floors": "floor",
}

// switches are messages whose presence means something by itself.
var switches = map[protoreflect.Name]bool{"investigate": true, "verification": true, "watches": true, "proves": true, "drives": true, "supply": true}

// translate puts a word of the new site into the old site's, where the field names something that is matched.
func (c *comparer) translate(fd protoreflect.FieldDescriptor, word string) string {
	p := c.p
	var m *matching
	var names [2]func(int) string
	list := func(of func(side int) []string) {
		for s := range names {
			names[s] = func(i int) string { return of(s)[i] }
		}
	}
	switch fd.Name() {
	case "place":
		m = &p.places
		list(func(s int) []string { return p.built[s].Installation.Places })
	case "zone", "other_zones":
		m = &p.zones
		list(func(s int) []string { return p.built[s].Installation.Zones })
	case "groups":
		m = &p.groups
		list(func(s int) []string { return p.built[s].Installation.Groups })
	case "supply":
		m = &p.supplies
		list(func(s int) []string { return p.built[s].World.Supplies })
	case "equipment", "cuts", "serves":
		m = &p.equipment
		list(func(s int) []string { return idsOf(p.built[s].Site.GetEquipment(), (*pb.Equipment).GetEquipment) })
	case "control", "hold", "hurry":
		m = &p.controls
		list(func(s int) []string { return p.built[s].World.Controls })
	case "override":
		m = &p.overrides
		list(func(s int) []string {
			return idsOf(p.built[s].Site.GetProgram().GetOverrides(), (*pb.Override).GetOverride)
		})
	case "phasing":
		m = &p.phasings
		list(func(s int) []string {
			return idsOf(p.built[s].Site.GetProgram().GetPhasings(), (*pb.Phasing).GetPhasing)
		})
	case "effect", "effects", "opposes":
		m = &p.effects
		list(func(s int) []string {
			return idsOf(p.built[s].Site.GetProgram().GetEffects(), (*pb.Effect).GetEffect)
		})
	case "cause":
		m = &p.causes
		list(func(s int) []string { return idsOf(p.built[s].Site.GetProgram().GetCauses(), (*pb.Cause).GetCause) })
	case "type":
		m = &p.types
		list(func(s int) []string { return idsOf(p.built[s].Site.GetDeviceTypes(), (*pb.DeviceType).GetType) })
	default:
		return word
	}
	for i, old := range m.toOld {
		if old >= 0 && names[1](i) == word {
			return names[0](int(old))
		}
	}
	return word
}

func idsOf[T any](list []T, id func(T) string) []string {
	ids := make([]string, len(list))
	for i, m := range list {
		ids[i] = id(m)
	}
	return ids
}

// add notes a change of what the walk is about.
func (c *comparer) add(what, old, changed, oldPath, newPath string) {
	one := c.subject
	one.what, one.old, one.changed, one.paths = what, old, changed, [2]string{oldPath, newPath}
	c.found = append(c.found, one)
}

// message compares two messages, either of which may be nil, key by key. parent is the key it stands under.
func (c *comparer) message(parent string, a, b protoreflect.Message, pa, pb string) {
	for i := range a.Descriptor().Fields().Len() {
		fd := a.Descriptor().Fields().Get(i)
		if apart[fd.FullName()] {
			continue
		}
		ka, kb := pa+"."+string(fd.Name()), pb+"."+string(fd.Name())
		if pa == "" {
			ka, kb = string(fd.Name()), string(fd.Name())
		}
		if forPeople[fd.FullName()] {
			if !a.Get(fd).Equal(b.Get(fd)) {
				c.texts++
			}
			continue
		}
		switch {
		case fd.IsList() && fd.Message() != nil:
			c.entries(fd, a.Get(fd).List(), b.Get(fd).List(), ka, kb)
		case fd.IsList():
			if x, y := c.words(fd, a, 0), c.words(fd, b, 1); x != y {
				c.add(word(fd), x, y, ka, kb)
			}
		case fd.Message() == nil || isDuration(fd):
			c.scalar(parent, fd, a, b, ka, kb)
		case a.Has(fd) != b.Has(fd) && fd.ContainingOneof() != nil:
			c.other(fd, a, b, ka, kb)
		case a.Has(fd) != b.Has(fd) && (switches[fd.Name()] || fd.Name() == "isolator"):
			have := func(m protoreflect.Message) string {
				if m.Has(fd) {
					return "given"
				}
				return ""
			}
			c.add(word(fd), have(a), have(b), ka, kb)
		case a.Has(fd) || b.Has(fd):
			c.message(string(fd.Name()), a.Get(fd).Message(), b.Get(fd).Message(), ka, kb)
		}
	}
}

// other notes that another of several kinds is given, once.
func (c *comparer) other(fd protoreflect.FieldDescriptor, a, b protoreflect.Message, pa, pb string) {
	name := func(m protoreflect.Message) string {
		if which := m.WhichOneof(fd.ContainingOneof()); which != nil {
			return string(which.Name())
		}
		return ""
	}
	if a.Has(fd) || name(a) == "" {
		c.add(string(fd.ContainingOneof().Name()), name(a), name(b), pa, pb)
	}
}

// scalar compares one value; a value that is what holds without it is the same as none.
func (c *comparer) scalar(parent string, fd protoreflect.FieldDescriptor, a, b protoreflect.Message, pa, pb string) {
	x, y := c.value(fd, a, 0), c.value(fd, b, 1)
	if x == y {
		return
	}
	byDefault := c.defaults[parent+"."+string(fd.Name())]
	if (x == "" || y == "") && byDefault != "" && sameValue(x+y, byDefault) {
		return
	}
	if byDefault != "" && x == "" {
		x = byDefault + " (by default)"
	}
	if byDefault != "" && y == "" {
		y = byDefault + " (by default)"
	}
	if fd.Name() == "given" && x != "" && y != "" && c.same(x, y) {
		return
	}
	c.add(word(fd), x, y, pa, pb)
}

// sameValue compares a value as written with one as the table of defaults prints it: 200ms and "200 ms".
func sameValue(written, printed string) bool {
	plain := strings.ReplaceAll(printed, " ", "")
	number, _, _ := strings.Cut(printed, " ")
	return written == plain || written == number || durationText(plain) == written
}

func (c *comparer) value(fd protoreflect.FieldDescriptor, m protoreflect.Message, side int) string {
	if !m.Has(fd) {
		return ""
	}
	v := m.Get(fd)
	if isDuration(fd) {
		d, _ := v.Message().Interface().(*durationpb.Duration)
		return d.AsDuration().String()
	}
	if fd.Kind() == protoreflect.StringKind && side == 1 {
		return c.translate(fd, v.String())
	}
	return v.String()
}

// words joins a list of scalars, sorted where its order has no meaning.
func (c *comparer) words(fd protoreflect.FieldDescriptor, m protoreflect.Message, side int) string {
	var list []string
	for i := range m.Get(fd).List().Len() {
		w := m.Get(fd).List().Get(i).String()
		if fd.Kind() == protoreflect.StringKind && side == 1 {
			w = c.translate(fd, w)
		}
		list = append(list, w)
	}
	if sets[fd.Name()] {
		slices.Sort(list)
	}
	return strings.Join(list, ", ")
}

// entries compares two lists of messages entry by entry: by what names them, else by their whole content.
func (c *comparer) entries(fd protoreflect.FieldDescriptor, a, b protoreflect.List, pa, pb string) {
	key := func(m protoreflect.Message, side int) string {
		name, ok := keys[fd.Name()]
		if !ok {
			text, _ := proto.MarshalOptions{Deterministic: true}.Marshal(m.Interface())
			return string(text)
		}
		kd := m.Descriptor().Fields().ByName(name)
		k := c.value(kd, m, side)
		if fd.Name() == "outputs" && side == 1 {
			k = c.p.oldOutput(k)
		}
		return k
	}
	at := map[string]int{}
	for j := range b.Len() {
		at[key(b.Get(j).Message(), 1)] = j
	}
	outer := c.subject
	seen := map[int]bool{}
	for i := range a.Len() {
		m := a.Get(i).Message()
		k := key(m, 0)
		c.about(fd, k)
		j, ok := at[k]
		if !ok {
			c.add(c.entryWord(fd, k), "there", isGone, fmt.Sprintf("%s[%d]", pa, i), "")
		} else {
			seen[j] = true
			c.message(string(fd.Name()), m, b.Get(j).Message(), fmt.Sprintf("%s[%d]", pa, i), fmt.Sprintf("%s[%d]", pb, j))
		}
		c.subject = outer
	}
	for j := range b.Len() {
		if !seen[j] {
			k := key(b.Get(j).Message(), 1)
			c.about(fd, k)
			c.add(c.entryWord(fd, k), "", isNew, "", fmt.Sprintf("%s[%d]", pb, j))
			c.subject = outer
		}
	}
	if fd.Name() == "loads" || fd.Name() == "floors" {
		c.order(fd, a, b, pa, pb, key)
	}
}

// entryWord names what is new or gone inside of something else; empty for a thing with a name of its own.
func (c *comparer) entryWord(fd protoreflect.FieldDescriptor, key string) string {
	switch fd.Name() {
	case "loads":
		return "load " + key
	case "floors":
		return "floor " + key
	}
	return ""
}

// order tells where a list with an order of meaning stands in another.
func (c *comparer) order(fd protoreflect.FieldDescriptor, a, b protoreflect.List, pa, pb string, key func(protoreflect.Message, int) string) {
	var x, y []string
	for i := range a.Len() {
		x = append(x, key(a.Get(i).Message(), 0))
	}
	for i := range b.Len() {
		y = append(y, key(b.Get(i).Message(), 1))
	}
	x, y = slices.DeleteFunc(slices.Clone(x), func(k string) bool { return !slices.Contains(y, k) }), slices.DeleteFunc(slices.Clone(y), func(k string) bool { return !slices.Contains(x, k) })
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			c.add(fmt.Sprintf("order of %s: number %d", word(fd), i+1), x[i], y[i], pa, pb)
			return
		}
	}
}

func word(fd protoreflect.FieldDescriptor) string { return string(fd.Name()) }

func isDuration(fd protoreflect.FieldDescriptor) bool {
	return fd.Message() != nil && fd.Message().FullName() == "google.protobuf.Duration"
}
