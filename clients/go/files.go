package client

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// ReadFiles reads a site from path as the commands do: a site.yaml, or a folder that holds
// site.yaml and may hold matrix.csv and scenarios/*.scenario.yaml; scenarios come sorted by name.
// What is in the files is for the server to judge.
func ReadFiles(path string) (*pb.SiteFiles, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("opening the site: %w", err)
	}
	folder, sitePath := filepath.Dir(path), path
	if info.IsDir() {
		folder, sitePath = path, filepath.Join(path, "site.yaml")
	}
	files := &pb.SiteFiles{}
	if files.Site, err = ReadFile(sitePath); err != nil {
		return nil, err
	}
	files.Matrix, err = ReadFile(filepath.Join(folder, "matrix.csv"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	entries, err := os.ReadDir(filepath.Join(folder, "scenarios"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("reading the scenarios: %w", err)
	}
	var names []string
	for _, entry := range entries {
		if !entry.IsDir() && strings.HasSuffix(entry.Name(), ".scenario.yaml") {
			names = append(names, filepath.Join(folder, "scenarios", entry.Name()))
		}
	}
	slices.Sort(names)
	for _, name := range names {
		file, err := ReadFile(name)
		if err != nil {
			return nil, err
		}
		files.Scenarios = append(files.Scenarios, file)
	}
	return files, nil
}

// ReadFile reads one file of a site.
func ReadFile(path string) (*pb.SourceFile, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("reading a file of the site: %w", err)
	}
	return &pb.SourceFile{Path: path, Content: data}, nil
}
