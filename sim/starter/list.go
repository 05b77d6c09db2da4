package starter

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Columns of an address list. `input` is needed where the list has input modules.
const (
	columns     = "loop,address,label,kind,place,zone,cable_m"
	columnInput = "input"
)

// spot is a place in the list: line and column, in characters, from 1.
type spot struct{ line, column int }

// listedDevice is one line of an address list.
type listedDevice struct {
	at                                                 spots
	loop, address, label, kind, place, zone, cable, in string
	loopNumber                                         int
}

// spots are the places of one line's fields, by the name of their column.
type spots struct {
	line  int
	field map[string]int // column of each field, in characters from 1
}

// of is the place of a field, or of the line where the line has no such field.
func (s spots) of(name string) spot { return spot{s.line, max(1, s.field[name])} }

// list is an address list while it is read.
type list struct {
	file    string
	lines   [][]byte
	devices []listedDevice
	found   []*pb.Finding
}

func (l *list) refuse(at spot, title, detail string) {
	f := finding.Refuse("address-list", "", title, detail)
	f.Position = &pb.Position{File: l.file, Line: int32(at.line), Column: int32(at.column)}
	l.found = append(l.found, f)
}

// place is where a field of the record that was read last begins.
func (l *list) place(r *csv.Reader, field int) spot {
	line, column := r.FieldPos(field) // counts bytes
	return spot{line, 1 + utf8.RuneCount(l.lines[line-1][:column-1])}
}

// read reads the list: a header, then a line for each device in wiring order.
func (l *list) read(data []byte) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if !utf8.Valid(data) {
		l.refuse(spot{1, 1}, "the file is not UTF-8 text", "save it as CSV in UTF-8")
		return
	}
	l.lines = bytes.Split(data, []byte("\n"))
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma, r.FieldsPerRecord, r.TrimLeadingSpace = separator(data), -1, true
	var header []string
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			at := spot{1, 1}
			if bad := new(csv.ParseError); errors.As(err, &bad) {
				at.line, err = bad.Line, bad.Err
			}
			l.refuse(at, "the line is no CSV: "+err.Error(), "a field that holds a quote or the separator stands in double quotes, its own quotes doubled")
			return
		}
		at := make([]spot, len(record))
		for i := range record {
			record[i], at[i] = strings.TrimSpace(record[i]), l.place(r, i)
		}
		switch {
		case strings.Join(record, "") == "":
		case header == nil:
			header = record
			if !l.header(at, header) {
				return
			}
		default:
			l.row(at, header, record)
		}
	}
	if header == nil {
		l.refuse(spot{1, 1}, "the list is empty", "its first line names the columns: "+columns)
	} else if len(l.devices) == 0 && len(l.found) == 0 {
		l.refuse(spot{1, 1}, "the list names no device", "a line for each device, in wiring order")
	}
}

// separator is the one of , ; and tab that the first line holds most of.
func separator(data []byte) rune {
	first, _, _ := bytes.Cut(data, []byte("\n"))
	best := ','
	for _, c := range []rune{';', '\t'} {
		if bytes.Count(first, []byte(string(c))) > bytes.Count(first, []byte(string(best))) {
			best = c
		}
	}
	return best
}

// header checks the names of the columns, which may stand in any order.
func (l *list) header(at []spot, header []string) bool {
	known := append(strings.Split(columns, ","), columnInput)
	for i, name := range header {
		header[i] = strings.ToLower(name)
		switch {
		case slices.Index(header, header[i]) < i:
			l.refuse(at[i], fmt.Sprintf("the column %q is there twice", name), "keep one of the two")
		case !slices.Contains(known, header[i]):
			detail := "columns: " + columns + "; and input where there are input modules"
			if near, ok := finding.Nearest(name, known); ok {
				detail = fmt.Sprintf("did you mean %q?", near)
			}
			l.refuse(at[i], fmt.Sprintf("there is no column %q", name), detail)
		}
	}
	for _, name := range known[:len(known)-1] {
		if !slices.Contains(header, name) {
			l.refuse(at[0], fmt.Sprintf("the column %q is missing", name), "columns: "+columns)
		}
	}
	return len(l.found) == 0
}

