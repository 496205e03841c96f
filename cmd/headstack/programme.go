package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"headstack/capture"
	"headstack/dsp"
	"headstack/programme"
)

type programmeVerb struct {
	New   programmeNewVerb   `cmd:"" help:"Write the standard programme for a number of tracks and a speed."`
	Check programmeCheckVerb `cmd:"" help:"Check a record programme and list its parts."`
	Sound programmeSoundVerb `cmd:"" help:"Write what is to be recorded as WAV files, with instructions."`
}

type programmeNewVerb struct {
	Tracks      int      `required:"" help:"Tracks of the recorder."`
	Speed       float64  `required:"" placeholder:"CM_S" help:"Tape speed in cm/s."`
	AtOnce      int      `placeholder:"N" help:"Tracks that the recorder records at once; without it all."`
	ReferenceHz float64  `placeholder:"HZ" help:"Reference tone; without it 1 kHz from 19 cm/s up, else 315 Hz."`
	Kinds       []string `placeholder:"KIND" help:"Kinds of parts wanted; without it all but the staircase, during which a person turns a trim."`
	Name        string   `help:"Name of the programme."`
	File        string   `arg:"" optional:"" help:"File to write; without it standard output. An existing file is not overwritten."`
}

func (programmeNewVerb) Help() string {
	var kinds []string
	for _, k := range programme.Kinds() {
		kinds = append(kinds, string(k))
	}
	return "Example: headstack programme new --tracks 6 --speed 9.525 --at-once 2 my-programme.yaml\n\nKinds: " + strings.Join(kinds, ", ") + "."
}

func (v *programmeNewVerb) Run(e *env) error {
	o := programme.Options{Name: v.Name, Tracks: v.Tracks, SpeedCmS: v.Speed, TracksPerRound: v.AtOnce, ReferenceHz: v.ReferenceHz}
	for _, k := range v.Kinds {
		o.Kinds = append(o.Kinds, programme.Kind(k))
	}
	p, err := programme.New(o)
	if errors.Is(err, programme.ErrOptions) {
		return usage("%v", err)
	}
	if err != nil {
		return err
	}
	text, err := p.Encode()
	if err != nil {
		return err
	}
	return writeNew(e, v.File, text)
}

type programmeCheckVerb struct {
	JSON bool   `help:"The programme as one JSON object."`
	File string `arg:"" help:"YAML file."`
}

func (programmeCheckVerb) Help() string {
	return "Example: headstack programme check my-programme.yaml"
}

func (v *programmeCheckVerb) Run(e *env) error {
	p, err := loadProgramme(v.File)
	if err != nil {
		return err
	}
	if v.JSON {
		return printJSON(e.out, p)
	}
	fmt.Fprintf(e.out, "%s: %d tracks in %d rounds, %g cm/s, %.0f s a round; 0 dB = %g dBFS, reference %g Hz\n", p.Name, p.Tracks, len(p.Rounds), p.SpeedCmS, p.Seconds(), p.ReferenceDBFS, p.ReferenceHz)
	w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "at\tpart\tkind\tlength")
	for i, part := range p.Parts {
		fmt.Fprintf(w, "%.1f s\t%s\t%s\t%g s\n", p.Start(i), part.Name, part.Kind, part.Seconds)
	}
	return w.Flush()
}

type programmeSoundVerb struct {
	Rate int    `default:"48000" help:"Sample rate in Hz."`
	Bits int    `default:"24" enum:"16,24,32" help:"Bits of a sample: ${enum}."`
	To   string `default:"." placeholder:"DIR" help:"Folder for the files."`
	File string `arg:"" help:"YAML file of the programme."`
}

func (programmeSoundVerb) Help() string {
	return `Example: headstack programme sound --to sound my-programme.yaml

Writes round-1.wav, round-2.wav, ... with a channel for each track of the round, erase-pass-1.wav, ... with the silence
of the second pass where the programme tests erasing, and instructions.txt. Existing files are not overwritten.`
}

func (v *programmeSoundVerb) Run(e *env) error {
	p, err := loadProgramme(v.File)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(v.To, 0o777); err != nil {
		return err
	}
	var text strings.Builder
	for round := range p.Rounds {
		name := filepath.Join(v.To, fmt.Sprintf("round-%d.wav", round+1))
		s, err := p.Signal(round, float64(v.Rate))
		if err != nil {
			return err
		}
		if err := v.write(e, name, s); err != nil {
			return err
		}
		fmt.Fprintf(&text, "Round %d: %s, tracks %s\n", round+1, filepath.Base(name), numbers(p.Rounds[round]))
		for i, step := range p.Instructions(round) {
			fmt.Fprintf(&text, "%3d. %s\n", i+1, step)
		}
		text.WriteByte('\n')
		pass, err := p.ErasePass(round, float64(v.Rate))
		if errors.Is(err, programme.ErrNoErase) {
			continue
		}
		if err != nil {
			return err
		}
		if err := v.write(e, filepath.Join(v.To, fmt.Sprintf("erase-pass-%d.wav", round+1)), pass.Silence); err != nil {
			return err
		}
	}
	return writeNew(e, filepath.Join(v.To, "instructions.txt"), []byte(text.String()))
}

// write writes a stream as a WAV file that is not there yet; a file that could not be
// finished is removed.
func (v *programmeSoundVerb) write(e *env, name string, s dsp.Stream) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return withHint(fmt.Errorf("%s is there already and was not overwritten", name), "name another folder with --to")
	}
	if err != nil {
		return err
	}
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: v.Bits, Channels: s.Channels(), SampleRate: v.Rate})
	if err == nil {
		err = copyStream(e, w, s)
	}
	if err == nil {
		err = errors.Join(w.Close(), f.Sync())
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(fmt.Errorf("writing %s: %w", name, err), os.Remove(name))
	}
	fmt.Fprintln(e.err, "wrote", name)
	return nil
}

// copyStream writes a stream to its end.
func copyStream(e *env, w *capture.Writer, s dsp.Stream) error {
	buf := make([][]float64, s.Channels())
	for c := range buf {
		buf[c] = make([]float64, 8192)
	}
	for {
		if err := e.ctx.Err(); err != nil {
			return err
		}
		n, err := s.Read(buf)
		if n > 0 {
			if werr := w.Write(buf, n); werr != nil {
				return werr
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// loadProgramme loads the file of a record programme.
func loadProgramme(name string) (*programme.Programme, error) {
	data, err := readFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, withHint(fmt.Errorf("no record programme %s", name), "headstack programme new writes one")
	}
	if err != nil {
		return nil, err
	}
	p, err := programme.Load(name, data)
	if err != nil && (startsWith(data, "testtape:") || startsWith(data, "machine:")) {
		return nil, withHint(fmt.Errorf("%s is no record programme", name), "test tapes go with --tape, recorder definitions with --machine")
	}
	return p, err
}

func numbers(tracks []int) string {
	return strings.Trim(strings.ReplaceAll(fmt.Sprint(tracks), " ", ", "), "[]")
}
