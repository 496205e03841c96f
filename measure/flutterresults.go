package measure

import (
	"fmt"
	"math"
	"runtime"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
)

// work computes all figures of a take's speed signals, once.
func (st *speedTake) work(order []int, s *session) {
	if st.done || st.absent != "" {
		return
	}
	st.done = true
	if st.common = st.commonSpeed(order); st.common == nil {
		return
	}
	splitter := newBandSplitter(st.common.rate, len(st.common.dev))
	st.figures = figuresOf(st.common, splitter, nil)
	st.tracks, st.jitter = make([]*speedFigures, len(st.channels)), make([]speedFigure, len(st.channels))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, c := range order {
		ch := st.channels[c]
		if ch == nil || ch.absent != "" {
			continue
		}
		g.Go(func() error {
			split := splitter.another()
			st.tracks[c] = figuresOf(st.series(ch), split, st.figures.lines)
			st.jitter[c] = jitterOf(st.rest(ch), split)
			return nil
		})
	}
	_ = g.Wait() // no function fails
	st.findLines(s)
}

// jitterOf is the r.m.s. of a rest.
func jitterOf(s *speedSeries, split *bandSplitter) speedFigure {
	wow, flutter := split.split(s.dev)
	for i := range wow {
		wow[i] = wow[i]*wow[i] + flutter[i]*flutter[i]
	}
	blocks, _ := means(inner(wow, s.rate), s.rate)
	return rootMean(blocks, s.noise*(split.wowNoise+split.flutterNoise))
}

// findLines looks for lines in the common signal and names them.
func (st *speedTake) findLines(s *session) {
	st.lines = spectrumOf(st.figures.flat(st.common), st.common.rate).lines()
	for i := range st.lines {
		l := &st.lines[i]
		l.name = nameLine(l.hz, st.common.seconds(), s.opt.OnceRound, st.pace(s))
	}
}

// pace is the actual speed over the machine's nominal one, at which the rates of
// Options.OnceRound hold.
func (st *speedTake) pace(s *session) float64 {
	r := st.band.CarrierHz * (1 + st.common.mean) / st.at.section.ToneHz
	if v := s.opt.SpeedCmS; v > 0 {
		r *= s.opt.Tape.SpeedCmS / v
	}
	return r
}

// speedResults gives wow, flutter and drift of every capture.
func (s *session) speedResults() []Result {
	var out []Result
	for _, t := range s.takes {
		out = append(out, s.speedOf(t)...)
	}
	return append(out, s.starts()...)
}

// speedOf is all that one capture tells: for all tracks together, then track by track.
func (s *session) speedOf(t *take) []Result {
	st := t.speed
	if st == nil {
		return []Result{s.noSpeed(t)}
	}
	st.work(t.order, s)
	out := s.speedFigures(t, st.figures, 0, 0, s.speedWarnings(t, st), st.whyNot(t, -1))
	for _, l := range st.lines {
		out = append(out, s.lineResult(t, l))
	}
	used := 0
	for _, f := range st.tracks {
		if f != nil {
			used++
		}
	}
	for _, c := range t.order {
		why := st.whyNot(t, c)
		var f *speedFigures
		if why == "" {
			f = st.tracks[c]
		}
		out = append(out, s.speedFigures(t, f, t.tracks[c], c+1, s.channelWarnings(st, c), why)...)
		if why == "" && used > 1 {
			out = append(out, s.jitterResult(t, c, used))
		}
	}
	return out
}

// noSpeed refuses where the capture holds no tone to follow.
func (s *session) noSpeed(t *take) Result {
	r := Result{Name: "wow_flutter_2sigma", Unit: "%", Conditions: s.conditions(t, 0)}
	return r.refuse(fmt.Sprintf("no tone section from %d Hz up was found; a tone of 3 or 3.15 kHz, at least %d s long, is wanted", carrierLeastHz, carrierSeconds))
}

// whyNot says why a channel, or all of them for −1, has no figures.
func (st *speedTake) whyNot(t *take, c int) string {
	if st.absent != "" {
		return st.absent
	}
	if c < 0 {
		if st.common != nil {
			return ""
		}
		for _, c := range t.order {
			if why := st.whyNot(t, c); why != "" {
				return "on no track: " + why
			}
		}
		return "the tone was found on no track"
	}
	if tt := t.tones[st.at.index]; tt != nil && tt.channels != nil && tt.channels[c].absent != "" {
		return tt.channels[c].absent
	}
	return st.channels[c].absent
}

