package site

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// File is the content of one file, and the path the user knows it by.
type File struct {
	Path string
	Data []byte
}

// Bundle is everything one site consists of. Matrix is nil when there is none.
type Bundle struct {
	Site      File
	Matrix    *File
	Scenarios []File
}

// Limits bound what a caller can make big. A zero field means the default of DefaultLimits.
type Limits struct {
	SiteBytes     int // site.yaml
	MatrixBytes   int // matrix.csv
	ScenarioBytes int // each scenario
	Scenarios     int // number of scenarios
	Findings      int // problems listed per file
}

// DefaultLimits leave room for 64 loops of 250 devices with every key written out, and keep the
// node tree of the largest file below about half a gigabyte.
func DefaultLimits() Limits {
	return Limits{SiteBytes: 4 << 20, MatrixBytes: 16 << 20, ScenarioBytes: 4 << 20, Scenarios: 1000, Findings: 500}
}

// orDefault fills the zero fields of l.
func (l Limits) orDefault() Limits {
	d := DefaultLimits()
	for _, f := range []struct{ have, want *int }{
		{&l.SiteBytes, &d.SiteBytes}, {&l.MatrixBytes, &d.MatrixBytes}, {&l.ScenarioBytes, &d.ScenarioBytes},
		{&l.Scenarios, &d.Scenarios}, {&l.Findings, &d.Findings},
	} {
		if *f.have <= 0 {
			*f.have = *f.want
		}
	}
	return l
}

// Open reads a site from path: a site.yaml, or a folder that holds site.yaml and may hold
// matrix.csv and scenarios/*.scenario.yaml. A site.yaml named by itself brings the matrix and
// the scenarios beside it. Scenarios come sorted by name. Errors are about the outside world: an
// absent or unreadable file, a scenario's misspelt name, or more scenarios than DefaultLimits allow.
func Open(path string) (Bundle, error) {
	limits := DefaultLimits()
	info, err := os.Stat(path)
	if err != nil {
		return Bundle{}, fmt.Errorf("opening the site: %w", err)
	}
	folder, sitePath := filepath.Dir(path), path
	if info.IsDir() {
		folder, sitePath = path, filepath.Join(path, "site.yaml")
	}
	var bundle Bundle
	if bundle.Site, err = ReadFile(sitePath, limits.SiteBytes); err != nil {
		return Bundle{}, err
	}
	matrix, err := ReadFile(filepath.Join(folder, "matrix.csv"), limits.MatrixBytes)
	switch {
	case err == nil:
		bundle.Matrix = &matrix
	case !errors.Is(err, fs.ErrNotExist):
		return Bundle{}, err
	}
	names, err := scenarioNames(filepath.Join(folder, "scenarios"))
	if err != nil {
		return Bundle{}, err
	}
	if len(names) > limits.Scenarios {
		return Bundle{}, fmt.Errorf("%s holds %d scenarios: at most %d", filepath.Join(folder, "scenarios"), len(names), limits.Scenarios)
	}
	for _, name := range names {
		file, err := ReadFile(name, limits.ScenarioBytes)
		if err != nil {
			return Bundle{}, err
		}
		bundle.Scenarios = append(bundle.Scenarios, file)
	}
	return bundle, nil
}

// scenarioNames lists the scenario files of a folder, sorted; an absent folder holds none. Another
// YAML file there is an error: under a name misspelt, a scenario would never be played.
func scenarioNames(folder string) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the scenarios: %w", err)
	}
	var names []string
	for _, entry := range entries {
		name := filepath.Join(folder, entry.Name())
		switch extension := filepath.Ext(name); {
		case entry.IsDir():
		case strings.HasSuffix(name, ".scenario.yaml"):
			names = append(names, name)
		case extension == ".yaml" || extension == ".yml":
			return nil, fmt.Errorf("%s would not be played: the names of scenarios end in .scenario.yaml", name)
		}
	}
	slices.Sort(names)
	return names, nil
}

// ReadFile reads one file, at most limit bytes of it and one more: the loader, which can say so
// as a finding, refuses a file that is too large.
func ReadFile(path string, limit int) (File, error) {
	f, err := os.Open(path)
	if err != nil {
		return File{}, fmt.Errorf("reading a file of the site: %w", err)
	}
	defer func() { _ = f.Close() }() // it was only read: closing it can lose nothing
	data, err := io.ReadAll(io.LimitReader(f, int64(limit)+1))
	if err != nil {
		return File{}, fmt.Errorf("reading %s: %w", path, err)
	}
	return File{Path: path, Data: data}, nil
}
