package main

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"headstack/capture"
	"headstack/dsp"
	"headstack/machine"
	"headstack/measure"
	"headstack/testtape"
)

type measureVerb struct {
	Machine string   `required:"" placeholder:"DEF" help:"Recorder definition: a YAML file, or the id of a built-in one."`
	Tape    string   `required:"" placeholder:"TAPE" help:"Test-tape definition: a YAML file, or the id of a built-in one."`
	Tracks  []string `sep:"none" placeholder:"1,2,.." help:"Track on each channel, in channel order. Once for all captures, or once per capture."`
	Case    string   `enum:"closed,propped,open,unknown" default:"unknown" help:"Case state: ${enum}."`
	JSON    bool     `help:"One JSON object on standard output."`
	Capture []string `arg:"" help:"WAV, RF64, BW64 or FLAC files; - is WAV on standard input."`
}

func (measureVerb) Help() string {
	return `Example: headstack measure --machine hexastrand --tape TAPE.yaml --tracks 1,6 --case closed left-right.wav

Channel n of a capture is the n-th of --tracks. When several captures hold one or two tracks each, give one list that
they use up in turn (--tracks 1,2,3,4 a.wav b.wav) or --tracks once per capture.`
}

func (v *measureVerb) Run(e *env) error {
	def, err := loadMachine(v.Machine)
	if err != nil {
		return err
	}
	tape, err := loadTape(v.Tape)
	if err != nil {
		return err
	}
	if slices.Contains(v.Capture, "-") {
		return usage("a capture on standard input cannot be read twice: write it to a file first")
	}
	sources, err := openSources(v.Capture, v.Tracks, def.Tracks.Count)
	if err != nil {
		return err
	}
	bar := e.progress("measuring")
	rep, err := measure.TestTape(e.ctx, sources, measure.Options{
		Tape: tape, Geometry: def.Geometry(), Case: caseState(v.Case), SpeedCmS: tape.SpeedCmS, Progress: bar.at,
	})
	bar.done()
	if err != nil {
		return err
	}
	rep.Warnings = append(rep.Warnings, measureAdvice(def, tape)...)
	if v.JSON {
		enc := json.NewEncoder(e.out)
		enc.SetIndent("", " ")
		if err := enc.Encode(rep); err != nil {
			return err
		}
	} else {
		printReport(e.out, rep)
	}
	if !slices.ContainsFunc(rep.Sections, func(s measure.SectionFound) bool { return s.Found }) {
		return &fault{exitNoJudge, fmt.Errorf("no section of %q was found in %s", tape.Name, strings.Join(v.Capture, ", ")),
			"is it this tape, this speed, and does the capture have signal? `headstack tape show` lists what was looked for"}
	}
	return nil
}

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

func parseTracks(list string, count int) ([]int, error) {
	var out []int
	for _, f := range strings.Split(list, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(f))
		if err != nil || n < 1 || n > count {
			return nil, usage("--tracks %s: %q is not a track from 1 to %d", list, f, count)
		}
		if slices.Contains(out, n) {
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
