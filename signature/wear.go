package signature

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"headstack/measure"
)

// ErrOwnRecording is returned for the replay of what the machine recorded itself.
var ErrOwnRecording = errors.New("the machine recorded this itself: what its record head and settings do to the treble is in it; capture a test tape")

// Amount is one figure of a head's condition, with what kinds of error it has.
type Amount struct {
	Value float64 `json:"value"`
	Lo    float64 `json:"lo"` // 95 % interval, of one capture by itself
	Hi    float64 `json:"hi"`
	Unit  string  `json:"unit"`
	// RepeatSD is the standard error of what differs from one capture of a tape to the
	// next: measuring, threading the tape anew. It is for comparisons within one tape.
	RepeatSD float64 `json:"repeat_sd"`
	// TapeSD is the standard error of what all captures of one tape share and those of
	// another tape do not: the unknown errors of its tones.
	TapeSD float64 `json:"tape_sd"`
	// Refused says why there is no figure; empty where there is one.
	Refused string `json:"refused,omitempty"`
}

// TrackCondition is the state of one track of a head.
type TrackCondition struct {
	Track int `json:"track"`
	// Spacing is the treble loss as if all of it were distance of tape and head, µm.
	Spacing Amount `json:"spacing"`
	// Gap is the same loss as if all of it were length of the gap, µm; a sound head has
	// its design gap.
	Gap Amount `json:"gap"`
	// Loss is the loss of the highest common tone, dB, positive for less treble than a
	// sound head gives.
	Loss Amount `json:"loss"`
}

// HeadCondition is the state of a head as one capture of a test tape shows it.
type HeadCondition struct {
	Tracks      []TrackCondition `json:"tracks"`        // rising
	TrebleHz    float64          `json:"treble_hz"`     // the highest tone that all tracks have
	SpeedCmS    float64          `json:"speed_cm_s"`    // at which the tape was recorded
	DesignGapUm float64          `json:"design_gap_um"` // 0: not known
	TakenOff    []string         `json:"taken_off"`     // electrical causes whose work is not in the figures, in words
	Warnings    []string         `json:"warnings"`
}

// Condition is the state of the head on each track of a capture of a test tape: how much
// treble it loses beyond a sound head, stated as spacing, as gap and in dB.
//
// Every track is fitted with a gain of its own and one mechanical loss, azimuth coming from
// the delays; replay curve and corners of the electronics are taken off as far as [Explain]
// holds them likely, so that an electrical fault is not booked as wear. Where several
// explanations remain, the figures are the mean over them and the intervals hold them all.
// Figures below what a sound head has are stated as they come: they are errors of the
// tape's tones or of the treble trims.
//
// Spacing and gap are two ways of stating one loss. One capture hardly parts them: over the
// few octaves of treble that a tape has, a loss in proportion to frequency and one that
// grows with its square differ by about as much as the tape's tones err. The course over
// jobs can: dirt comes and is cleaned away, a gap only grows. For that compare like with
// like: captures after cleaning with each other, captures as found with each other.
//
// A treble trim that was turned between two captures counts as wear or as its mending.
//
// Errors: [ErrNoTape], [ErrOwnRecording], [ErrNothing].
func Condition(rep measure.Report, opt Options) (HeadCondition, error) {
	switch {
	case opt.Tape == nil:
		return HeadCondition{}, ErrNoTape
	case opt.OwnRecording:
		return HeadCondition{}, ErrOwnRecording
	}
	d, err := gather(rep, opt)
	if err != nil {
		return HeadCondition{}, err
	}
	stretched := d.unstretch()
	r := explainData(d, usual(opt))
	c := HeadCondition{SpeedCmS: opt.Tape.SpeedCmS, DesignGapUm: opt.DesignGapUm, TakenOff: r.takenOff(stretched), Warnings: r.conditionWarnings()}
	d.evenErrors()
	silent := r.silent()
	top := r.topTone(silent)
	if top < 0 {
		return c, fmt.Errorf("no tone is there on all tracks: %w", ErrNothing)
	}
	c.TrebleHz = d.rows[top].hz
	r.conditions(&c, silent, top)
	return c, nil
}

