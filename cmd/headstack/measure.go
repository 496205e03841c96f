package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"headstack/capture"
	"headstack/dsp"
	"headstack/job"
	"headstack/machine"
	"headstack/measure"
	"headstack/testtape"
)

type measureVerb struct {
	benchFlag
	Machine        string   `required:"" placeholder:"DEF" help:"Recorder definition: a YAML file, or the id of a built-in one."`
	Tape           string   `required:"" xor:"played" placeholder:"TAPE" help:"Test-tape definition: a YAML file, or the id of a built-in one."`
	Programme      string   `required:"" xor:"played" placeholder:"FILE" help:"Record programme that the machine recorded and replayed: a YAML file."`
	WhileRecording bool     `help:"The captures were taken while the programme was being recorded: bleed is measured, not crosstalk."`
	Interface      string   `placeholder:"ID" help:"Looped-back capture interface to take off: an id that the bench knows, or a file that headstack loopback show --json wrote."`
	Tracks         []string `sep:"none" placeholder:"1,2,.." help:"Track on each channel, in channel order. Once for all captures, or once per capture."`
	Case           string   `enum:"closed,propped,open,unknown" default:"unknown" help:"Case state: ${enum}."`
	Draw           string   `placeholder:"DIR" help:"Also write the plots as PNG and SVG into a folder."`
	All            bool     `help:"Print every figure, those of each pair, line and section too."`
	JSON           bool     `help:"One JSON object on standard output."`
	Capture        []string `arg:"" help:"WAV, RF64, BW64 or FLAC files; - is WAV on standard input."`
}

func (measureVerb) Help() string {
	return `Example: headstack measure --machine hexastrand --tape TAPE.yaml --tracks 1,6 --case closed left-right.wav

Channel n of a capture is the n-th of --tracks. When several captures hold one or two tracks each, give one list that
they use up in turn (--tracks 1,2,3,4 a.wav b.wav) or --tracks once per capture.`
}

func (v *measureVerb) Run(e *env) error {
	got, err := v.take(e)
	if err != nil {
		return err
	}
	if v.Draw != "" {
		if err := drawReport(e, v.Draw, got.rep, got.def); err != nil {
			return err
		}
	}
	if v.JSON {
		if err := printJSON(e.out, got.rep); err != nil {
			return err
		}
	} else {
		printReport(e.out, got.rep, v.All)
	}
	return got.judged()
}

// played is what was measured on captures.
type played struct {
	files []string
	def   *machine.Definition
	rep   measure.Report
	tape  *testtape.Tape // or a programme as one
	own   bool           // it is a programme: the machine recorded what it plays
}

// judged is an error when no section was found.
func (t played) judged() error {
	if slices.ContainsFunc(t.rep.Sections, func(s measure.SectionFound) bool { return s.Found }) {
		return nil
	}
	return &fault{exitNoJudge, fmt.Errorf("no section of %q was found in %s", t.tape.Name, strings.Join(t.files, ", ")),
		"is it this tape, this speed, and does the capture have signal? `headstack tape show` lists what was looked for"}
}

// take opens what the flags name and measures it.
func (v *measureVerb) take(e *env) (got played, err error) {
	got.files = v.Capture
	if got.def, err = loadMachine(v.Machine); err != nil {
		return got, err
	}
	if slices.Contains(v.Capture, "-") {
		return got, usage("a capture on standard input cannot be read twice: write it to a file first")
	}
	if v.WhileRecording && v.Programme == "" {
		return got, usage("--while-recording is for a record programme: a test tape is not recorded on this machine")
	}
	opt := measure.Options{Geometry: got.def.Geometry(), Case: caseState(v.Case), WhileRecording: v.WhileRecording}
	if opt.Interface, err = v.face(e); err != nil {
		return got, err
	}
	sources, err := openSources(v.Capture, v.Tracks, got.def.Tracks.Count)
	if err != nil {
		return got, err
	}
	err = v.measure(e, sources, opt, &got)
	return got, err
}

// measure measures the sources.
func (v *measureVerb) measure(e *env, sources []measure.Source, opt measure.Options, got *played) (err error) {
	bar := e.progress("measuring")
	defer bar.done()
	opt.Progress = bar.at
	if v.Programme != "" {
		p, err := loadProgramme(v.Programme)
		if err != nil {
			return err
		}
		got.tape, got.own = p.Tape(), true
		opt.SpeedCmS = p.SpeedCmS
		opt.OnceRound = job.Rotations(got.def, p.SpeedCmS)
		got.rep, err = measure.Recording(e.ctx, sources, p, opt)
		return err
	}
	if opt.Tape, err = loadTape(v.Tape); err != nil {
		return err
	}
	got.tape = opt.Tape
	opt.SpeedCmS = opt.Tape.SpeedCmS
	opt.OnceRound = job.Rotations(got.def, opt.SpeedCmS)
	if got.rep, err = measure.TestTape(e.ctx, sources, opt); err != nil {
		return err
	}
	got.rep.Warnings = append(got.rep.Warnings, measureAdvice(got.def, opt.Tape)...)
	return nil
}

