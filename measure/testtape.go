package measure

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
	"headstack/programme"
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
	// Interface, if any, is the capture interface's own response, to be taken off.
	Interface *Interface
	// OnceRound, if any, lists what turns in the transport, to name flutter lines.
	OnceRound []Rotation
	// WhileRecording says that the capture was taken while the programme was being
	// recorded, from the outputs of the other tracks: what they hear then is bleed of
	// the record head into replay, not crosstalk of a replayed tape.
	WhileRecording bool
	// Progress, if any, is called now and then with the part done, 0 to 1.
	Progress func(done float64)

	programme *programme.Programme // what was recorded, nil for a test tape
}

// ErrNoTape is returned by [TestTape] without a test tape.
var ErrNoTape = errors.New("no test tape given")

// TestTape measures captures of one test tape. Several sources are merged into one
// report: the same track in two of them gives two results, told apart by their
// conditions; they are never averaged. What could not be measured is listed as
// refused. An error means that a capture could not be read or that the call makes no
// sense; ctx stops it between blocks.
func TestTape(ctx context.Context, sources []Source, opt Options) (Report, error) {
	if opt.Tape == nil {
		return Report{}, ErrNoTape
	}
	rep, err := measureRounds(ctx, sources, opt, []round{{find: func(ctx context.Context, src Source, s dsp.Stream) (finding, error) {
		return testtapeFind(ctx, s, opt.Tape)
	}}})
	if err != nil || slices.ContainsFunc(rep.Sections, func(s SectionFound) bool { return s.Found }) {
		return rep, err
	}
	for _, src := range sources {
		w, err := wrongSpeed(ctx, src, opt.Tape)
		if err != nil {
			return Report{}, fmt.Errorf("measuring %s: %w", src.Name, err)
		}
		if w != "" {
			rep.Warnings = append(rep.Warnings, w)
		}
	}
	return rep, nil
}

// round is a recording of the whole tape or programme on some of the tracks: how its
// sections are found. A test tape is one round.
type round struct {
	tracks []int // nil: all
	find   func(ctx context.Context, src Source, s dsp.Stream) (finding, error)
}

func (r round) has(track int) bool { return r.tracks == nil || slices.Contains(r.tracks, track) }

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

// measureRounds hears all rounds in all sources and measures what was heard.
func measureRounds(ctx context.Context, sources []Source, opt Options, rounds []round) (Report, error) {
	var rep Report
	var takes []*take
	for i, src := range sources {
		p := progress{report: opt.Progress, done: float64(i) / float64(len(sources)), share: 1 / float64(len(sources))}
		ts, err := takeSource(ctx, src, opt, rounds, p)
		if err != nil {
			return Report{}, fmt.Errorf("measuring %s: %w", src.Name, err)
		}
		takes = append(takes, ts...)
		for _, t := range ts {
			rep.Sections = append(rep.Sections, t.sections...)
			rep.Warnings = append(rep.Warnings, t.warnings...)
		}
	}
	if err := fitAll(ctx, takes); err != nil {
		return Report{}, err
	}
	s := &session{opt: opt, prog: opt.programme, takes: takes}
	s.reference, s.hasReference = s.referenceSection()
	s.report(&rep)
	rep.Warnings = append(rep.Warnings, s.wrongSwitch(rep.Measures)...)
	if v := opt.SpeedCmS; v > 0 && math.Abs(v/opt.Tape.SpeedCmS-1) > 0.01 {
		rep.Warnings = append(rep.Warnings, fmt.Sprintf("the tape is made for %g cm/s and the machine ran at %g cm/s: speed errors are against the tape's speed", opt.Tape.SpeedCmS, v))
	}
	rep.Warnings = append(rep.Warnings, interfaceWarning(opt.Interface))
	if opt.Progress != nil {
		opt.Progress(1)
	}
	return rep, nil
}

// session is all that was kept of all captures, ready for the measures.
type session struct {
	opt          Options
	prog         *programme.Programme // nil for a test tape
	takes        []*take
	reference    int // section index
	hasReference bool
}

// report lets every family make its results and traces, side by side: they only read
// what was heard. The order of the report is that of the families.
func (s *session) report(rep *Report) {
	results, traces := make([][]Result, len(families)), make([][]Trace, len(families))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, f := range slices.Backward(families) { // the dearest are the last
		g.Go(func() error {
			if f.results != nil {
				results[i] = f.results(s)
			}
			if f.traces != nil {
				traces[i] = f.traces(s)
			}
			return nil
		})
	}
	_ = g.Wait() // no family returns an error
	for i := range families {
		rep.Measures = append(rep.Measures, results[i]...)
		rep.Traces = append(rep.Traces, traces[i]...)
	}
}

// toneResults are the measures of single tones.
func (s *session) toneResults() []Result {
	var out []Result
	out = append(out, s.levels()...)
	out = append(out, s.responses()...)
	out = append(out, s.speeds()...)
	return append(out, s.delays()...)
}

// referenceSection is the section that the others are compared with.
func (s *session) referenceSection() (index int, ok bool) {
	if s.prog == nil {
		return s.opt.Tape.ReferenceSection()
	}
	for i, p := range s.prog.Parts {
		if p.Kind == programme.Tone && s.opt.Tape.Sections[i].ToneHz == s.prog.ReferenceHz && s.opt.Tape.Sections[i].LevelDB == 0 {
			return i, true
		}
	}
	return 0, false
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

// toneSections calls f for every section of every take that carries one tone on all
// tracks, with every track, in the order of captures, sections, tracks. ch is nil when
// the section was not measured, why then says the reason.
func (s *session) toneSections(f func(t *take, index int, ch *toneChannel, track, channel int, why string)) {
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if !oneTone(s.kind(i)) {
				continue
			}
			tt := t.toneTake(i)
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

// interfaceWarning says what of the capture interface is still in the figures.
func interfaceWarning(f *Interface) string {
	if f == nil {
		return "the capture interface's own response and clock are not removed from these figures"
	}
	text := fmt.Sprintf("the response of the capture interface %q is taken off; its clock is not", f.Name)
	if !f.When.IsZero() {
		text = fmt.Sprintf("the response of the capture interface %q, looped back on %s, is taken off; its clock is not", f.Name, f.When.Format("2 January 2006"))
	}
	return text
}