// conditions fits every track that plays.
func (r *result) conditions(c *HeadCondition, silent []string, top int) {
	s := r.s
	f := newFitter(r.d, asOwn(s), true)
	s.offsetDB = 0
	parts := r.electrical()
	spacing, gap, loss := make([][]number, len(r.d.tracks)), make([][]number, len(r.d.tracks)), make([][]number, len(r.d.tracks))
	errs := map[string][]errorParts{}
	for _, p := range parts {
		fit := f.wearFit(p, s, bySpacing, 0, widestSpacing)
		for t := range r.d.tracks {
			n, e := fit.amount(t)
			spacing[t], errs["spacing"+itoa(t)] = append(spacing[t], n), append(errs["spacing"+itoa(t)], e)
			n, e = fit.loss(t, top)
			loss[t], errs["loss"+itoa(t)] = append(loss[t], n), append(errs["loss"+itoa(t)], e)
		}
		if g := r.d.opt.DesignGapUm; g > 0 {
			fit := f.wearFit(p, s, byGap, g, 2*g)
			for t := range r.d.tracks {
				n, e := fit.amount(t)
				gap[t], errs["gap"+itoa(t)] = append(gap[t], n), append(errs["gap"+itoa(t)], e)
			}
		}
	}
	for t, track := range r.d.tracks {
		tc := TrackCondition{Track: track}
		tc.Spacing = amountOf("µm", spacing[t], errs["spacing"+itoa(t)])
		tc.Loss = amountOf("dB", loss[t], errs["loss"+itoa(t)])
		if tc.Gap = amountOf("µm", gap[t], errs["gap"+itoa(t)]); len(gap[t]) == 0 {
			tc.Gap.Refused = "the definition does not state the gap of the replay head, from which wear would count"
		}
		tc.Gap.Lo = math.Max(0, tc.Gap.Lo)
		tc.refuse(silent[t])
		c.Tracks = append(c.Tracks, tc)
	}
}

// refuse takes back figures that say nothing.
func (tc *TrackCondition) refuse(why string) {
	if why == "" && tc.Spacing.Hi-tc.Spacing.Lo > 2*widestSpacing {
		why = "its tones do not reach far enough into the treble"
	}
	if why == "" {
		return
	}
	for _, a := range []*Amount{&tc.Spacing, &tc.Gap, &tc.Loss} {
		*a = Amount{Unit: a.Unit, Refused: why}
	}
}

// widestSpacing is the standard deviation of the prior of a track's spacing in µm: next
// to nothing beside what treble tones tell.
const widestSpacing = 5

// wearPart is what is to be taken off in one explanation of the capture.
type wearPart struct {
	list   []*suspect
	weight float64
}

// mostParts is how many explanations that differ in what is taken off are averaged over.
const mostParts = 4

// electrical lists what the probable hypotheses hold beside gain and wear, each once,
// most probable first.
func (r *result) electrical() []wearPart {
	var out []wearPart
	at := map[string]int{}
	for i, h := range r.fits {
		if r.p[i] < 0.005 && i > 0 {
			continue
		}
		var list []*suspect
		for _, s := range h.list {
			if !isWear(s.cause) {
				list = append(list, s)
			}
		}
		key := keyOf(list)
		k, ok := at[key]
		if !ok {
			k = len(out)
			at[key] = k
			out = append(out, wearPart{list: list})
		}
		out[k].weight += r.p[i]
	}
	slices.SortStableFunc(out, func(a, b wearPart) int { return cmp.Compare(b.weight, a.weight) })
	return out[:min(mostParts, len(out))]
}

// isWear says whether a cause is what a condition states, or a gain, which each track has
// anyhow.
func isWear(c Cause) bool {
	switch c {
	case Spacing, SpacingRamp, GapWear, UnsteadyContact, UnsteadyJoint, Gain, GroupGain, HeadOpen:
		return true
	}
	return false
}

// takenOff names electrical causes that are at least a little likely.
func (r *result) takenOff(stretched []Finding) []string {
	out := []string{}
	for _, f := range stretched {
		out = append(out, fmt.Sprintf("%s, %s", f.Cause.Words(), r.tracksText(f.Tracks)))
	}
	for _, g := range r.groups() {
		if isWear(g.best.cause) || NatureOf(g.best.cause) != Electrical || g.p < 0.05 {
			continue
		}
		var tracks []int
		for _, t := range g.best.tracks {
			tracks = append(tracks, r.d.tracks[t])
		}
		out = append(out, fmt.Sprintf("%s, %s (%.0f %% likely)", g.best.cause.Words(), r.tracksText(tracks), 100*g.p))
	}
	return out
}