// row reads one device; what the schema itself checks is left to it.
func (l *list) row(at []spot, header, record []string) {
	if len(record) > len(header) {
		l.refuse(at[len(header)], fmt.Sprintf("the line has %d fields, and there are %d columns", len(record), len(header)), "a field that holds the separator stands in double quotes")
		return
	}
	field := func(name string) string {
		if i := slices.Index(header, name); i >= 0 && i < len(record) {
			return record[i]
		}
		return ""
	}
	where := spots{at[0].line, map[string]int{}}
	for i := range record {
		where.field[header[i]] = at[i].column
	}
	d := listedDevice{
		at: where, loop: field("loop"), address: field("address"), label: field("label"), kind: strings.ToLower(field("kind")),
		place: field("place"), zone: field("zone"), cable: field("cable_m"), in: field(columnInput),
	}
	d.loopNumber = l.whole(where, "loop", d.loop, 1, MaxLoops)
	if d.kind != kindIsolator {
		l.whole(where, "address", d.address, 1, MaxDevices)
	} else if d.address != "" {
		l.refuse(where.of("address"), "an isolator on its own has no address", "leave the address empty")
	}
	if metres, err := strconv.ParseFloat(d.cable, 64); err != nil || !isDecimal(d.cable) {
		l.refuse(where.of("cable_m"), fmt.Sprintf("%q is no length in metres", d.cable), "cable_m is the cable from the device before, in metres, such as 12 or 7.5")
	} else {
		d.cable = strconv.FormatFloat(metres, 'f', -1, 64)
	}
	l.names(d)
	l.kind(d)
	l.devices = append(l.devices, d)
}

// isDecimal accepts digits with at most one point.
func isDecimal(s string) bool {
	return s != "" && strings.Trim(s, "0123456789.") == "" && strings.Count(s, ".") <= 1
}

// whole reads a whole number within bounds, 0 where it is none.
func (l *list) whole(where spots, name, text string, low, high int) int {
	n, err := strconv.Atoi(text)
	if err != nil || n < low || n > high {
		l.refuse(where.of(name), fmt.Sprintf("%q is no %s", text, name), fmt.Sprintf("what it has to be: a whole number from %d to %d", low, high))
		return 0
	}
	return n
}

// names checks what would otherwise break the file that is written. Labels, places and zones are
// checked by the schema; here only that they can stand in a line of YAML.
func (l *list) names(d listedDevice) {
	for _, field := range []struct{ name, text string }{{"label", d.label}, {"place", d.place}, {"zone", d.zone}, {columnInput, d.in}} {
		if text := field.text; strings.IndexFunc(text, unicode.IsControl) >= 0 {
			l.refuse(d.at.of(field.name), fmt.Sprintf("%q holds a line end or another control character", text), "names stand on one line")
			return
		}
	}
	if d.label == "" {
		l.refuse(d.at.of("label"), "the device has no label", "a label is the text on its plate, unique over the whole site")
	}
	for _, ref := range []struct{ what, id string }{{"place", d.place}, {"zone", d.zone}} {
		if ref.id != "" && !isID(ref.id) {
			l.refuse(d.at.of(ref.what), fmt.Sprintf("%q cannot be the id of a %s", ref.id, ref.what), fmt.Sprintf("ids are lower-case letters, digits and hyphens: %q", slug(ref.id)))
		}
	}
}

// isID follows rule A3.
func isID(s string) bool { return s == slug(s) && len(s) <= 40 }

// slug makes an id of a text.
func slug(s string) string {
	var out strings.Builder
	for _, c := range strings.ToLower(s) {
		switch {
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9':
			out.WriteRune(c)
		case out.Len() > 0 && !strings.HasSuffix(out.String(), "-"):
			out.WriteByte('-')
		}
	}
	return strings.Trim(out.String(), "-")
}
