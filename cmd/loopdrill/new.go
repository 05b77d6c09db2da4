package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
	"loopdrill.dev/loopdrill/sim/starter"
)

// newOptions are the flags of `new`.
type newOptions struct {
	loops, devices int
	list           string
}

// newNew returns `new DIR`.
func newNew(io stdio) *cobra.Command {
	var opt newOptions
	cmd := &cobra.Command{
		Use:   "new DIR",
		Short: "Write a site to start from, with its matrix and a scenario",
		Long: `Writes a small site of an invented building into DIR, which passes check, verify and
play. With --loops and --devices a large generated one; with --from one made from an
address list: a CSV file with the columns loop, address, label, kind, place, zone and
cable_m, and input where there are input modules, the lines of a loop in wiring order.
Files that are there are never overwritten.`,
		Example: "  loopdrill new boathouse\n  loopdrill new big --loops 10 --devices 250\n  loopdrill new mine --from devices.csv",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return fmt.Errorf("new takes one DIR, the folder to write into: %d given (see `%s --help`)", len(args), cmd.CommandPath())
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			grid := cmd.Flags().Changed("loops") || cmd.Flags().Changed("devices")
			files, err := opt.files(io, args[0], grid)
			if err != nil {
				return err
			}
			if err := writeNew(args[0], files.List); err != nil {
				return err
			}
			return sayNew(io, args[0], files)
		},
	}
	cmd.Flags().IntVar(&opt.loops, "loops", 1, fmt.Sprintf("generate a site of this many loops, 1 to %d", starter.MaxLoops))
	cmd.Flags().IntVar(&opt.devices, "devices", 25, fmt.Sprintf("generate a site with this many devices on each loop, %d to %d", starter.MinDevices, starter.MaxDevices))
	cmd.Flags().StringVar(&opt.list, "from", "", "make the site from this address list (CSV)")
	return cmd
}

// files makes what is to be written.
func (o *newOptions) files(io stdio, dir string, grid bool) (starter.Files, error) {
	switch {
	case grid && o.list != "":
		return starter.Files{}, errors.New("--from takes the devices from the list: leave out --loops and --devices")
	case grid:
		return starter.Grid(o.loops, o.devices)
	case o.list == "":
		return starter.Small(), nil
	}
	list, err := site.ReadFile(o.list, site.DefaultLimits().SiteBytes)
	if err != nil {
		return starter.Files{}, err
	}
	files, findings := starter.FromList(list, filepath.Base(filepath.Clean(dir)))
	if err := writeFindings(io.Err, io, findings); err != nil {
		return starter.Files{}, err
	}
	for _, f := range findings {
		if f.GetSeverity() == pb.Severity_SEVERITY_REFUSED {
			return starter.Files{}, errRefused
		}
	}
	return files, nil
}

// writeNew writes the files, or none of them if one is there already.
func writeNew(dir string, files []site.File) error {
	var there []error
	for _, f := range files {
		path := filepath.Join(dir, filepath.FromSlash(f.Path))
		if _, err := os.Lstat(path); err == nil {
			there = append(there, fmt.Errorf("%s is there already and is not overwritten: name another folder, or move it away", path))
		} else if !errors.Is(err, fs.ErrNotExist) {
			there = append(there, fmt.Errorf("looking for %s: %w", path, err))
		}
	}
	if len(there) > 0 {
		return errors.Join(there...)
	}
	for _, f := range files {
		path := filepath.Join(dir, filepath.FromSlash(f.Path))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil { //nolint:gosec // a site is for everybody to read
			return fmt.Errorf("making a folder of the new site: %w", err)
		}
		if err := writeOnce(path, f.Data); err != nil {
			return fmt.Errorf("writing the new site: %w", err)
		}
	}
	return nil
}

// writeOnce writes a file that does not exist.
func writeOnce(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644) //nolint:gosec // a site is for everybody to read
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Close())
}

// sayNew tells what was written and what to type next.
func sayNew(io stdio, dir string, files starter.Files) error {
	var text textLines
	judged := false
	for _, f := range files.List {
		text.add("wrote %s", filepath.Join(dir, filepath.FromSlash(f.Path)))
		judged = judged || f.Path == "matrix.csv"
	}
	if len(files.Remarks) > 0 {
		text.add("")
		for _, r := range files.Remarks {
			text.add("%s", r)
		}
	}
	text.add("")
	text.add("next:")
	text.add("  loopdrill check %s", shellWord(dir))
	if judged {
		text.add("  loopdrill verify %s", shellWord(dir))
		text.add("  loopdrill play %s", shellWord(dir))
	}
	text.add("")
	text.add("%s", caution())
	_, err := fmt.Fprint(io.Out, text.String())
	return err
}

// textLines collects lines.
type textLines struct{ strings.Builder }

func (t *textLines) add(format string, args ...any) { fmt.Fprintf(&t.Builder, format+"\n", args...) }
