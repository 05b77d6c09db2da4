package finding

import "testing"

// A slip of the hand is found, and a different word is not offered.
func TestNearest(t *testing.T) {
	for _, c := range []struct {
		name  string
		known []string
		want  string
	}{
		{"hal", []string{"car-park", "hall"}, "hall"},
		{"lable", []string{"address", "label", "cable"}, "label"}, // one swap, before one change
		{"titel", []string{"title"}, "title"},
		{"Hall", []string{"hall"}, "hall"},
		{"lift-b", []string{"lift-a", "lift-c"}, "lift-a"}, // the first of equals
		{"ab", []string{"ba"}, "ba"},
		{"ab", []string{"cd"}, ""},
		{"sounder", []string{"beacon"}, ""},
		{"", []string{"a"}, ""},
		{"x", []string{"a"}, ""}, // nothing of the name would be left
		{"A", []string{"a"}, "a"},
		{"abcdefghijklmnop", []string{"abcdefghijkl"}, ""}, // four letters short
		{"abcdefghijklmnop", []string{"abcdefghijklm"}, "abcdefghijklm"},
	} {
		if got, _ := Nearest(c.name, c.known); got != c.want {
			t.Errorf("Nearest(%q, %q) = %q, want %q", c.name, c.known, got, c.want)
		}
	}
}
