package bias

import (
	"fmt"
	"math"
	"slices"

	"headstack/programme"
)

// Want says what staircase is planned.
type Want struct {
	Tones Tones `json:"tones"`
	// Steps; 0: 7.
	Steps int `json:"steps,omitempty"`
	// StepSeconds; 0: 5.
	StepSeconds float64 `json:"step_seconds,omitempty"`
	// Third asks for a second staircase in the same round, of the low tone at 0 dB, for its
	// distortion.
	Third bool `json:"third,omitempty"`
	// Aim, for how far past the peak to go.
	Aim Aim `json:"aim"`
}

// TrackPlan is the staircase of one track.
type TrackPlan struct {
	Trim Trim `json:"trim"`
	// Positions rise in bias; Words says each.
	Positions []float64 `json:"positions"`
	Words     []string  `json:"words"`
	// Round of the programme in which the track is recorded, from 0: a hand turns one
	// trim at a time, so each track has a round of its own.
	Round    int      `json:"round"`
	Warnings []string `json:"warnings,omitempty"`
}

// Cue is what the person hears or does at a time of the recording pass.
type Cue struct {
	AtS float64 `json:"at_s"` // from the start of the round's file
	Say string  `json:"say"`
}

// Plan is a record pass for each track.
type Plan struct {
	Want      Want                 `json:"want"`
	Programme *programme.Programme `json:"programme"`
	Tracks    []TrackPlan          `json:"tracks"`
}

const (
	usualSteps, usualStepSeconds = 7, 5.0
	// The first staircase reaches so far about where the peak is expected, dB of bias: a
	// machine in use stands at its target or past it, not at the peak. Common practice, no
	// source.
	reachBelow, reachPast = 3.5, 4.5
	// A track whose aim is flatness with the low tone goes farther.
	reachFlat = 1.0
	// Where the trim is expected to stand, dB of bias past the treble's peak.
	expectedOver = 2.5
)

// New plans the first staircase of tracks: steps evenly in bias by the trim's law about
// where the peak is expected, below where the trim stands now. The error is [ErrTrim],
// [ErrReadings] for tones that make no staircase, or [programme.ErrOptions].
func New(w Want, trims ...Trim) (*Plan, error) {
	return plan(w, trims, func(t Trim) []float64 {
		mid := t.Law.DB(t.Now) - expectedOver
		past := reachPast
		if w.Aim.Recipe == Flat {
			past += reachFlat
		}
		return evenly(t, mid-reachBelow, mid+past, w.steps())
	})
}

// Next plans the staircase after one or more: where the peak is known half of the steps
// lie about it and half about the setting for the aim, close enough to tell, else the
// staircase moves the way that the verdict says.
func Next(w Want, curves ...*Curve) (*Plan, error) {
	var trims []Trim
	by := map[int]*Curve{}
	for _, c := range curves {
		trims = append(trims, c.Trim)
		by[c.Trim.Track] = c
	}
	return plan(w, trims, func(t Trim) []float64 { return by[t.Track].next(w) })
}

func (w Want) steps() int {
	if w.Steps > 0 {
		return w.Steps
	}
	return usualSteps
}

func (w Want) seconds() float64 {
	if w.StepSeconds > 0 {
		return w.StepSeconds
	}
	return usualStepSeconds
}

func plan(w Want, trims []Trim, positions func(Trim) []float64) (*Plan, error) {
	if err := w.Tones.check(); err != nil {
		return nil, err
	}
	if n := w.steps(); n < leastSteps || n > 40 {
		return nil, fmt.Errorf("%w: %d steps, want %d to 40", ErrReadings, n, leastSteps)
	}
	p := &Plan{Want: w}
	tracks := 0
	seen := map[int]bool{}
	for _, t := range trims {
		if err := t.check(); err != nil {
			return nil, err
		}
		if t.Track < 1 || seen[t.Track] {
			return nil, fmt.Errorf("%w: track %d, want each track once, from 1", ErrTrim, t.Track)
		}
		seen[t.Track] = true
		tracks = max(tracks, t.Track)
		p.Tracks = append(p.Tracks, t.Planned(positions(t), len(p.Tracks)))
	}
	if len(trims) == 0 {
		return nil, fmt.Errorf("%w: no track", ErrTrim)
	}
	return p, p.compose(w, tracks)
}

