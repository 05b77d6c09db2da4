package matrix

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"loopdrill.dev/loopdrill/logic/term"
)

// SettingKind is what a setting sets before the run.
type SettingKind uint8

// Kinds of settings.
const (
	SetMode          SettingKind = iota + 1 // Value is term.Day or term.Night
	SetControl                              // Index control: on
	DisablePoint                            // Index point
	DisableOutput                           // Index output
	DisableZone                             // Index zone
	DisableEquipment                        // Index equipment
	TestZone                                // Index zone: in test
	SetOverride                             // Index override, Value is term.SwitchedOn or term.SwitchedOff
	Acknowledge                             // After the decision of the run's first signal
)

// Setting is one thing that `given` asks for, done on the quiescent panel before any signal; but for Acknowledge, which
// somebody does in the course of the run.
type Setting struct {
	Kind  SettingKind
	Index int
	Value int32
	After time.Duration
}

// Acknowledged returns how long after the decision of the first signal somebody acknowledges, and false for never.
func Acknowledged(given []Setting) (after time.Duration, ok bool) {
	for _, s := range given {
		if s.Kind == Acknowledge {
			return s.After, true
		}
	}
	return 0, false
}

// Fact returns the fact that the setting makes true before any signal; Acknowledge makes none.
func (s Setting) Fact() term.Fact {
	switch s.Kind {
	case SetMode:
		return term.Fact{Kind: term.PanelMode, Value: s.Value}
	case SetControl:
		return term.Fact{Kind: term.ControlOn, Index: int32(s.Index)}
	case DisablePoint:
		return term.Fact{Kind: term.DeviceDisabled, Index: int32(s.Index)}
	case DisableOutput:
		return term.Fact{Kind: term.OutputDisabled, Index: int32(s.Index)}
	case DisableZone:
		return term.Fact{Kind: term.ZoneDisabled, Index: int32(s.Index)}
	case DisableEquipment:
		return term.Fact{Kind: term.EquipmentDisabled, Index: int32(s.Index)}
	case TestZone:
		return term.Fact{Kind: term.ZoneTest, Index: int32(s.Index)}
	case SetOverride:
		return term.Fact{Kind: term.OverrideAt, Index: int32(s.Index), Value: s.Value}
	}
	panic(fmt.Sprintf("matrix: no such kind of setting: %d", s.Kind))
}

const givenGrammar = "write `mode=night; control=ID; disabled=POINT; test=ZONE; override=ID:off; acknowledged=10s`, separated by semicolons"

var givenKeys = []string{"mode", "control", "disabled", "test", "override", "acknowledged"}

// ParseGiven reads settings as the column `given` holds them. The error is the first thing that is
// wrong, in the words of a finding.
func ParseGiven(text string, w *term.World) ([]Setting, error) {
	settings, flaws := parseGiven(text, w)
	if len(flaws) > 0 {
		return nil, fmt.Errorf("%s: %s", flaws[0].title, flaws[0].detail)
	}
	return settings, nil
}

// parseGiven reads the settings of one row.
func parseGiven(text string, w *term.World) (settings []Setting, flaws []flaw) {
	offset := 0
	for part := range strings.SplitSeq(text, ";") {
		at := offset + leadingSpace(part)
		offset += len([]rune(part)) + 1
		if strings.TrimSpace(part) == "" {
			continue
		}
		key, value, ok := strings.Cut(part, "=")
		behind := offset - 1 - len([]rune(value)) + leadingSpace(value)
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		if !ok || value == "" {
			flaws = append(flaws, flaw{at, "matrix.given", fmt.Sprintf("%q sets nothing", strings.TrimSpace(part)), givenGrammar})
			continue
		}
		setting, bad := parseSetting(key, value, w)
		if bad != nil {
			bad.offset = behind
			if setting.Kind == 0 {
				bad.offset = at
			}
			flaws = append(flaws, *bad)
			continue
		}
		for _, s := range settings {
			if s.Kind == setting.Kind && s.Index == setting.Index {
				flaws = append(flaws, flaw{at, "matrix.given-twice", fmt.Sprintf("%s is set twice", key), "set it once"})
			}
		}
		settings = append(settings, setting)
	}
	return settings, flaws
}

