package measure

import (
	"fmt"
	"math"
	"slices"

	"headstack/dsp"
	"headstack/programme"
)

const (
	compandingLeastDB = 9.5  // levels must lie this far apart, dB
	slopeWarn         = 0.1  // dB/dB off 1 that is worth a word
	trebleWarnDB      = 1.5  // of treble that follows the level worth a word
	trebleFromHz      = 5000 // tones from here on are treble
	middleToHz        = 2000 // up to here they are not
	slopeMisfit       = 1e-3 // chance below which readings are taken not to lie on a straight line
)

// hearCompanding follows the tones of a companding part.
func hearCompanding(t *take, at stretch, c int) listener {
	if at.kind != programme.Companding {
		return nil
	}
	return newSineChannel(t, at, c, toneBand)
}

// reading is the level of a tone as stated and as measured.
type reading struct {
	hz, stated float64
	level      dsp.Estimate
}

// readings are the levels of a channel that tell whether they read as far apart as
// they are stated: those of all tone sections of a test tape; of a programme those of
// its companding parts, where it has none those of plain tones and of steps that the
// tape does not yet bend much.
func (s *session) readings(t *take, c int) (out []reading, missing []string) {
	weak := s.prog != nil && slices.ContainsFunc(s.prog.Parts, func(p programme.Part) bool { return p.Kind == programme.Companding })
	for i, sec := range s.opt.Tape.Sections {
		kind := s.kind(i)
		switch {
		case weak && kind != programme.Companding:
		case kind == programme.Companding:
			h, why := t.heardBy("companding", i)
			if h == nil || h.ears[c] == nil {
				missing = append(missing, fmt.Sprintf("%s left out: %s", sec.Name, why))
				continue
			}
			ch := h.ears[c].(*sineChannel)
			for k, sine := range ch.sines {
				if ch.tones[k] == nil {
					continue
				}
				if why := ch.tones[k].levelRefusal(); why != "" {
					missing = append(missing, fmt.Sprintf("%s left out: %s", sec.Name, why))
					continue
				}
				out = append(out, reading{sine.Hz, sine.LevelDB, ch.tones[k].level()})
			}
		case kind == programme.Tone || kind == programme.Step && sec.LevelDB <= 0 && sec.ToneHz <= middleToHz:
			tt := t.toneTake(i)
			if tt.channels != nil && tt.channels[c].levelRefusal() == "" {
				out = append(out, reading{sec.ToneHz, sec.LevelDB, tt.channels[c].level()})
			}
		}
	}
	return out, missing
}

// compandings gives noise_reduction_left_on and treble_follows_level for each track.
func (s *session) compandings() []Result {
	var out []Result
	for _, t := range s.takes {
		for _, c := range t.order {
			slope := s.toneResult("noise_reduction_left_on", "dB/dB", t, 0, t.tracks[c], c+1)
			slope.Section, slope.ToneHz = "", 0
			treble := slope
			treble.Name, treble.Unit = "treble_follows_level", "dB"
			rs, missing := s.readings(t, c)
			slope.Warnings, treble.Warnings = slices.Clone(missing), slices.Clone(missing)
			slope, treble = s.slope(slope, rs), s.trebleFollows(treble, rs)
			if treble.Refused == "" && treble.clearOf(0, trebleWarnDB) {
				slope.Warnings = append(slope.Warnings, treble.Warnings[len(treble.Warnings)-1])
			}
			out = append(out, slope, treble)
		}
	}
	return out
}

// clearOf tells that a result is at least tolerance off a value, and its interval
// excludes that value.
func (r Result) clearOf(value, tolerance float64) bool {
	return math.Abs(r.Value-value) > tolerance && (r.Lo > value || r.Hi < value)
}

// slope fits measured against stated levels of the tone with the widest range.
func (s *session) slope(r Result, rs []reading) Result {
	r.Reference = "1 = levels read as far apart as they were recorded"
	widest := widestRange(rs, func(hz float64) bool { return hz <= middleToHz })
	if widest == nil {
		widest = widestRange(rs, func(float64) bool { return true })
	}
	if widest == nil {
		r.Warnings = nil
		return r.refuse("no tone was measured at two levels 10 dB or more apart")
	}
	r.ToneHz = widest[0].hz
	r.set(slopeOf(widest))
	lo, hi := widest[0], widest[len(widest)-1]
	stated, read := hi.stated-lo.stated, hi.level.Value-lo.level.Value
	r.Method = fmt.Sprintf("slope of the measured over the stated level of %s at %d levels from %+g to %+g dB, by least squares", kilohertz(lo.hz), len(widest), lo.stated, hi.stated)
	if r.clearOf(1, slopeWarn) {
		r.Warnings = append(r.Warnings, s.slopeWords(r.Value, stated, read))
	}
	return r
}

// slopeWords says what a slope other than 1 means.
func (s *session) slopeWords(slope, stated, read float64) string {
	w := fmt.Sprintf("levels %.0f dB apart read %.0f dB apart: ", stated, read)
	by := slope
	if by < 1 {
		by = 1 / by
	}
	kind := fmt.Sprintf("a %.2g:1 compander", by)
	switch {
	case slope <= 0:
		return w + "the level does not follow the tape at all"
	case slope > 1 && s.prog == nil:
		return w + kind + " is left on in replay"
	case slope > 1:
		return w + kind + " is left on in replay, or was off in recording only"
	case s.prog == nil:
		return w + fmt.Sprintf("something compresses the replay %.2g:1, such as the record half of a compander or an automatic level", by)
	}
	return w + kind + " was on in recording and is off in replay, or something compresses the level"
}

