package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// units are the ends that the key of a figure may have.
var units = []string{"_m", "_m2", "_ohm", "_uf", "_v", "_a", "_ma", "_ah", "_h", "_min", "_s", "_percent", "_count"}

// Every number among the calculations has its unit at the end of its key, or counts things. Only the
// number of a loop is a name.
func TestFiguresHaveUnits(t *testing.T) {
	bs := filepath.Join(t.TempDir(), "site.yaml")
	if err := os.WriteFile(bs, []byte(`site: pier
rules: {packs: [en54, bs5839-1, nfpa72]}
supplies: [{supply: psu-1, voltage_v: 24, battery_ah: 7, standby_ma: 30, current_limit_a: 3, fuse_a: 3}]
loops: [{loop: 1, wiring: ring, return_cable_m: 4, driver: {voltage_v: 28}, cable: {conductor_mm2: 1.5}, devices: [{address: 1, label: R, cable_m: 3, relay_module: {}}]}]
`), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"../../testdata/alder-quay", bs} {
		var out bytes.Buffer
		std := stdio{In: strings.NewReader(""), Out: &out, Err: io.Discard, Getenv: func(string) string { return "" }}
		if err := run(t.Context(), []string{"check", "--output", "json", name}, std); err != nil {
			t.Fatalf("%s: %v\n%s", name, err, out.String())
		}
		var report struct {
			Calculations map[string]any `json:"calculations"`
		}
		if err := json.Unmarshal(out.Bytes(), &report); err != nil {
			t.Fatal(err)
		}
		numbers := 0
		var walk func(path, key string, v any)
		walk = func(path, key string, v any) {
			switch v := v.(type) {
			case map[string]any:
				for k, inner := range v {
					walk(path+"."+k, k, inner)
				}
			case []any:
				for i, inner := range v {
					walk(fmt.Sprintf("%s[%d]", path, i), key, inner)
				}
			case float64:
				numbers++
				if key != "loop" && !hasUnit(key) {
					t.Errorf("%s is %v of what?", path, v)
				}
			case string:
				if hasUnit(key) {
					t.Errorf("%s is the text %q, not a number", path, v)
				}
			}
		}
		walk("", "", report.Calculations)
		if numbers < 30 {
			t.Errorf("%s: only %d figures", name, numbers)
		}
	}
}

func hasUnit(key string) bool {
	for _, unit := range units {
		if strings.HasSuffix(key, unit) {
			return true
		}
	}
	return false
}
