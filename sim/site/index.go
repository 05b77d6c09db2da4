package site

import (
	"strings"

	"go.yaml.in/yaml/v3"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Index knows where each field of one file stands.
type Index struct {
	file   string
	lines  []string // without line ends
	places map[string]place
}

// place is where one path stands: its key (or the entry itself, in a list) and its value.
type place struct {
	key   pos
	node  *yaml.Node
	keyed bool
}

func newIndex(file File) *Index {
	text := strings.TrimPrefix(string(file.Data), byteOrderMark)
	return &Index{file: file.Path, lines: strings.Split(text, "\n"), places: map[string]place{}}
}

func (x *Index) put(path string, p place) { x.places[path] = p }

// File returns the path of the file that is indexed.
func (x *Index) File() string { return x.file }

// Has tells whether the file writes the field at path.
func (x *Index) Has(path string) bool {
	_, ok := x.places[path]
	return ok
}

// Raw returns the text of a scalar as it was read from the file, quotes and escapes resolved.
func (x *Index) Raw(path string) (string, bool) {
	p, ok := x.places[path]
	if !ok || p.node.Kind != yaml.ScalarNode {
		return "", false
	}
	return p.node.Value, true
}

// Place gives each finding that has none its position: the value at its path, and inside a text
// the character at its offset. Where a path is not in the file (something is missing there) the
// nearest parent that is stands for it.
func (x *Index) Place(findings []*pb.Finding) {
	for _, f := range findings {
		if f.GetPosition() == nil {
			x.find(f.GetPath(), int(f.GetOffset())).at(x.file, f)
		}
	}
}

// find returns the position of a path, or of its nearest parent.
func (x *Index) find(path string, offset int) pos {
	if p, ok := x.places[path]; ok {
		return x.inside(p.node, offset)
	}
	return x.entry(parent(path))
}

// entry returns the place to point at for something that is missing in a map: its key if it has
// one, else the entry of the list. The root stands at the beginning of the file.
func (x *Index) entry(path string) pos {
	for ; path != ""; path = parent(path) {
		if p, ok := x.places[path]; ok {
			return p.key
		}
	}
	return pos{1, 1}
}

// parent takes the last step off a path; the parent of a top key is the empty path.
func parent(path string) string {
	return path[:max(strings.LastIndexAny(path, ".["), 0)]
}