// face is the looped-back interface that is to be taken off, nil for none.
func (v *measureVerb) face(e *env) (*measure.Interface, error) {
	if v.Interface == "" {
		return nil, nil
	}
	data, isFile, err := fileOrID(v.Interface)
	if err != nil {
		return nil, err
	}
	var l job.Loopback
	if isFile {
		if err := json.Unmarshal(data, &l); err != nil || l.Format != 1 {
			return nil, withHint(fmt.Errorf("%s is no loop-back of a capture interface: %w", v.Interface, errors.Join(err, errLoopback)), "headstack loopback show --json writes one")
		}
		return &l.Response, nil
	}
	err = v.with(e, func(b *job.Bench) (err error) {
		l, err = b.Loopback(e.ctx, v.Interface)
		return err
	})
	return &l.Response, err
}

// errLoopback is what a file that should be a loop-back lacks.
var errLoopback = errors.New(`want a JSON object with "loopback": 1 and "response"`)

// measureAdvice are warnings that follow from definition and tape alone.
func measureAdvice(def *machine.Definition, tape *testtape.Tape) []string {
	var out []string
	i := slices.IndexFunc(def.Speeds, func(s machine.Speed) bool { return nearSpeed(s.CmS, tape.SpeedCmS) })
	if i < 0 {
		return append(out, fmt.Sprintf("the tape runs at %g cm/s, a speed that %s %s does not have", tape.SpeedCmS, def.Make, def.Name))
	}
	if s := def.Speeds[i]; s.HighUs != tape.EqualisationUs.High || s.LowUs != tape.EqualisationUs.Low {
		out = append(out, fmt.Sprintf("the tape is recorded to %s, the machine replays %s: the response figures contain that difference",
			timeConstants(tape.EqualisationUs.High, tape.EqualisationUs.Low), timeConstants(s.HighUs, s.LowUs)))
	}
	return out
}

func nearSpeed(a, b float64) bool { return a/b > 0.99 && a/b < 1.01 }

func timeConstants(high, low float64) string {
	if low == 0 {
		return fmt.Sprintf("%g µs", high)
	}
	return fmt.Sprintf("%g + %g µs", high, low)
}

// openSources opens each capture once to learn its channels and shares the
// track lists out among them.
func openSources(files, lists []string, count int) ([]measure.Source, error) {
	channels := make([]int, len(files))
	for i, f := range files {
		r, err := capture.Open(f)
		if err != nil {
			return nil, err
		}
		channels[i] = r.Channels()
		r.Close()
	}
	tracks, err := shareTracks(lists, files, channels, count)
	if err != nil {
		return nil, err
	}
	sources := make([]measure.Source, len(files))
	for i, f := range files {
		sources[i] = measure.Source{Name: filepath.Base(f), Tracks: tracks[i], Open: func() (dsp.Stream, func() error, error) {
			r, err := capture.Open(f)
			if err != nil {
				return nil, nil, err
			}
			return r, r.Close, nil
		}}
	}
	return sources, nil
}

// shareTracks gives every capture the track on each of its channels.
func shareTracks(lists, files []string, channels []int, count int) ([][]int, error) {
	var parsed [][]int
	for _, l := range lists {
		p, err := parseTracks(l, count)
		if err != nil {
			return nil, err
		}
		parsed = append(parsed, p)
	}
	total := 0
	for _, c := range channels {
		total += c
	}
	switch {
	case len(parsed) == 0:
		all := make([]int, count)
		for i := range all {
			all[i] = i + 1
		}
		parsed = [][]int{all}
		if !slices.ContainsFunc(channels, func(c int) bool { return c != count }) {
			return slices.Repeat(parsed, len(files)), nil
		}
		return nil, usage("%s has %d channels and the machine %d tracks: say with --tracks which track is on each channel", files[0], channels[0], count)
	case len(parsed) > 1 && len(parsed) != len(files):
		return nil, usage("--tracks is given %d times for %d captures: once for all, or once per capture", len(parsed), len(files))
	case len(parsed) == 1 && len(files) > 1 && len(parsed[0]) == total:
		rest, out := parsed[0], [][]int{}
		for _, c := range channels {
			out, rest = append(out, rest[:c]), rest[c:]
		}
		parsed = out
	case len(parsed) == 1:
		parsed = slices.Repeat(parsed, len(files))
	}
	for i, p := range parsed {
		if len(p) != channels[i] {
			return nil, usage("%s has %d channels, --tracks names %d tracks for it", files[i], channels[i], len(p))
		}
	}
	return parsed, nil
}

// parseTracks reads --tracks; 0 leaves a channel out.
func parseTracks(list string, count int) ([]int, error) {
	var out []int
	for _, f := range strings.Split(list, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(f))
		if err != nil || n < 0 || n > count {
			return nil, usage("--tracks %s: %q is not a track from 1 to %d, nor 0 for a channel to leave out", list, f, count)
		}
		if n > 0 && slices.Contains(out, n) {
			return nil, usage("--tracks %s: track %d is named twice", list, n)
		}
		out = append(out, n)
	}
	return out, nil
}

func caseState(s string) measure.CaseState {
	if s == "unknown" {
		return measure.CaseUnknown
	}
	return measure.CaseState(s)
}
