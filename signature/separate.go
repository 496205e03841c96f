package signature

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"headstack/tape"
	"headstack/unit"
)

// apart is the squared distance in standard deviations below which two causes count as
// one for these tones.
const (
	apart    = 9.0
	wellDone = 16.0 // at which another tone is said to tell them
)

// rivals are the shapes by which a loss on the same tracks can be explained otherwise.
var rivals = map[Cause][]Cause{
	Spacing:      {GapWear, HighCorner, Equalisation},
	GapWear:      {Spacing, HighCorner, Equalisation},
	HighCorner:   {Spacing, GapWear, Equalisation},
	Equalisation: {HighCorner, Spacing, GapWear},
	Height:       {Gain},
	Gain:         {Height},
}

// confusions lists what these tones cannot tell from a finding, however long they last:
// rivals that give the same figures with another number.
func (r *result) confusions(groups []group) []Confusion {
	out := []Confusion{}
	all := r.full.d.suspects()
	for _, g := range groups {
		if g.p < 0.3 || len(r.estimate) == 0 {
			continue
		}
		e := r.estimate[0]
		if !slices.ContainsFunc(e.list, func(s *suspect) bool { return s.key == g.key }) {
			continue
		}
		for _, c := range rivals[g.best.cause] {
			i := slices.IndexFunc(all, func(s *suspect) bool { return s.cause == c && slices.Equal(s.tracks, g.best.tracks) })
			if i < 0 {
				continue
			}
			if d := r.distance(r.full, e, g.best, all[i]); d < apart {
				out = append(out, r.confusion(g, e, all[i]))
			}
		}
	}
	return out
}

// distance is how far in standard deviations, squared, the best number of b stays from
// what a makes, level and gain of the tracks being free.
func (r *result) distance(f *fitter, e *estimate, a, b *suspect) float64 {
	made := f.y.clone()
	made.plus(-1, f.y)
	for _, p := range a.params {
		at := f.at(p, e.q[e.place(p)])
		at.from(made)
	}
	made = scaled(made, -1)
	best := made.inner(made)
	gain := f.vector(&param{fam: byGain, on: a.tracks}, 1)
	gg := gain.inner(gain)
	for _, p := range b.params[:1] {
		for q := p.mean - 3*p.sd; q <= p.mean+3*p.sd; q += p.sd / 20 {
			left := made.clone()
			at := f.at(p, q)
			at.from(left)
			d := left.inner(left)
			if len(a.tracks) < len(r.d.tracks) {
				d -= sq(left.inner(gain)) / (gg + 1/sq(r.s.gainDB))
			}
			best = math.Min(best, d)
		}
	}
	return best
}

// confusion puts a pair into words and looks for the tone that would part it.
func (r *result) confusion(g group, e *estimate, other *suspect) Confusion {
	c := Confusion{A: g.best.cause, B: other.cause}
	for _, t := range g.best.tracks {
		c.Tracks = append(c.Tracks, r.d.tracks[t])
	}
	top := 0.0
	for _, row := range r.d.rows {
		if row.kind == rowLevel {
			top = math.Max(top, row.hz)
		}
	}
	c.Sentence = fmt.Sprintf("%s and %s cannot be told apart on %s with tones up to %s.", upper(c.A.Words()), c.B.Words(), r.tracksText(c.Tracks), hertz(top))
	c.WouldSeparate = cheapTest(c.A, c.B)
	if tone := r.partingTone(e, g.best, other, top); tone != "" {
		c.WouldSeparate = tone + "; " + c.WouldSeparate
	}
	return c
}

// partingTone looks for a further tone, or half the speed, that would tell two suspects
// apart, supposing that it is as well known as the others.
func (r *result) partingTone(e *estimate, a, b *suspect, top float64) string {
	try := func(hz []float64, speed float64) float64 {
		d := *r.d
		d.rows, d.y, d.sd, d.fringe = slices.Clone(r.d.rows), nil, nil, nil
		d.weave = slices.Clone(r.d.weave)
		for t := range r.d.tracks {
			d.y, d.sd, d.fringe = append(d.y, slices.Clone(r.d.y[t])), append(d.sd, slices.Clone(r.d.sd[t])), append(d.fringe, slices.Clone(r.d.fringe[t]))
		}
		for _, f := range hz {
			at := d.addRow(row{kind: rowLevel, hz: f, lambda: tape.Wavelength(unit.MetrePerSecond(speed), unit.Hertz(f))})
			for t := range d.tracks {
				d.sd[t][at] = 0.02
			}
		}
		return r.distance(newFitter(&d, r.s, false), e, a, b)
	}
	for _, f := range []float64{12500, 14000, 16000, 18000, 20000} {
		if f > 1.05*top && try([]float64{f}, r.d.speed) > wellDone {
			return fmt.Sprintf("a section of %s would tell", hertz(f))
		}
	}
	var tones []float64
	for _, row := range r.d.rows {
		if row.kind == rowLevel && row.hz >= 2000 {
			tones = append(tones, row.hz)
		}
	}
	if try(tones, r.d.speed/2) > wellDone {
		return "the same tones at half the speed would tell"
	}
	return ""
}

