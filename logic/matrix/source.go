package matrix

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// field is one cell as text, with white space trimmed on both sides.
type field struct {
	text   string
	start  int // byte offset in the source where the field begins, its quote included
	leader int // characters trimmed in front of text
}

// record is one row of the file.
type record struct {
	number int // as a spreadsheet counts, blank lines included
	fields []field
}

func (r *record) blank() bool {
	return !slices.ContainsFunc(r.fields, func(f field) bool { return f.text != "" })
}

// source is the file cut into rows, and the way back from a field to line and column.
type source struct {
	data    []byte // without byte order mark
	lines   []int  // byte offset at which each line begins
	records []record
}

// readSource cuts the file into rows, blank ones left out. A file that is no table at all (not
// UTF-8, broken quotes) is reported at its first such place; rows before it are still read.
func readSource(data []byte, r *report) *source {
	s := &source{data: bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")), lines: []int{0}}
	for i, b := range s.data {
		if b == '\n' {
			s.lines = append(s.lines, i+1)
		}
	}
	if len(data) > MaxBytes {
		r.refuse(Place{Line: 1, Column: 1}, "matrix.limit", fmt.Sprintf("the file has %d bytes, the limit is %d", len(data), MaxBytes), "split the matrix over several files")
		return s
	}
	if at := invalidUTF8(s.data); at >= 0 {
		line, column := s.position(at)
		r.refuse(Place{Line: line, Column: column}, "matrix.utf8", fmt.Sprintf("the byte 0x%02X is not UTF-8", s.data[at]), "save the file as CSV in UTF-8")
		return s
	}
	if bytes.IndexByte(s.data, '\r') >= 0 && bytes.IndexByte(s.data, '\n') < 0 {
		r.refuse(Place{Line: 1, Column: 1}, "matrix.line-end", "lines end with a carriage return alone", "save the file with line feeds, or carriage return and line feed (RFC 4180)")
		return s
	}
	s.read(r)
	return s
}

// invalidUTF8 returns the offset of the first byte that is no UTF-8, or -1.
func invalidUTF8(data []byte) int {
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && size <= 1 {
			return i
		}
		i += size
	}
	return -1
}

func (s *source) read(r *report) {
	reader := csv.NewReader(bytes.NewReader(s.data))
	reader.Comma = sniff(s.data)
	reader.FieldsPerRecord = -1 // row lengths are judged by the caller, against the header
	number, end := 0, 0
	for {
		texts, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			s.refuseSyntax(err, number, end, r)
			return
		}
		rec := record{fields: make([]field, len(texts))}
		for i, text := range texts {
			line, column := reader.FieldPos(i)
			rec.fields[i] = trimField(text, s.lines[line-1]+column-1)
		}
		// encoding/csv skips empty lines without a word; a spreadsheet counts them.
		number += 1 + bytes.Count(s.data[end:rec.fields[0].start], []byte("\n"))
		end = int(reader.InputOffset())
		rec.number = number
		if rec.blank() {
			continue
		}
		if len(s.records) > MaxRows {
			r.refuse(s.place(&rec, 0, 0), "matrix.limit", fmt.Sprintf("the matrix has more than %d rows", MaxRows), "split the matrix over several files")
			return
		}
		s.records = append(s.records, rec)
	}
}

func trimField(text string, start int) field {
	trimmed := strings.TrimLeftFunc(text, unicode.IsSpace)
	leader := utf8.RuneCountInString(text) - utf8.RuneCountInString(trimmed)
	return field{text: strings.TrimRightFunc(trimmed, unicode.IsSpace), start: start, leader: leader}
}

func (s *source) refuseSyntax(err error, number, end int, r *report) {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		panic("matrix: reading from memory: " + err.Error())
	}
	line, column := s.position(min(s.lineStart(parse.Line)+max(parse.Column, 1)-1, len(s.data)))
	blank := bytes.Count(s.data[end:max(end, s.lineStart(parse.StartLine))], []byte("\n"))
	title, detail := "a quote stands inside a field that does not begin with one", "put the whole field in quotes and write each quote inside it twice; in conditions use 'single quotes'"
	if errors.Is(parse.Err, csv.ErrQuote) {
		title, detail = "a quoted field does not end properly", "close it with a quote directly before the separator; write a quote inside it twice"
	}
	r.refuse(Place{Row: number + 1 + blank, Line: line, Column: column}, "matrix.quotes", title,
		fmt.Sprintf("%s; the row begins on line %d, and nothing behind it was read", detail, parse.StartLine))
}

// lineStart returns the byte offset of a line, or the end of the file for one beyond it.
func (s *source) lineStart(line int) int {
	if line > len(s.lines) {
		return len(s.data)
	}
	return s.lines[line-1]
}

// sniff returns the separator: the one that finds the columns `cause` and `when` in the header,
// else the most frequent of comma, semicolon and tab; between equals the first of these.
func sniff(data []byte) rune {
	header, _, _ := strings.Cut(strings.TrimLeft(string(data), "\r\n"), "\n")
	best, count := ',', 0
	for _, separator := range []rune{',', ';', '\t'} {
		names := strings.Split(header, string(separator))
		for i, name := range names {
			names[i] = strings.Trim(name, " \t\r\"")
		}
		if slices.Contains(names, "cause") && slices.Contains(names, "when") {
			return separator
		}
		if len(names)-1 > count {
			best, count = separator, len(names)-1
		}
	}
	return best
}

// position turns a byte offset into line and column in characters.
func (s *source) position(at int) (line, column int) {
	line, ok := slices.BinarySearch(s.lines, at)
	if ok {
		line++
	}
	return line, 1 + utf8.RuneCount(s.data[s.lines[line-1]:at])
}

// place finds the character of a field's text at an offset. Quotes of the field, doubled quotes
// and line breaks inside it are in the file but not, or not so, in the text.
func (s *source) place(rec *record, index, offset int) Place {
	f := rec.fields[min(index, len(rec.fields)-1)]
	at := f.start
	quoted := at < len(s.data) && s.data[at] == '"'
	if quoted {
		at++
	}
	for n := f.leader + offset; n > 0 && at < len(s.data); n-- {
		switch rest := s.data[at:]; {
		case quoted && bytes.HasPrefix(rest, []byte(`""`)), bytes.HasPrefix(rest, []byte("\r\n")):
			at += 2
		default:
			_, size := utf8.DecodeRune(rest)
			at += size
		}
	}
	line, column := s.position(at)
	return Place{Row: rec.number, Field: index + 1, Line: line, Column: column}
}
