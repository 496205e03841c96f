package signature

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"headstack/measure"
)

// ErrNothingShared is returned for two reports without a tone on a track in common.
var ErrNothingShared = errors.New("the captures have no tone on a track in common: nothing to compare")

// Compare fits the difference of two reports of the same tape on the same machine, after
// less before, as changes of spacing, azimuth, gain or corner. Parameters are changes:
// a spacing of -0.5 µm was removed; a corner is one that came or went, as the sentence
// says. What the tape and the head are wrong by cancels, so that changes are known much
// better than the losses themselves. between says what was done, as "pressing the shell".
func Compare(before, after measure.Report, between string, opt Options) (Explanation, error) {
	if opt.Tape == nil {
		return Explanation{}, ErrNoTape
	}
	a, err := gather(before, opt)
	if err != nil {
		return Explanation{}, fmt.Errorf("before: %w", err)
	}
	b, err := gather(after, opt)
	if err != nil {
		return Explanation{}, fmt.Errorf("after: %w", err)
	}
	was, is := a.unstretch(), b.unstretch()
	d, err := difference(a, b)
	if err != nil {
		return Explanation{}, err
	}
	if d.between = between; between == "" {
		d.between = "what was done between the captures"
	}
	return explainData(d, repeated()).explanation(stretchChange(d.between, was, is)), nil
}

// difference is b less a, on the tracks and tones that both have.
func difference(a, b *data) (*data, error) {
	d := &data{opt: a.opt, speed: a.speed, change: true}
	for _, t := range a.tracks {
		if b.index(t) >= 0 {
			d.tracks = append(d.tracks, t)
		}
	}
	shared := false
	for i, r := range a.rows {
		j := slices.IndexFunc(b.rows, func(x row) bool { return x.kind == r.kind && x.section == r.section })
		if j < 0 {
			continue
		}
		at := d.addRow(r)
		d.weave[at] = math.Hypot(a.weave[i], b.weave[j])
		for t, track := range d.tracks {
			u, v := a.index(track), b.index(track)
			if a.sd[u][i] == missing || b.sd[v][j] == missing {
				continue
			}
			d.y[t][at], d.sd[t][at] = b.y[v][j]-a.y[u][i], math.Hypot(a.sd[u][i], b.sd[v][j])
			shared = shared || r.kind == rowLevel
		}
	}
	if !shared {
		return nil, ErrNothingShared
	}
	d.slope, d.slopeS = make([]float64, len(d.tracks)), make([]float64, len(d.tracks))
	for t, track := range d.tracks {
		d.slope[t] = math.NaN()
		d.loose[t] = math.Max(a.loose[a.index(track)], b.loose[b.index(track)])
	}
	if a.line.sd > 0 && b.line.sd > 0 {
		d.line = figure{b.line.v - a.line.v, math.Hypot(a.line.sd, b.line.sd)}
	}
	d.steady()
	return d, nil
}

// stretchChange is a compander that came or went.
func stretchChange(between string, was, is []Finding) []Finding {
	on := func(list []Finding) []int {
		if len(list) == 0 {
			return nil
		}
		return list[0].Tracks
	}
	if slices.Equal(on(was), on(is)) {
		return nil
	}
	f := Finding{Cause: NoiseReductionOn, Nature: Electrical, Parameters: []Parameter{}}
	verb := "put noise reduction into"
	list := is
	if len(on(is)) < len(on(was)) {
		verb, list = "took noise reduction out of", was
	}
	f.Tracks, f.Probability = list[0].Tracks, list[0].Probability
	f.Sentence = fmt.Sprintf("%s %s the path.", upper(between), verb)
	return []Finding{f}
}

