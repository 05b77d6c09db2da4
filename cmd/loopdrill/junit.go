package main

import (
	"encoding/xml"
	"fmt"
	"os"

	"loopdrill.dev/loopdrill/sim"
)

// The JUnit XML form that continuous-integration servers read: suites of cases, a case failed,
// errored, skipped or good. Servers show a suite by itself, so each carries the caution.
type (
	junitSuites struct {
		XMLName xml.Name     `xml:"testsuites"`
		Name    string       `xml:"name,attr"`
		Suites  []junitSuite `xml:"testsuite"`
	}
	junitSuite struct {
		Name     string `xml:"name,attr"`
		Tests    int    `xml:"tests,attr"`
		Failures int    `xml:"failures,attr"`
		Errors   int    `xml:"errors,attr"`
		Skipped  int    `xml:"skipped,attr"`

		Properties []junitProperty `xml:"properties>property"`
		Cases      []junitCase     `xml:"testcase"`
	}
	junitProperty struct {
		Name  string `xml:"name,attr"`
		Value string `xml:"value,attr"`
	}
	junitCase struct {
		Name    string       `xml:"name,attr"`
		Class   string       `xml:"classname,attr"`
		Failure *junitDetail `xml:"failure,omitempty"`
		Error   *junitDetail `xml:"error,omitempty"`
		Skipped *junitDetail `xml:"skipped,omitempty"`
	}
	junitDetail struct {
		Message string `xml:"message,attr"`
		Text    string `xml:",chardata"`
	}
)

// add appends a case to the suite and counts it.
func (s *junitSuite) add(c junitCase) {
	s.Tests++
	switch {
	case c.Error != nil:
		s.Errors++
	case c.Failure != nil:
		s.Failures++
	case c.Skipped != nil:
		s.Skipped++
	}
	s.Cases = append(s.Cases, c)
}

// writeJUnit writes the suites to a file.
func writeJUnit(path string, suites junitSuites) error {
	for i := range suites.Suites {
		suites.Suites[i].Properties = []junitProperty{{"caution", sim.Caution}}
	}
	text, err := xml.MarshalIndent(suites, "", "  ")
	if err != nil {
		return fmt.Errorf("writing JUnit XML: %w", err)
	}
	text = append([]byte(xml.Header), append(text, '\n')...)
	if err := os.WriteFile(path, text, 0o644); err != nil { //nolint:gosec // a report is for everybody to read
		return fmt.Errorf("writing JUnit XML: %w", err)
	}
	return nil
}
