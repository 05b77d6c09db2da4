package matrix

import (
	"fmt"
	"math/big"
	"strings"
	"time"
)

// maxDuration is the longest time a cell may name.
const maxDuration = 24 * time.Hour

var durationUnits = []struct {
	word string
	unit time.Duration
}{
	// Longer words first: `ms` is not `m`.
	{"ms", time.Millisecond}, {"us", time.Microsecond}, {"µs", time.Microsecond}, {"ns", time.Nanosecond},
	{"h", time.Hour}, {"m", time.Minute}, {"s", time.Second},
}

// parseDuration reads `1m30s`, `0.5s`, `250ms` or a bare `0`: no sign, no other bare number,
// nothing finer than a nanosecond, at most 24 h. The error is one line that says what is wrong.
func parseDuration(text string) (time.Duration, error) {
	if text == "0" {
		return 0, nil
	}
	rest, total := text, new(big.Int)
	for rest != "" {
		digits, fraction, tail := cutNumber(rest)
		if digits == "" {
			return 0, fmt.Errorf("%q is not a duration", text)
		}
		unit, tail, ok := cutUnit(tail)
		if !ok {
			return 0, fmt.Errorf("%q lacks a unit", text)
		}
		value, _ := new(big.Int).SetString(digits+fraction, 10)
		value.Mul(value, big.NewInt(int64(unit)))
		scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(len(fraction))), nil)
		value, remainder := value.QuoRem(value, scale, new(big.Int))
		if remainder.Sign() != 0 {
			return 0, fmt.Errorf("%q is finer than a nanosecond", text)
		}
		total.Add(total, value)
		rest = tail
	}
	if text == "" {
		return 0, fmt.Errorf("%q is not a duration", text)
	}
	if total.Cmp(big.NewInt(int64(maxDuration))) > 0 {
		return 0, fmt.Errorf("%q is longer than 24 h", text)
	}
	return time.Duration(total.Int64()), nil
}

// cutNumber splits a decimal number off: digits before and after the point, and what follows.
// A point needs a digit on both sides.
func cutNumber(text string) (digits, fraction, rest string) {
	digits, rest = cutDigits(text)
	if tail, ok := strings.CutPrefix(rest, "."); ok && digits != "" {
		fraction, rest = cutDigits(tail)
		if fraction == "" {
			return "", "", text
		}
	}
	return digits, fraction, rest
}

func cutDigits(text string) (digits, rest string) {
	n := 0
	for n < len(text) && text[n] >= '0' && text[n] <= '9' {
		n++
	}
	return text[:n], text[n:]
}

func cutUnit(text string) (unit time.Duration, rest string, ok bool) {
	for _, u := range durationUnits {
		if rest, ok := strings.CutPrefix(text, u.word); ok {
			return u.unit, rest, true
		}
	}
	return 0, text, false
}

// durationWord writes a duration so that parseDuration reads it back: 1m30s, not 1m30.000s.
func durationWord(d time.Duration) string {
	if d == 0 {
		return "0"
	}
	word := d.String()
	if strings.HasSuffix(word, "m0s") {
		word = strings.TrimSuffix(word, "0s")
	}
	if strings.HasSuffix(word, "h0m") {
		word = strings.TrimSuffix(word, "0m")
	}
	return word
}
