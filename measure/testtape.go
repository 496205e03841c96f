package measure

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"headstack/dsp"
	"headstack/tape"
	"headstack/testtape"
)

// Source is one capture to measure. It is read twice, front to back.
type Source struct {
	// Name is what results call the capture, usually the file's name.
	Name string
	// Open starts a reading from the first frame; the function returned closes it.
	Open func() (dsp.Stream, func() error, error)
	// Tracks[c] is the track number on channel c, from 1; 0 leaves a channel out.
	Tracks []int
}

// Options say what was played and how.
type Options struct {
	Tape     *testtape.Tape
	Geometry tape.Geometry // of the playing head; without it there is no azimuth
	Case     CaseState
	SpeedCmS float64   // the machine's nominal speed, 0: the tape's
	When     time.Time // of the capture, zero when unknown
	// Progress, if any, is called now and then with the part done, 0 to 1.
	Progress func(done float64)
}

// ErrNoTape is returned by [TestTape] without a test tape.
var ErrNoTape = errors.New("no test tape given")

// TestTape measures captures of one test tape. Several sources are merged into one
// report: the same track in two of them gives two results, told apart by their
// conditions; they are never averaged. What could not be measured is listed as
// refused. An error means that a capture could not be read or that the call makes no
// sense; ctx stops it between blocks.
func TestTape(ctx context.Context, sources []Source, opt Options) (Report, error) {
	return measureTape(ctx, sources, opt, testtapeFind)
}

// locator finds the sections of a tape in a stream; a test may know them already.
type locator func(ctx context.Context, s dsp.Stream, t *testtape.Tape) (finding, error)

// finding is what the locator knows.
type finding struct {
	places   []place
	ratio    float64 // measured over nominal speed, 0 unknown
	warnings []string
}

// place is one section of the tape in one capture.
type place struct {
	index          int // in Tape.Sections
	found, partial bool
	startS, endS   float64
	reason         string
}

// measureTape is TestTape with the locator given.
func measureTape(ctx context.Context, sources []Source, opt Options, find locator) (Report, error) {
	if opt.Tape == nil {
		return Report{}, ErrNoTape
	}
	var rep Report
	var takes []*take
	for i, src := range sources {
		p := progress{report: opt.Progress, done: float64(i) / float64(len(sources)), share: 1 / float64(len(sources))}
		t, err := takeSource(ctx, src, opt, find, p)
		if err != nil {
			return Report{}, fmt.Errorf("measuring %s: %w", src.Name, err)
		}
		takes = append(takes, t)
		rep.Sections = append(rep.Sections, t.sections...)
		rep.Warnings = append(rep.Warnings, t.warnings...)
	}
	if err := fitAll(ctx, takes); err != nil {
		return Report{}, err
	}
	s := &session{opt: opt, takes: takes}
	s.reference, s.hasReference = opt.Tape.ReferenceSection()
	rep.Measures = s.measures()
	if v := opt.SpeedCmS; v > 0 && math.Abs(v/opt.Tape.SpeedCmS-1) > 0.01 {
		rep.Warnings = append(rep.Warnings, fmt.Sprintf("the tape is made for %g cm/s and the machine ran at %g cm/s: speed errors are against the tape's speed", opt.Tape.SpeedCmS, v))
	}
	rep.Warnings = append(rep.Warnings, "the capture interface's own response and clock are not removed from these figures")
	if opt.Progress != nil {
		opt.Progress(1)
	}
	return rep, nil
}

// session is all that was kept of all captures, ready for the measures.
type session struct {
	opt          Options
	takes        []*take
	reference    int // section index
	hasReference bool
}

// measures runs every measure in the order of a report.
func (s *session) measures() []Result {
	var out []Result
	out = append(out, s.levels()...)
	out = append(out, s.responses()...)
	out = append(out, s.speeds()...)
	out = append(out, s.delays()...)
	return append(out, s.noises()...)
}

// conditions are those of a figure from one channel of a take; ch may be nil.
func (s *session) conditions(t *take, channel int) Conditions {
	c := Conditions{Case: s.opt.Case, Tape: s.opt.Tape.Name, SpeedCmS: s.opt.SpeedCmS, When: s.opt.When, Channel: channel}
	if c.SpeedCmS == 0 {
		c.SpeedCmS = s.opt.Tape.SpeedCmS
	}
	if t != nil {
		c.Capture = t.name
	}
	return c
}

// toneSections calls f for every tone section of every take with every track, in
// the order of captures, sections, tracks. ch is nil when the section was not
// measured, why then says the reason.
func (s *session) toneSections(f func(t *take, index int, ch *toneChannel, track, channel int, why string)) {
	for _, t := range s.takes {
		for i, sec := range s.opt.Tape.Sections {
			if sec.ToneHz == 0 {
				continue
			}
			tt := t.tones[i]
			for _, c := range t.order {
				if tt.channels == nil {
					f(t, i, nil, t.tracks[c], c+1, tt.reason)
					continue
				}
				f(t, i, tt.channels[c], t.tracks[c], c+1, "")
			}
		}
	}
}

// progress reports a part of the whole work.
type progress struct {
	report      func(float64)
	done, share float64
}

func (p progress) at(part float64) {
	if p.report != nil {
		p.report(p.done + p.share*min(1, part))
	}
}