// widestRange is the readings of the tone whose levels lie farthest apart, by stated
// level; nil when none has two far enough.
func widestRange(rs []reading, use func(hz float64) bool) []reading {
	byTone := map[float64][]reading{}
	var tones []float64
	for _, r := range rs {
		if !use(r.hz) {
			continue
		}
		if byTone[r.hz] == nil {
			tones = append(tones, r.hz)
		}
		byTone[r.hz] = append(byTone[r.hz], r)
	}
	slices.Sort(tones)
	var best []reading
	width := compandingLeastDB
	for _, hz := range tones {
		of := byTone[hz]
		slices.SortStableFunc(of, func(a, b reading) int {
			switch {
			case a.stated < b.stated:
				return -1
			case a.stated > b.stated:
				return 1
			}
			return 0
		})
		if w := of[len(of)-1].stated - of[0].stated; w >= width && (best == nil || w > width) {
			best, width = of, w
		}
	}
	return best
}

// slopeOf fits a straight line. As long as the readings lie on it within their own
// errors those give its interval, else their scatter about it.
func slopeOf(rs []reading) dsp.Estimate {
	n := float64(len(rs))
	meanX, sxx := 0.0, 0.0
	for _, r := range rs {
		meanX += r.stated / n
	}
	for _, r := range rs {
		sxx += (r.stated - meanX) * (r.stated - meanX)
	}
	var weights []float64
	var levels []dsp.Estimate
	meanY := 0.0
	for _, r := range rs {
		weights = append(weights, (r.stated-meanX)/sxx)
		levels = append(levels, r.level)
		meanY += r.level.Value / n
	}
	e := combine(weights, levels...)
	if len(rs) < 3 {
		return e
	}
	rss := 0.0
	for _, r := range rs {
		d := r.level.Value - meanY - e.Value*(r.stated-meanX)
		rss += d * d
	}
	if dsp.ChiSquaredTail(n-2, straightness(rs)) < slopeMisfit {
		if se := math.Sqrt(rss / (n - 2) / sxx); se > e.SE {
			e.SE, e.Dof = se, n-2
		}
	}
	return e
}

// straightness is the least sum of squares of the readings about a straight line, in
// units of their variances: chi-square when they lie on one.
func straightness(rs []reading) float64 {
	var w, wx, wy, wxx, wxy float64
	for _, r := range rs {
		p := 1 / variance(r.level)
		w, wx, wy = w+p, wx+p*r.stated, wy+p*r.level.Value
		wxx, wxy = wxx+p*r.stated*r.stated, wxy+p*r.stated*r.level.Value
	}
	slope := (w*wxy - wx*wy) / (w*wxx - wx*wx)
	base := (wy - slope*wx) / w
	sum := 0.0
	for _, r := range rs {
		d := r.level.Value - base - slope*r.stated
		sum += d * d / variance(r.level)
	}
	return sum
}

// trebleFollows compares the treble tone with the middle one at the highest and the
// lowest level that both have: a noise reduction that works on low-level treble alone
// makes their difference change.
func (s *session) trebleFollows(r Result, rs []reading) Result {
	r.Reference = "0 = treble over the middle tone is the same at all levels"
	low, high, ok := treblePairs(rs)
	if !ok {
		r.Warnings = nil
		return r.refuse("no treble tone and middle tone were both measured at two levels 10 dB or more apart")
	}
	r.ToneHz = low.treble.hz
	r.set(combine([]float64{1, -1, -1, 1}, low.treble.level, low.middle.level, high.treble.level, high.middle.level))
	d := func(p treblePair) float64 { return p.treble.stated - p.middle.stated }
	stated := d(low) - d(high)
	r.Value, r.Lo, r.Hi = r.Value-stated, r.Lo-stated, r.Hi-stated
	r.Method = fmt.Sprintf("level of %s less that of %s at %+g dB, less the same at %+g dB, stated levels allowed for", kilohertz(low.treble.hz), kilohertz(low.middle.hz), low.treble.stated, high.treble.stated)
	if r.clearOf(0, trebleWarnDB) {
		word, half := "lower", "on in replay"
		if r.Value > 0 {
			word, half = "higher", "on in recording and off in replay"
			if s.prog == nil {
				half = "set to record in the replay path"
			}
		}
		r.Warnings = append(r.Warnings, fmt.Sprintf("treble reads %.1f dB %s at %+g dB than at %+g dB: a noise reduction that works on weak treble is left %s", math.Abs(r.Value), word, low.treble.stated, high.treble.stated, half))
	}
	return r
}

// treblePair is a treble and a middle tone at about one level.
type treblePair struct{ treble, middle reading }

// treblePairs are the pairs at the lowest and the highest level, of the treble tone
// with the widest range.
func treblePairs(rs []reading) (low, high treblePair, ok bool) {
	for {
		trebles := widestRange(rs, func(hz float64) bool { return hz >= trebleFromHz })
		if trebles == nil {
			return low, high, false
		}
		middles := widestRange(rs, func(hz float64) bool { return hz <= middleToHz })
		var pairs []treblePair
		for _, t := range trebles {
			for _, m := range middles {
				if math.Abs(t.stated-m.stated) < 0.6 {
					pairs = append(pairs, treblePair{t, m})
					break
				}
			}
		}
		if len(pairs) >= 2 && pairs[len(pairs)-1].treble.stated-pairs[0].treble.stated >= compandingLeastDB {
			return pairs[0], pairs[len(pairs)-1], true
		}
		// Another treble tone may have a partner.
		rs = slices.DeleteFunc(slices.Clone(rs), func(r reading) bool { return r.hz == trebles[0].hz })
	}
}