// cheapTest is the next cheap test that tells two causes apart at the bench. Common
// practice, no source.
func cheapTest(a, b Cause) string {
	pair := []string{string(a), string(b)}
	sort.Strings(pair)
	is := func(x, y Cause) bool {
		p := []string{string(x), string(y)}
		sort.Strings(p)
		return pair[0] == p[0] && pair[1] == p[1]
	}
	has := func(c Cause) bool { return a == c || b == c }
	mechanical := func(c Cause) bool {
		return c == Spacing || c == SpacingRamp || c == UnsteadyContact
	}
	switch {
	case is(Spacing, SpacingRamp):
		return "press lightly, on the shell or with a dry cotton bud on the tape, at either edge of the head in turn while 10 kHz plays, and see on which tracks it rises"
	case is(Spacing, GapWear), is(SpacingRamp, GapWear):
		return "press the tape lightly to the head with a dry cotton bud while 10 kHz plays: lost contact comes back, a worn gap does not"
	case (mechanical(a) || mechanical(b)) && (has(HighCorner) || has(Gain) || has(UnsteadyJoint)):
		return "press the tape lightly to the head with a dry cotton bud while 10 kHz plays: only contact answers; or swap two head leads, then swap them back: the loss follows the head or stays with the channel"
	case is(Spacing, Equalisation), is(GapWear, Equalisation), is(HighCorner, Equalisation):
		return "work the tape-type or equalisation switch and play the treble section again"
	case is(GapWear, HighCorner):
		return "swap two head leads, then swap them back: the loss follows the head or stays with the channel"
	case is(Gain, Height), is(GroupGain, Height):
		return "play 63 Hz and 1 kHz of a tape recorded per track, or look where the tape runs over the head"
	case has(GroupGain):
		return "play the tape's 0 dB and compare both groups with what the machine should show for it"
	case is(HeadOpen, Gain):
		return "listen with the tape stopped: an open lead hisses, a dead stage is quiet"
	case has(NoiseReductionOn):
		return "play two tones 10 dB apart with noise reduction off: they must read 10 dB apart"
	case is(UnsteadyContact, UnsteadyJoint):
		return "hold a bass tone and a treble tone for a minute: contact moves the treble alone"
	case has(Azimuth):
		return "compare two outer tracks at 1 kHz and 10 kHz: azimuth is a delay that all tones share"
	case has(LowCorner):
		return "compare the track with its siblings at 63 Hz at the input and output of the suspected capacitor"
	}
	return "capture the same tape once more from another shell or reel and compare"
}

// wouldSeparate is the test that tells a finding from its strongest rival among the
// hypotheses without it; where nothing likely rivals it, the one that parts what it
// leaves open. It is empty for a change, which was a test itself.
func (r *result) wouldSeparate(g group) string {
	if r.d.change {
		return ""
	}
	if g.p > 0.98 {
		return confirm(g.best.cause)
	}
	// What the best hypothesis with the finding has as well is no rival.
	var with *fit
	for _, h := range r.fits {
		if h.finds(g.key) {
			with = h
			break
		}
	}
	against := map[Cause]float64{}
	for i, h := range r.fits {
		if h.finds(g.key) {
			continue
		}
		for _, s := range h.list {
			if s.cause != "" && !with.finds(s.key) && slices.ContainsFunc(s.tracks, func(t int) bool {
				return s.cause == GroupGain || slices.Contains(g.best.tracks, t)
			}) {
				against[s.cause] += r.p[i]
			}
		}
	}
	var rival Cause
	for c, p := range against {
		if p > against[rival] || (p == against[rival] && c < rival) {
			rival = c
		}
	}
	if rival == "" {
		return "capture once more: it is near what sound machines differ by"
	}
	return cheapTest(g.best.cause, rival)
}

// finds says that a hypothesis holds a finding.
func (h *fit) finds(key string) bool {
	return slices.ContainsFunc(h.list, func(s *suspect) bool { return s.key == key })
}
