package drill

import (
	"os"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/sim"
)

// TestKindWords: a client in any language finds each word of `Event.kind` in the schema, which calls
// them a closed vocabulary.
func TestKindWords(t *testing.T) {
	schema, err := os.ReadFile("../../proto/loopdrill/v1/event.proto")
	if err != nil {
		t.Fatal(err)
	}
	_, after, found := strings.Cut(string(schema), "as one word of a closed vocabulary")
	comment, _, ended := strings.Cut(after, "string kind = 4;")
	if !found || !ended {
		t.Fatal("event.proto does not explain kind")
	}
	seen := map[string]sim.Kind{}
	for k := Start; k < kinds; k++ {
		word := KindName(k)
		if before, twice := seen[word]; word == "" || twice {
			t.Errorf("kind %d is called %q, as kind %d is", k, word, before)
		}
		seen[word] = k
		if !strings.Contains(comment, "`"+word+"`") {
			t.Errorf("event.proto does not name `%s`", word)
		}
	}
	for i, word := range strings.Split(comment, "`") {
		if _, known := seen[word]; i%2 == 1 && !known {
			t.Errorf("event.proto names `%s`, which no event is", word)
		}
	}
}
