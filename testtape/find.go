package testtape

import (
	"context"
	"fmt"
	"runtime"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
)

// Finding says where the sections of a tape lie in a capture.
type Finding struct {
	// Sections has one entry for each section of the tape, in the tape's order.
	Sections []Located `json:"sections"`
	// SpeedRatio is measured over nominal speed, from the frequencies of all
	// tones that were found; 0 when none was. It is good to about 0.02 %: enough
	// to place windows, not the measure of speed.
	SpeedRatio float64 `json:"speed_ratio"`
	// Warnings are doubts about the whole, in sentences.
	Warnings []string `json:"warnings,omitempty"`
}

// Located is one section's place in the capture.
type Located struct {
	// Index is the section's place in Tape.Sections.
	Index int  `json:"index"`
	Found bool `json:"found"`
	// Partial is true when the capture begins or ends inside the section.
	Partial bool `json:"partial,omitempty"`
	// StartS and EndS are seconds from the first sample; good to about 0.05 s
	// where a tone begins or ends, and by the stated length where silence meets
	// leader. Both 0 when not found.
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	// Reason says why the section was not found.
	Reason string `json:"reason,omitempty"`
}

// Find looks for the sections of t in a capture of its replay, reading s once
// to its end. Memory is bounded by about 64 MiB; past that much (hours for a
// common tape) it stops listening and says so in a warning.
//
// A capture in which nothing is found is no error: all sections are then not
// found and a warning says so. Errors come from the stream, from ctx, or from a
// tape that fails [Tape.Check]. Find panics when the stream has no channels or
// no sample rate.
func Find(ctx context.Context, s dsp.Stream, t *Tape) (*Finding, error) {
	if err := t.Check(); err != nil {
		return nil, fmt.Errorf("finding sections: %w", err)
	}
	if s.Channels() < 1 || !(s.SampleRate() > 0) {
		panic("testtape: stream without channels or sample rate")
	}
	f, err := listen(ctx, s, t)
	if err != nil {
		return nil, fmt.Errorf("finding sections of %q: %w", t.Name, err)
	}
	l := newLocator(t, f)
	l.run()
	return l.finding(), nil
}

// locator holds what is known while sections are being found.
type locator struct {
	tape *Tape
	f    *features
	ev   *evidence

	ratio float64 // best speed ratio; 0 when nothing matched
	spans []span  // per section, in fine frames; nil when nothing matched
	found []Located
	// doubted is true when tones were heard that may as well be music.
	doubted bool
}

func newLocator(t *Tape, f *features) *locator {
	return &locator{tape: t, f: f, ev: newEvidence(f), found: make([]Located, len(t.Sections))}
}

// run tries the likely speeds, aligns at the best, and refines speed and edges.
func (l *locator) run() {
	for i := range l.found {
		l.found[i].Index = i
	}
	best := l.best(l.ev.likelySpeeds())
	if best == nil {
		return
	}
	l.verify(best)
	if r := l.measureSpeed(best); r > 0 {
		// Once more at the measured speed: the grid is coarser than the tolerance.
		best = align(l, r)
		l.verify(best)
	}
	l.ratio = l.measureSpeed(best)
	if l.ratio == 0 {
		return
	}
	l.spans = best.spans
	if !l.vouched() {
		l.ratio, l.doubted = 0, true
		return
	}
	l.place()
}

// best aligns at each speed, side by side, and returns the best; nil for none.
func (l *locator) best(speeds []float64) *alignment {
	list := make([]*alignment, len(speeds))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, r := range speeds {
		g.Go(func() error { list[i] = align(l, r); return nil })
	}
	g.Wait() //nolint:errcheck // the functions return nil
	var best *alignment
	for _, a := range list {
		if best == nil || a.score > best.score {
			best = a
		}
	}
	return best
}

// span is a section's stretch of frames [from, to); from = -1 when not found.
type span struct{ from, to int }

func (s span) found() bool { return s.from >= 0 }