// Planned is the staircase of a track at rising positions, four or more, in a round from 0.
func (t Trim) Planned(at []float64, round int) TrackPlan {
	tp := TrackPlan{Trim: t, Positions: at, Round: round}
	for _, x := range at {
		tp.Words = append(tp.Words, t.Words(x))
	}
	if at[0] < 1e-9 {
		tp.Warnings = append(tp.Warnings, "the staircase begins at the stop of least bias: less is not to be had")
	}
	if at[len(at)-1] > 1-1e-9 {
		tp.Warnings = append(tp.Warnings, "the staircase ends at the stop of most bias: more is not to be had")
	}
	return tp
}

// compose makes the programme: the tracks in rounds of one, then all tracks that have no
// staircase in a last round, which need not be recorded.
func (p *Plan) compose(w Want, tracks int) error {
	var rounds [][]int
	var rest []int
	for _, t := range p.Tracks {
		rounds = append(rounds, []int{t.Trim.Track})
	}
	for t := 1; t <= tracks; t++ {
		if !slices.ContainsFunc(p.Tracks, func(x TrackPlan) bool { return x.Trim.Track == t }) {
			rest = append(rest, t)
		}
	}
	if len(rest) > 0 {
		rounds = append(rounds, rest)
	}
	var err error
	p.Programme, err = programme.New(programme.Options{
		Name: fmt.Sprintf("bias staircase, %g cm/s", w.Tones.SpeedCmS), Tracks: tracks, SpeedCmS: w.Tones.SpeedCmS, Rounds: rounds,
		Kinds: []programme.Kind{programme.Staircase}, StaircaseSteps: len(p.Tracks[0].Positions), StaircaseStepSeconds: w.seconds(),
		StaircaseLow: w.Tones.LowHz > 0, StaircaseThird: w.Third, ReferenceHz: w.Tones.LowHz,
	})
	return err
}

// evenly are n positions, even in bias from lo to hi dB by the law, moved inside the
// travel whole where it allows, to what a hand can set.
func evenly(t Trim, lo, hi float64, n int) []float64 {
	end := t.Law.DB(1)
	if hi > end {
		lo, hi = math.Max(0, lo-(hi-end)), end
	}
	if lo < 0 {
		lo, hi = 0, math.Min(end, hi-lo)
	}
	x := make([]float64, n)
	for i := range x {
		x[i] = lo + (hi-lo)*float64(i)/float64(n-1)
	}
	return t.settable(x)
}

// settable are positions for bias by the law, rising, at what a hand can set; where the
// hand is too coarse for all of them, without rounding.
func (t Trim) settable(db []float64) []float64 {
	out := make([]float64, len(db))
	for i, x := range db {
		out[i] = clamp(math.Round(t.Law.Position(x)/t.least()) * t.least())
	}
	for i := 1; i < len(out); i++ {
		if out[i] <= out[i-1] {
			for k, x := range db {
				out[k] = clamp(t.Law.Position(x))
			}
			break
		}
	}
	return out
}

// next are the positions after a curve.
func (c *Curve) next(w Want) []float64 {
	t, n := c.Trim, w.steps()
	first, last := math.Inf(1), math.Inf(-1)
	for _, s := range c.passes {
		for _, r := range s.Readings {
			x := t.Law.DB(r.Position)
			first, last = math.Min(first, x), math.Max(last, x)
		}
	}
	span := reachBelow + reachPast
	switch c.Verdict {
	case Above:
		return evenly(t, last-1.5, last-1.5+span, n)
	case Below:
		return evenly(t, first+1.5-span, first+1.5, n)
	case Peak:
	default:
		if math.IsInf(first, 0) {
			mid := t.Law.DB(t.Now) - expectedOver
			first, last = mid-reachBelow, mid+reachPast
		}
		return evenly(t, first-1, last+1, n)
	}
	peak := t.Law.DB(c.Peak.Position)
	s := c.Set(w.Aim)
	if s.At == nil { // see farther past the peak
		return evenly(t, peak-1, math.Max(last+1.5, peak+4), n)
	}
	at := t.Law.DB(s.At.Position)
	near := n / 2 // about the peak; the rest about the setting
	var x []float64
	for i := range near {
		x = append(x, peak-1.5+2.2*float64(i)/math.Max(1, float64(near-1)))
	}
	from := math.Max(at-0.8, x[len(x)-1]+0.3)
	for i := range n - near {
		x = append(x, from+(at+0.8-from)*float64(i)/math.Max(1, float64(n-near-1)))
	}
	x = slices.DeleteFunc(x, func(v float64) bool { return v < 0 || v > t.Law.DB(1) })
	if len(x) < n {
		return evenly(t, peak-1.5, at+0.8, n)
	}
	return t.settable(x)
}