// parseSetting resolves one setting. The flaw is about the value where the kind is set, about
// the key where it is not.
func parseSetting(key, value string, w *term.World) (Setting, *flaw) {
	switch key {
	case "mode":
		for mode, word := range []string{term.Day: "day", term.Night: "night"} {
			if value == word {
				return Setting{Kind: SetMode, Value: int32(mode)}, nil
			}
		}
		return Setting{Kind: SetMode}, &flaw{code: "matrix.given", title: fmt.Sprintf("%q is not a mode", value), detail: "known: day, night"}
	case "control":
		for i, id := range w.Controls {
			if id == value {
				return Setting{Kind: SetControl, Index: i}, nil
			}
		}
		return Setting{Kind: SetControl}, &flaw{code: "reference.unknown", title: fmt.Sprintf("there is no control %q", value), detail: near(value, w.Controls)}
	case "disabled":
		return parseDisabled(value, w)
	case "test":
		if i := slices.Index(w.Zones, value); i >= 0 {
			return Setting{Kind: TestZone, Index: i}, nil
		}
		return Setting{Kind: TestZone}, &flaw{code: "reference.unknown", title: fmt.Sprintf("there is no zone %q", value), detail: near(value, w.Zones)}
	case "override":
		return parseOverride(value, w)
	case "acknowledged":
		after, err := parseDuration(value)
		if err == nil && after == 0 {
			err = errors.New("nobody acknowledges at the very instant of the decision")
		}
		if err != nil {
			return Setting{Kind: Acknowledge}, &flaw{code: "matrix.given", title: err.Error(), detail: "write how long after the decision of the first signal somebody acknowledges, such as acknowledged=10s"}
		}
		return Setting{Kind: Acknowledge, After: after}, nil
	}
	return Setting{}, &flaw{code: "matrix.given", title: fmt.Sprintf("%q cannot be given", key), detail: near(key, givenKeys) + "; " + givenGrammar}
}

// parseOverride reads the id of an override and its position.
func parseOverride(value string, w *term.World) (Setting, *flaw) {
	id, word, _ := strings.Cut(value, ":")
	i := slices.Index(w.Overrides, strings.TrimSpace(id))
	if i < 0 {
		return Setting{Kind: SetOverride}, &flaw{code: "reference.unknown", title: fmt.Sprintf("there is no override %q", strings.TrimSpace(id)), detail: near(strings.TrimSpace(id), w.Overrides)}
	}
	position, ok := term.Position(strings.TrimSpace(word))
	if !ok || position == term.Auto {
		return Setting{Kind: SetOverride}, &flaw{code: "matrix.given", title: fmt.Sprintf("%q says no position of the override", value), detail: fmt.Sprintf("write override=%s:on or override=%s:off; without it the switch stands at auto", w.Overrides[i], w.Overrides[i])}
	}
	return Setting{Kind: SetOverride, Index: i, Value: position}, nil
}

// parseDisabled takes a point, an output, a zone or an equipment. An output module is disabled as the
// output it is. An id that is both a zone's and an equipment's, or a label besides, is written
// zone:ID or equipment:ID.
func parseDisabled(value string, w *term.World) (Setting, *flaw) {
	var meant []Setting
	what, id, qualified := strings.Cut(value, ":")
	if !qualified {
		what, id = "", value
	}
	if output, ok := w.OutputRefs[value]; ok {
		meant = append(meant, Setting{Kind: DisableOutput, Index: output})
	} else if point, ok := w.PointRefs[value]; ok {
		meant = append(meant, Setting{Kind: DisablePoint, Index: point})
	}
	if zone := slices.Index(w.Zones, id); zone >= 0 && (what == "" || what == "zone") {
		meant = append(meant, Setting{Kind: DisableZone, Index: zone})
	}
	if e := slices.IndexFunc(w.Equipment, func(e term.Equipment) bool { return e.ID == id }); e >= 0 && (what == "" || what == "equipment") {
		meant = append(meant, Setting{Kind: DisableEquipment, Index: e})
	}
	switch {
	case len(meant) == 1:
		return meant[0], nil
	case len(meant) > 1:
		return Setting{Kind: DisablePoint}, &flaw{code: "matrix.given", title: fmt.Sprintf("%q names several things that can be disabled", value), detail: "write zone:" + id + " or equipment:" + id + ", or a point by its loop and address"}
	}
	known := make([]string, 0, 2*len(w.Points)+len(w.Outputs))
	for i := range w.Points {
		known = append(known, w.Points[i].Label)
	}
	for i := range w.Outputs {
		known = append(known, w.Outputs[i].Label)
	}
	for i := range w.Points {
		known = append(known, w.Points[i].Address)
	}
	known = append(known, w.Zones...)
	for i := range w.Equipment {
		known = append(known, w.Equipment[i].ID)
	}
	return Setting{Kind: DisablePoint}, &flaw{code: "reference.unknown", title: fmt.Sprintf("there is no point, output, zone or equipment %q", value), detail: near(value, known)}
}

func leadingSpace(text string) int {
	return len([]rune(text)) - len([]rune(strings.TrimLeftFunc(text, unicode.IsSpace)))
}