// changes lists what can come or go between two captures.
func (d *data) changes() []*suspect {
	var out []*suspect
	n := len(d.tracks)
	all := make([]int, n)
	for t := range all {
		all[t] = t
	}
	// Spacing of any run of neighbouring tracks alike: what presses or lifts acts on a
	// part of the head.
	for from := range n {
		for to := from; to < n; to++ {
			on := all[from : to+1]
			for _, undone := range []bool{false, true} {
				p := size(SpacingUm, bySpacing, 1, 0.4, 0.9, on...)
				p.undone = undone
				s := &suspect{cause: Spacing, key: fmt.Sprintf("spacing/%d-%d", from, to), tracks: on, params: []*param{p}}
				if len(on) > 1 {
					for _, t := range on {
						s.params = append(s.params, normal(bySpacing, 0, 0.05, t))
					}
				}
				if len(on) == n {
					s.often = float64(n)
				}
				out = append(out, s)
			}
		}
	}
	for _, s := range d.ramps() {
		gone := *s
		p := *s.params[0]
		p.undone = true
		gone.params = []*param{&p}
		out = append(out, s, &gone)
	}
	for _, sign := range []float64{-1, 1} {
		if n > 1 {
			out = append(out, &suspect{cause: Azimuth, key: "azimuth/all", tracks: all, params: []*param{size(AzimuthArcmin, byAzimuth, sign, 3, 0.9, all...)}})
		}
		for t := range all {
			out = append(out, d.changesOf(t, sign)...)
		}
	}
	out = append(out, d.groups()...)
	share(out)
	return out
}

// changesOf lists what can come (sign +1) or go on one track.
func (d *data) changesOf(t int, sign float64) []*suspect {
	one := func(c Cause, params ...*param) *suspect {
		return &suspect{cause: c, key: string(c) + "/" + itoa(d.tracks[t]), tracks: []int{t}, params: params}
	}
	low, high := size(CornerHz, byLow, 1, 200, 0.8, t), size(CornerHz, byHigh, 1, 5000, 0.8, t)
	low.undone, high.undone = sign < 0, sign < 0
	return []*suspect{
		one(Gain, size(GainDB, byGain, sign, 2, 1, t)),
		one(LowCorner, low),
		one(HighCorner, high),
		one(UnsteadyContact, normal(byTreble, 2*sign, 0.7, t)),
		one(UnsteadyJoint, normal(byAll, 2*sign, 0.7, t), normal(byTreble, sign, 0.7, t)),
		one(HeadOpen, normal(byMissing, sign, 0.05, t)),
	}
}

// changeSentence says a change in plain words.
func (r *result) changeSentence(g group, f Finding) string {
	did, who := upper(r.d.between), r.tracksText(f.Tracks)
	ps := f.Parameters
	gone := g.best.params[0].undone || g.best.params[0].mean < 0 && !g.best.params[0].log
	came := "brought"
	if gone {
		came = "took away"
	}
	of := func(what string) string { return fmt.Sprintf("%s %s %s of %s.", did, came, what, who) }
	switch {
	case f.Cause == Spacing && len(ps) > 0:
		verb := "added"
		if ps[0].Value < 0 {
			verb = "removed"
		}
		return fmt.Sprintf("%s %s %s of spacing on %s: contact of tape and head.", did, verb, listSizes(ps), who)
	case f.Cause == SpacingRamp && len(ps) > 1:
		verb := "added"
		if ps[0].Value+ps[len(ps)-1].Value < 0 {
			verb = "removed"
		}
		first, last := ps[0], ps[len(ps)-1]
		return fmt.Sprintf("%s %s spacing across the head, %s at track %d to %s at track %d.", did, verb, sizeText(first), first.Track, sizeText(last), last.Track)
	case f.Cause == Azimuth && len(ps) > 0:
		return fmt.Sprintf("%s turned the azimuth by %s.", did, figureText(ps[0], true))
	case (f.Cause == Gain || f.Cause == GroupGain) && len(ps) > 0:
		verb := "raised"
		if ps[0].Value < 0 {
			verb = "lowered"
		}
		return fmt.Sprintf("%s %s %s by %s at all tones alike: electronics, not tape contact.", did, verb, who, listSizes(ps))
	case (f.Cause == LowCorner || f.Cause == HighCorner) && len(ps) > 0:
		what := "bass below"
		if f.Cause == HighCorner {
			what = "treble above"
		}
		return of(fmt.Sprintf("a loss of %s %s, as a part of the electronics makes it,", what, figureText(ps[0], false)))
	case f.Cause == UnsteadyContact:
		return of("a flicker of the treble")
	case f.Cause == UnsteadyJoint:
		return of("a flicker of all frequencies")
	case f.Cause == HeadOpen:
		if gone {
			return fmt.Sprintf("%s brought the signal of %s back.", did, who)
		}
		return fmt.Sprintf("%s cut off the signal of %s.", did, who)
	}
	return did + " changed " + f.Cause.Words() + " on " + who + "."
}