// speedFigures lists the figures of one speed signal; why refuses them all.
func (s *session) speedFigures(t *take, f *speedFigures, track, channel int, warnings []string, why string) []Result {
	st := t.speed
	section := seconds(st.at.seconds)
	figure := func(name, method string, v speedFigure) Result {
		r := s.speedResult(t, name, track, channel)
		r.Method = method
		switch {
		case why != "":
			return r.refuse(why)
		case !v.ok:
			return r.refuse("section too short for an interval")
		}
		r.Value, r.Lo, r.Hi = v.value, v.lo, v.hi
		r.Warnings = append(r.Warnings, warnings...)
		if v.noise > 0.5 {
			r.Warnings = append(r.Warnings, fmt.Sprintf("noise beside the carrier makes up %.0f %% of the power read and was taken off", 100*v.noise))
		}
		return r
	}
	if f == nil {
		f = &speedFigures{}
	}
	peak := fmt.Sprintf("weighted (IEC 60386, AES6-2008), over %s", seconds(f.weightedSeconds))
	out := []Result{
		figure("wow_flutter_2sigma", "±zero-to-peak exceeded 5 % of the time (two-sigma), "+peak+", carrier noise taken off by extrapolation", f.twoSigma),
		figure("wow_flutter_quasi_peak", "±zero-to-peak of the quasi-peak meter (IEC 60386), the reading exceeded 5 % of the time once the meter has settled, "+peak+", carrier noise taken off by extrapolation", f.quasiPeak),
		figure("wow_flutter_rms", "r.m.s., "+peak+", carrier noise taken off", f.weighted),
		figure("flutter_unweighted_rms", "r.m.s., unweighted, 0.2 to 200 Hz, over "+section+", drift and carrier noise taken off", f.unweighted),
		figure("wow_rms", "r.m.s., unweighted, 0.2 to 6 Hz (6 Hz parts wow from flutter: common practice), over "+section+", drift and carrier noise taken off", f.wow),
		figure("flutter_rms", "r.m.s., unweighted, 6 to 200 Hz, over "+section+", carrier noise taken off", f.flutter),
	}
	return append(out, s.driftResult(t, f, track, channel, warnings, why))
}

// speedResult starts a result of the section followed.
func (s *session) speedResult(t *take, name string, track, channel int) Result {
	r := s.toneResult(name, "%", t, t.speed.at.index, track, channel)
	r.Reference = "mean speed of the section"
	return r
}

func (s *session) driftResult(t *take, f *speedFigures, track, channel int, warnings []string, why string) Result {
	r := s.speedResult(t, "drift", track, channel)
	r.Unit = "%/min"
	r.Method = fmt.Sprintf("slope of the mean speed over %s, fitted together with %d slow lines", seconds(t.speed.at.seconds), len(f.lines))
	if why == "" && !f.driftOK {
		why = "section too short for an interval"
	}
	if why != "" {
		return r.refuse(why)
	}
	r.set(f.drift)
	r.Warnings = append(r.Warnings, warnings...)
	return r
}

// speedWarnings concern all figures of a capture.
func (s *session) speedWarnings(t *take, st *speedTake) []string {
	w := st.allWarnings()
	if st.common != nil && st.common.dropped > 0 {
		w = append(w, droppedText(st.common.dropped))
	}
	return w
}

func (st *speedTake) allWarnings() []string {
	var w []string
	if st.standIn != "" {
		w = append(w, st.standIn)
	}
	if st.at.seconds < carrierSeconds {
		w = append(w, fmt.Sprintf("only %.1f s heard, %d s wanted", st.at.seconds, carrierSeconds))
	}
	if st.at.partial {
		w = append(w, "section cut by the start or end of the capture")
	}
	return w
}

func (s *session) channelWarnings(st *speedTake, c int) []string {
	w := st.allWarnings()
	if ch := st.channels[c]; ch != nil && ch.dropped > 0 {
		w = append(w, droppedText(ch.dropped))
	}
	return w
}

func droppedText(part float64) string {
	return fmt.Sprintf("drop-outs over %.2g %% of the time were bridged", 100*part)
}

// lineResult is one line of the common speed signal.
func (s *session) lineResult(t *take, l speedLine) Result {
	r := s.speedResult(t, "flutter_line", 0, 0)
	name := l.name
	switch {
	case name != "":
	case len(s.opt.OnceRound) == 0:
		name = "the machine's rotations are not known"
	default:
		name = "no part known turns so"
	}
	r.Method = fmt.Sprintf("line at %s: %s; peak of the sine, unweighted, Hann window over %s", lineHz(l.hz), name, seconds(t.speed.common.seconds()))
	r.set(dsp.Estimate{Value: 100 * l.amplitude.Value, SE: 100 * l.amplitude.SE, Dof: l.amplitude.Dof})
	r.Lo = math.Max(0, r.Lo)
	r.Warnings = t.speed.allWarnings()
	return r
}

// lineHz writes a line's frequency.
func lineHz(f float64) string {
	if f < 10 {
		return fmt.Sprintf("%.3f Hz", f)
	}
	return fmt.Sprintf("%.2f Hz", f)
}

func (s *session) jitterResult(t *take, c, tracks int) Result {
	r := s.speedResult(t, "flutter_track_rms", t.tracks[c], c+1)
	r.Reference = fmt.Sprintf("the mean speed signal of %d tracks, each counted by its noise", tracks)
	r.Method = "r.m.s. of what the track has beside the common speed signal, unweighted, 0.2 to 200 Hz, carrier noise taken off"
	v := t.speed.jitter[c]
	if !v.ok {
		return r.refuse("section too short for an interval")
	}
	r.Value, r.Lo, r.Hi = v.value, v.lo, v.hi
	r.Warnings = s.channelWarnings(t.speed, c)
	return r
}
