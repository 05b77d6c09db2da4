package site

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"time"
)

// durationUnits from the longest to the shortest: the order in which a duration is written.
var durationUnits = []struct {
	name string
	size time.Duration
}{
	{"h", time.Hour}, {"m", time.Minute}, {"s", time.Second},
	{"ms", time.Millisecond}, {"us", time.Microsecond}, {"µs", time.Microsecond}, {"ns", time.Nanosecond},
}

var (
	durationPart = regexp.MustCompile(`^([0-9]+)(?:\.([0-9]+))?([a-zA-Zµ]+)`)
	bareNumber   = regexp.MustCompile(`^[0-9]+(\.[0-9]+)?$`)
	clockTime    = regexp.MustCompile(`^([0-9]+):([0-5][0-9])$`)
)

// parseDuration reads `1m30s`, `0.5s`, `250ms` or a bare `0`: non-negative, exact to 1 ns, at most
// what 64 bits of nanoseconds hold (the schema's own limits are far lower). A hint that is not
// empty says what is wrong.
func parseDuration(text string) (d time.Duration, hint string) {
	switch {
	case text == "0":
		return 0, ""
	case text == "":
		return 0, "it is empty"
	case strings.HasPrefix(text, "-") || strings.HasPrefix(text, "+"):
		return 0, "a duration has no sign"
	case bareNumber.MatchString(text):
		return 0, fmt.Sprintf("a duration has a unit: write %ss if seconds are meant", text)
	case strings.ContainsAny(text, " \t\n"):
		return 0, "a duration has no blanks" + joined(text)
	}
	if m := clockTime.FindStringSubmatch(text); m != nil {
		return 0, fmt.Sprintf("write %sm%ss, or %sh%sm", m[1], m[2], m[1], m[2])
	}
	least := -1
	for rest := text; rest != ""; {
		m := durationPart.FindStringSubmatch(rest)
		if m == nil {
			return 0, "it cannot be read as a duration"
		}
		unit, known := unitIndex(m[3])
		if !known {
			return 0, unknownUnit(m[3])
		}
		if unit <= least {
			return 0, "the units go from long to short, each once"
		}
		least = unit
		part, hint := durationOf(m[1], m[2], durationUnits[unit].size)
		if hint != "" {
			return 0, hint
		}
		if part > math.MaxInt64-d {
			return 0, "it is too long"
		}
		d += part
		rest = rest[len(m[0]):]
	}
	return d, ""
}

// joined tells how a duration with blanks is written, where that can be told: `2 min 30 sec` is 2m30s.
func joined(text string) string {
	var mended strings.Builder
	for rest := strings.Join(strings.Fields(text), ""); rest != ""; {
		m := durationPart.FindStringSubmatch(rest)
		if m == nil {
			return ""
		}
		unit := m[3]
		if known, ok := unitWords[strings.ToLower(unit)]; ok {
			unit = known
		}
		mended.WriteString(strings.TrimSuffix(m[0], m[3]) + unit)
		rest = rest[len(m[0]):]
	}
	if _, hint := parseDuration(mended.String()); hint != "" {
		return ""
	}
	return ": write " + mended.String()
}

func unitIndex(name string) (int, bool) {
	for i, u := range durationUnits {
		if u.name == name {
			return i, true
		}
	}
	return 0, false
}

// unitWords are units as people write them.
var unitWords = map[string]string{
	"sec": "s", "secs": "s", "second": "s", "seconds": "s", "min": "m", "mins": "m", "minute": "m", "minutes": "m",
	"hour": "h", "hours": "h", "hr": "h", "hrs": "h", "msec": "ms",
}

func unknownUnit(name string) string {
	unit, ok := unitWords[strings.ToLower(name)]
	if _, known := unitIndex(strings.ToLower(name)); known {
		unit, ok = strings.ToLower(name), true
	}
	if ok {
		return fmt.Sprintf("there is no unit %q: write %s", name, unit)
	}
	return fmt.Sprintf("there is no unit %q: h, m, s, ms, us and ns are known", short(name))
}

// durationOf multiplies digits "12", "5" (12.5) by a unit, exactly.
func durationOf(whole, fraction string, unit time.Duration) (time.Duration, string) {
	var units int64
	for _, c := range whole {
		digit := int64(c - '0')
		if units > (math.MaxInt64-digit)/10 {
			return 0, "it is too long"
		}
		units = units*10 + digit
	}
	if units > math.MaxInt64/int64(unit) {
		return 0, "it is too long"
	}
	total := time.Duration(units) * unit
	// Each digit of the fraction is a tenth of the place before it; a remainder is finer than 1 ns.
	fraction = strings.TrimRight(fraction, "0")
	numerator, denominator := int64(0), int64(1)
	for _, c := range fraction {
		if denominator > int64(time.Hour) {
			return 0, "it is finer than 1 ns"
		}
		numerator, denominator = numerator*10+int64(c-'0'), denominator*10
	}
	if denominator > 1 {
		// numerator < denominator <= 1e13 * 10 and unit <= 3.6e12: the product may exceed 64 bits,
		// so divide what divides first.
		g := gcd(int64(unit), denominator)
		if denominator/g != 1 && numerator%(denominator/g) != 0 {
			return 0, "it is finer than 1 ns"
		}
		part := numerator / (denominator / g) * (int64(unit) / g)
		if time.Duration(part) > math.MaxInt64-total {
			return 0, "it is too long"
		}
		total += time.Duration(part)
	}
	return total, ""
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
