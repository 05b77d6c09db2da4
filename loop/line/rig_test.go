package line

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// rig plays a script on a line. A poll slot is 10, a slot without reply 20, a command slot 15;
// the unit does not matter. A script is acts, split by semicolons: a time, a verb, a device and
// what belongs to it. Outputs operate at the instant at which they hear a command.
type rig struct {
	l     *Line
	s     *State
	now   time.Duration
	notes []string
	words []string // of the notes that are kept; none: all
	gaps  []int    // between garbled visits, for an error rate of one half
	draws int
	count uint64
	stuck map[int32]bool
	moves []Change
	raw   []Change
}

// rigConfig reads devices such as "f2,i,o": a fire input of two readings, another input, an
// output.
func rigConfig(devices string) Config {
	cfg := Config{PollSlot: 10, NoReplySlot: 20, CommandSlot: 15, MissedReplies: 3, CommandsBetweenVisits: 8}
	for i, word := range strings.Split(devices, ",") {
		d := Device{Address: uint8(i + 1), Output: word[0] == 'o', Fire: word[0] == 'f', Readings: 1}
		if len(word) > 1 {
			n, err := strconv.Atoi(word[1:])
			if err != nil {
				panic(err)
			}
			d.Readings = int32(n)
		}
		cfg.Devices = append(cfg.Devices, d)
	}
	return cfg
}

func newRig(cfg Config, gaps ...int) *rig {
	r := &rig{l: Compile(cfg), gaps: gaps, stuck: map[int32]bool{}}
	r.s = r.l.NewState(r)
	return r
}

// Uniform gives the middle of the numbers that make the next wanted gap, at a rate of one half.
func (r *rig) Uniform(n uint64) uint64 {
	if n != uint64(r.draws) {
		panic("line: draws out of their order")
	}
	gap := 40
	if r.draws < len(r.gaps) {
		gap = r.gaps[r.draws]
	}
	r.draws++
	return uint64(3) << (62 - gap) // 0.75 x 0.5^gap
}

var rigWords = map[Kind]string{
	Counted: "counted", FireSignal: "signal", ActiveRead: "active", PrealarmRead: "prealarm", MissingFault: "missing",
	WrongType: "wrong", DuplicateSeen: "duplicate", Garbled: "garbled", OutputFault: "outfault",
	CommandSent: "sent", CommandDone: "done", RepeatQueued: "repeat",
}

// Note writes a change down as "time word device what".
func (r *rig) Note(c Change) uint64 {
	r.count++
	r.raw = append(r.raw, c)
	what := map[bool]string{true: "on", false: "off"}[c.On]
	switch c.Kind {
	case Counted:
		what = fmt.Sprint(c.N)
	case FireSignal, Garbled:
		what = ""
	case CommandSent, RepeatQueued:
		what = fmt.Sprintf("s%d try %d", c.State, c.N)
	case CommandDone:
		what = fmt.Sprintf("s%d %s", c.State, map[bool]string{true: "heard", false: "unheard"}[c.On])
		if c.On && !r.stuck[c.Device] {
			r.moves = append(r.moves, c)
		}
	}
	word := rigWords[c.Kind]
	if len(r.words) == 0 || slices.Contains(r.words, word) {
		r.notes = append(r.notes, strings.TrimSpace(fmt.Sprintf("%d %s %d %s", r.now, word, c.Device, what)))
	}
	return r.count
}

// rigAct is one act of a script.
type rigAct struct {
	at   time.Duration
	late bool
	verb string
	i    int32
	args []string
}

func readScript(script string) []rigAct {
	var acts []rigAct
	for text := range strings.SplitSeq(script, ";") {
		f := strings.Fields(text)
		if len(f) == 0 {
			continue
		}
		at, err := strconv.Atoi(f[0])
		if err != nil {
			panic(err)
		}
		i, err := strconv.Atoi(f[2])
		if err != nil {
			panic(err)
		}
		late := slices.Contains([]string{"send", "rearm", "out"}, f[1])
		acts = append(acts, rigAct{time.Duration(at), late, f[1], int32(i), f[3:]})
	}
	return acts
}

// play runs the script, and on to the horizon.
func (r *rig) play(acts []rigAct, horizon time.Duration) {
	for {
		at, moment, ok := r.l.Next(r.s)
		if len(acts) > 0 {
			a := acts[0]
			first := a.at < at || a.at == at && (!a.late || moment == Begin)
			if !ok || first {
				r.now, acts = a.at, acts[1:]
				r.act(a)
				continue
			}
		}
		if !ok || at > horizon {
			return
		}
		r.now = at
		r.l.Advance(r.s, at, moment, r)
		for _, c := range r.moves {
			r.l.SetOutput(r.s, at, Late, c.Device, c.State, r.count)
		}
		r.moves = r.moves[:0]
	}
}

func (r *rig) act(a rigAct) {
	on := len(a.args) == 0 || a.args[0] != "off"
	p := r.s.Presence(a.i)
	switch a.verb {
	case "in": // on|off [pre]
		r.l.SetInput(r.s, r.now, a.i, on, slices.Contains(a.args, "pre"), 1000)
		return
	case "send": // state strength order group
		n := make([]int32, 4)
		for k, text := range a.args {
			v, err := strconv.Atoi(text)
			if err != nil {
				panic(err)
			}
			n[k] = int32(v)
		}
		r.l.Send(r.s, r.now, Command{Device: a.i, State: OutputState(n[0]), Strength: uint8(n[1]), Order: n[2], Group: n[3], Event: 2000})
		return
	case "out":
		n, err := strconv.Atoi(a.args[0])
		if err != nil {
			panic(err)
		}
		r.l.SetOutput(r.s, r.now, Late, a.i, OutputState(n), 3000)
		return
	case "rearm":
		r.l.Rearm(r.s, r.now, a.i, slices.Contains(a.args, "forget"))
		return
	case "stuck":
		r.stuck[a.i] = on
		return
	case "removed":
		p.Removed = on
	case "muted":
		p.Muted = on
	case "unfed":
		p.Unfed = on
	case "other":
		p.OtherKind = on
	case "duplicate":
		p.Duplicate = map[string]Duplicate{"off": NoDuplicate, "other": DuplicateOther, "same": DuplicateSame}[a.args[0]]
	default:
		panic("no such verb: " + a.verb)
	}
	r.l.SetPresence(r.s, r.now, a.i, p, 4000)
}

// story is a script and every note that it must bring, with what that rests on.
type story struct {
	name, source string
	devices      string
	config       func(*Config)
	gaps         []int
	script       string
	words        string // notes looked at; all if empty
	until        time.Duration
	want         string
}

func tell(t *testing.T, stories []story) {
	for _, c := range stories {
		t.Run(c.name, func(t *testing.T) {
			cfg := rigConfig(c.devices)
			if c.config != nil {
				c.config(&cfg)
			}
			if len(c.gaps) > 0 {
				cfg.ErrorRate = 0.5
			}
			r := newRig(cfg, c.gaps...)
			r.words = strings.Fields(c.words)
			r.play(readScript(c.script), c.until)
			var want []string
			for line := range strings.SplitSeq(c.want, ";") {
				if line = strings.Join(strings.Fields(line), " "); line != "" {
					want = append(want, line)
				}
			}
			if !slices.Equal(r.notes, want) {
				t.Errorf("source: %s\nscript: %s\nwant:\n  %s\ngot:\n  %s", c.source, c.script, strings.Join(want, "\n  "), strings.Join(r.notes, "\n  "))
			}
		})
	}
}
