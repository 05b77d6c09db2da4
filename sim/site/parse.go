package site

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// pos is a place in a file, counted from 1, columns in characters.
type pos struct{ line, column int }

func posOf(n *yaml.Node) pos { return pos{n.Line, n.Column} }

// at gives f its place.
func (p pos) at(file string, f *pb.Finding) *pb.Finding {
	f.Position = &pb.Position{File: file, Line: int32(max(p.line, 1)), Column: int32(max(p.column, 1))}
	return f
}

// byteOrderMark is dropped: spreadsheets and some editors write it.
const byteOrderMark = "\ufeff"

// parse reads the one document of a YAML file. It returns the document's root, or the finding
// that nothing of the file can be read, or both when something follows the document.
func parse(file File, limit int) (*yaml.Node, []*pb.Finding) {
	if len(file.Data) > limit {
		return nil, []*pb.Finding{tooLarge(file.Path, limit)}
	}
	if f := checkEncoding(file); f != nil {
		return nil, []*pb.Finding{f}
	}
	text := strings.TrimPrefix(string(file.Data), byteOrderMark)
	decoder := yaml.NewDecoder(strings.NewReader(text))
	var document yaml.Node
	switch err := decode(decoder, &document); {
	case errors.Is(err, io.EOF):
		return nil, []*pb.Finding{pos{1, 1}.at(file.Path, finding.Refuse("file.empty", "", "the file is empty", "`loopdrill new` writes one to start from"))}
	case err != nil:
		return nil, []*pb.Finding{syntaxFinding(file.Path, text, err)}
	}
	var second yaml.Node
	switch err := decode(decoder, &second); {
	case errors.Is(err, io.EOF):
		return document.Content[0], nil
	case err != nil:
		return nil, []*pb.Finding{syntaxFinding(file.Path, text, err)}
	}
	return document.Content[0], []*pb.Finding{posOf(&second).at(file.Path, finding.Refuse("yaml.second-document", "",
		"a second document begins here", "a file holds one document: take `---` and what follows it into a file of its own"))}
}

func tooLarge(path string, limit int) *pb.Finding {
	return pos{1, 1}.at(path, finding.Refuse("file.too-large", "", fmt.Sprintf("the file is larger than %d bytes", limit), "split it into several"))
}

// errGaveUp stands for a panic of the YAML library: bad input that it does not survive is bad
// input all the same.
var errGaveUp = errors.New("yaml: the text cannot be read as YAML")

// decode reads one document, io.EOF when there is none left.
func decode(d *yaml.Decoder, n *yaml.Node) (err error) {
	defer func() {
		if recover() != nil {
			err = errGaveUp
		}
	}()
	return d.Decode(n)
}

// checkEncoding refuses anything but UTF-8, at its first bad byte.
func checkEncoding(file File) *pb.Finding {
	if bytes.HasPrefix(file.Data, []byte{0xff, 0xfe}) || bytes.HasPrefix(file.Data, []byte{0xfe, 0xff}) {
		return pos{1, 1}.at(file.Path, finding.Refuse("file.encoding", "", "the file is UTF-16", "save it as UTF-8"))
	}
	line, column := 1, 1
	for rest := file.Data; len(rest) > 0; {
		r, size := utf8.DecodeRune(rest)
		if r == utf8.RuneError && size == 1 {
			return pos{line, column}.at(file.Path, finding.Refuse("file.encoding", "",
				fmt.Sprintf("the byte 0x%02x is not UTF-8", rest[0]), "save the file as UTF-8"))
		}
		column++
		if r == '\n' {
			line, column = line+1, 1
		}
		rest = rest[size:]
	}
	return nil
}