func (r *result) conditionWarnings() []string {
	out := r.d.warnings()
	for _, g := range r.groups() {
		if g.best.cause == UnsteadyContact && g.p >= 0.5 {
			var tracks []int
			for _, t := range g.best.tracks {
				tracks = append(tracks, r.d.tracks[t])
			}
			out = append(out, upper(r.tracksText(tracks))+": contact flickers, and the loss is that of its mean")
		}
	}
	return out
}

// silent says of each track why it has no condition; empty where it has one.
func (r *result) silent() []string {
	out := make([]string, len(r.d.tracks))
	for _, g := range r.groups() {
		dead := g.best.cause == HeadOpen || g.best.cause == Gain && slices.ContainsFunc(g.best.params, func(p *param) bool { return p.fam == byMissing })
		if dead && g.p > 0.5 {
			for _, t := range g.best.tracks {
				out[t] = "next to no signal comes from it"
			}
		}
	}
	levels := r.d.levelRows()
	for t := range out {
		have := 0
		for _, i := range levels {
			if r.d.sd[t][i] != missing {
				have++
			}
		}
		if out[t] == "" && 2*have < len(levels) {
			out[t] = "most of its tones were not found"
		}
	}
	return out
}

func (d *data) levelRows() []int {
	var out []int
	for i, row := range d.rows {
		if row.kind == rowLevel {
			out = append(out, i)
		}
	}
	return out
}

// topTone is the row of the highest tone that every playing track has and that fits, or -1.
func (r *result) topTone(silent []string) int {
	for _, i := range slices.Backward(r.d.levelRows()) {
		good := !slices.ContainsFunc(r.fits[0].list, func(s *suspect) bool { return s.aside == i+1 })
		for t := range r.d.tracks {
			good = good && (silent[t] != "" || r.d.sd[t][i] != missing)
		}
		if good {
			return i
		}
	}
	return -1
}

// amountOf mixes the figures that several explanations give.
func amountOf(unit string, list []number, parts []errorParts) Amount {
	a := Amount{Unit: unit}
	total := 0.0
	for _, n := range list {
		total += n.weight
		a.Value += n.weight * n.mean
	}
	if total == 0 {
		return a
	}
	a.Value /= total
	_, a.Lo, a.Hi = mixed(list)
	a.Lo, a.Hi = math.Min(a.Lo, a.Value), math.Max(a.Hi, a.Value)
	repeat, tape := 0.0, 0.0
	for i, n := range list {
		repeat += n.weight / total * (sq(parts[i].repeat) + sq(n.mean-a.Value))
		tape += n.weight / total * sq(parts[i].tape)
	}
	a.RepeatSD, a.TapeSD = math.Sqrt(repeat), math.Sqrt(tape)
	return a
}

// evenErrors takes the errors of levels for what is usual on their track or at their tone,
// whichever is larger, where they state more: an interval from a few stretches of a short
// section can be ten times too wide by chance, and a trend must not hang on which.
func (d *data) evenErrors() {
	rows := d.levelRows()
	known := func(list []float64) []float64 {
		return slices.DeleteFunc(list, func(sd float64) bool { return sd == missing })
	}
	ofTrack, ofRow := make([]float64, len(d.tracks)), make([]float64, len(d.rows))
	for t := range d.tracks {
		var list []float64
		for _, i := range rows {
			list = append(list, d.sd[t][i])
		}
		ofTrack[t] = median(known(list))
	}
	for _, i := range rows {
		var list []float64
		for t := range d.tracks {
			list = append(list, d.sd[t][i])
		}
		ofRow[i] = median(known(list))
	}
	for t := range d.tracks {
		for _, i := range rows {
			if d.sd[t][i] != missing {
				d.sd[t][i] = math.Min(d.sd[t][i], math.Max(ofTrack[t], ofRow[i]))
			}
		}
	}
}
