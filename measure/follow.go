package measure

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"headstack/dsp"
	"headstack/testtape"
)

// A Following measures the tones of one test tape while the capture still grows: the level,
// response, speed and delay of each section by the code that measures the finished
// capture, section by section, each as often as there is more of it. It is for one
// goroutine at a time. Memory is a few hundred kilobytes per minute and track.
type Following struct {
	s *session
	t *take
}

// Follow begins a following of a capture called name, with tracks on its channels as
// [Source] has them, at rate hertz.
func Follow(name string, tracks []int, rate float64, opt Options) (*Following, error) {
	if opt.Tape == nil {
		return nil, ErrNoTape
	}
	if !(rate > 0) {
		return nil, fmt.Errorf("a capture at %g Hz", rate)
	}
	t := &take{name: name, rate: rate, face: opt.Interface, tracks: tracks, missing: map[int]string{}, tones: map[int]*toneTake{}}
	for c, track := range tracks {
		if track > 0 {
			t.order = append(t.order, c)
		}
	}
	slices.SortStableFunc(t.order, func(a, b int) int { return cmp.Compare(t.tracks[a], t.tracks[b]) })
	if len(t.order) == 0 {
		return nil, errors.New("no channel of the capture carries a track")
	}
	f := &Following{s: &session{opt: opt, takes: []*take{t}}, t: t}
	f.s.reference, f.s.hasReference = f.s.referenceSection()
	return f, nil
}

// Window says which frames [Following.Hear] wants of a section: its edges are left out. ok
// is false where hardly anything would remain.
func (f *Following) Window(at testtape.Located) (from, to int64, ok bool) {
	st := stretch{index: at.Index, startS: at.StartS, endS: at.EndS}
	w := f.t.inside(&st)
	if w == nil {
		return 0, 0, false
	}
	return w.from, w.to, true
}

// Hear measures the tone of a section, in place of what was heard of it before. s begins
// at the first frame of Window and may end at its last; ratio is the tape's speed over
// nominal, about. Silence, and what is too short, is nothing to it.
func (f *Following) Hear(ctx context.Context, s dsp.Stream, at testtape.Located, ratio float64) error {
	f.Forget(at.Index)
	sec := f.s.opt.Tape.Sections[at.Index]
	st := stretch{index: at.Index, section: sec, kind: kindOf(nil, sec, at.Index), ratio: ratio, partial: at.Partial,
		rate: f.t.rate, startS: at.StartS, endS: at.EndS}
	w := f.t.inside(&st)
	if sec.Silent() || w == nil {
		return nil
	}
	w.from, w.to = 0, w.to-w.from
	for _, c := range f.t.order {
		if l := hearTone(f.t, st, c); l != nil {
			w.ears[c] = append(w.ears[c], l)
		}
	}
	if err := listen(ctx, s, []*window{w}); err != nil {
		f.Forget(at.Index)
		return fmt.Errorf("measuring section %q of %s: %w", sec.Name, f.t.name, err)
	}
	f.t.tones[at.Index].fit(f.t.order)
	return nil
}

// Forget takes back what was heard of a section.
func (f *Following) Forget(index int) {
	delete(f.t.tones, index)
	delete(f.t.missing, index)
}

// Results are level, response, speed_error, delay, azimuth and azimuth_line of what was
// heard so far; of sections not heard there are none.
func (f *Following) Results() []Result {
	return slices.DeleteFunc(f.s.toneResults(), func(r Result) bool {
		if r.Section == "" {
			return false
		}
		i := slices.IndexFunc(f.s.opt.Tape.Sections, func(s testtape.Section) bool { return s.Name == r.Section })
		return f.t.tones[i] == nil
	})
}
