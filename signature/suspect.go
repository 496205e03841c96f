package signature

import (
	"math"
	"slices"

	"headstack/tape"
	"headstack/testtape"
)

// param is one unknown number of a suspect. Its coordinate q is the number itself, or
// the logarithm of its size where log is set; the prior of q is normal.
type param struct {
	name     string // of the JSON form; empty: not reported
	fam      family
	on       []int     // track indices
	weights  []float64 // of on; nil: 1 each
	log      bool
	sign     float64 // of a number given by its logarithm
	mean, sd float64 // prior of q
	row      int     // byFigure
	replay   tape.Equalisation
	// acrossCore is the part of the ramp that lies across one core (byRamp).
	acrossCore float64
	undone     bool // what was there before is gone: the law with the other sign
}

// value is the number at coordinate q.
func (p *param) value(q float64) float64 {
	if p.log {
		return p.sign * math.Exp(q)
	}
	return q
}

// weight of a track.
func (p *param) weight(t int) float64 {
	i := slices.Index(p.on, t)
	if i < 0 {
		return 0
	}
	if p.weights == nil {
		return 1
	}
	return p.weights[i]
}

// suspect is one cause on given tracks, with its unknowns.
type suspect struct {
	cause  Cause  // empty: a figure set aside
	key    string // suspects of one key are one finding
	tracks []int  // indices
	params []*param
	prior  float64 // log odds of being there; while listing, its log weight in the finding
	often  float64 // of the finding against that of a single track; 0: 1
	aside  int     // row set aside + 1, where cause is empty
	group  int     // index of Options.Groups + 1, for GroupGain
}

// chances is the probability that a machine that comes in shows a cause at all. Common
// practice, no source: estimates of how many untouched machines show each.
var chances = map[Cause]float64{
	Gain: 0.15, Spacing: 0.25, SpacingRamp: 0.10, Azimuth: 0.15, GapWear: 0.08, Height: 0.03, Equalisation: 0.06,
	LowCorner: 0.08, HighCorner: 0.08, GroupGain: 0.05, HeadOpen: 0.05, UnsteadyContact: 0.08, UnsteadyJoint: 0.08,
}

// allTogether is the part of the cases of a cause in which it acts on all tracks alike:
// dirt and wear often do, parts of single channels hardly ever. Common practice, no source.
var allTogether = map[Cause]float64{
	Spacing: 0.4, GapWear: 0.6, Azimuth: 0.99, LowCorner: 0.04, HighCorner: 0.04, UnsteadyContact: 0.2, UnsteadyJoint: 0.04,
}

// Chances of figures that fit nothing: a tone wrongly recorded, a figure spoilt by a
// drop-out. Common practice, no source.
const (
	wrongTone   = 0.005
	wrongFigure = 0.0005
)

// about is the prior of a number given by its logarithm: half of them within a factor
// of exp(0.67·spread) of the median.
func about(median, spread float64) (mean, sd float64) { return math.Log(median), spread }

func size(name string, fam family, sign, median, spread float64, on ...int) *param {
	p := &param{name: name, fam: fam, on: on, log: true, sign: sign}
	p.mean, p.sd = about(median, spread)
	return p
}

func normal(fam family, mean, sd float64, on ...int) *param {
	return &param{fam: fam, on: on, mean: mean, sd: sd}
}

// suspects lists every cause on every track or pattern that the data could show.
func (d *data) suspects() []*suspect {
	if d.change {
		return d.changes()
	}
	var out []*suspect
	all := make([]int, len(d.tracks))
	for t := range all {
		all[t] = t
		out = append(out, d.single(t)...)
	}
	if len(all) > 1 {
		out = append(out, d.everywhere(all)...)
		out = append(out, d.groups()...)
	}
	out = append(out, d.ramps()...)
	out = append(out, d.heights()...)
	out = append(out, d.equalisations(all)...)
	share(out)
	return append(out, d.tones(all)...)
}

// share gives each suspect its part of the chance of its cause.
func share(list []*suspect) {
	often, within := map[Cause]float64{}, map[string]float64{}
	for _, s := range list {
		if _, seen := within[s.key]; !seen {
			often[s.cause] += s.weight()
		}
		within[s.key] += math.Exp(s.prior)
	}
	for _, s := range list {
		p := chances[s.cause] * s.weight() / often[s.cause] * math.Exp(s.prior) / within[s.key]
		s.prior = math.Log(p / (1 - p))
	}
}

func (s *suspect) weight() float64 {
	if s.often > 0 {
		return s.often
	}
	return 1
}

func (d *data) single(t int) []*suspect {
	one := func(c Cause, params ...*param) *suspect {
		return &suspect{cause: c, key: string(c) + "/" + itoa(d.tracks[t]), tracks: []int{t}, params: params}
	}
	out := []*suspect{
		weighed(one(Gain, size(GainDB, byGain, -1, 3, 0.7, t)), 0.75),
		weighed(one(Gain, size(GainDB, byGain, +1, 2, 0.7, t)), 0.2),
		weighed(one(Gain, size(GainDB, byGain, -1, 50, 0.3, t), normal(byMissing, 1, 0.05, t), normal(byNoise, -5, 8, t)), 0.05),
		one(HeadOpen, size(GainDB, byGain, -1, 50, 0.3, t), normal(byTilt, 0.6, 0.4, t), normal(byMissing, 0.5, 0.4, t), normal(byNoise, 18, 6, t)),
		one(UnsteadyJoint, normal(byAll, 2.2, 0.8, t), normal(byTreble, 0.8, 0.8, t), size(GainDB, byGain, -1, 0.8, 1, t)),
		one(LowCorner, size(CornerHz, byLow, 1, 200, 0.8, t)),
		one(HighCorner, size(CornerHz, byHigh, 1, 5000, 0.8, t)),
	}
	if len(d.tracks) > 1 {
		out = append(out,
			one(Spacing, size(SpacingUm, bySpacing, 1, 0.8, 0.8, t)),
			one(GapWear, d.gap(t)),
			one(UnsteadyContact, normal(byTreble, 2.2, 0.8, t), normal(byAll, 0.2, 0.3, t), size(SpacingUm, bySpacing, 1, 0.2, 1, t)))
	}
	return out
}

// weighed gives a suspect its weight among those of the same finding.
func weighed(s *suspect, weight float64) *suspect {
	s.prior = math.Log(weight)
	return s
}

// gap is a gap that has opened. Where the design is not known, the loss is what a gap
// of this length would make beyond what is made up for.
func (d *data) gap(on ...int) *param {
	if g := d.opt.DesignGapUm; g > 0 {
		return size(GapUm, byGap, 1, 2*g, 0.35, on...)
	}
	shortest := 0.0
	for _, r := range d.rows {
		if r.kind == rowLevel && (shortest == 0 || float64(r.lambda) < shortest) {
			shortest = float64(r.lambda)
		}
	}
	return size(GapUm, byGap, 1, 0.4*shortest*1e6, 0.4, on...)
}

// everywhere lists causes that act on all tracks alike.
func (d *data) everywhere(all []int) []*suspect {
	n := float64(len(all))
	one := func(c Cause, params ...*param) *suspect {
		part := allTogether[c]
		return &suspect{cause: c, key: string(c) + "/all", tracks: all, params: params, often: part / (1 - part) * n}
	}
	// Contact that differs from track to track about its mean.
	uneven := []*param{size(SpacingUm, bySpacing, 1, 0.8, 0.8, all...)}
	for t := range all {
		uneven = append(uneven, normal(bySpacing, 0, 0.15, t))
	}
	out := []*suspect{
		weighed(one(Spacing, size(SpacingUm, bySpacing, 1, 0.8, 0.8, all...)), 0.6),
		one(GapWear, d.gap(all...)),
		weighed(one(Azimuth, size(AzimuthArcmin, byAzimuth, 1, 6, 0.7, all...)), 0.5),
		weighed(one(Azimuth, size(AzimuthArcmin, byAzimuth, -1, 6, 0.7, all...)), 0.5),
		one(LowCorner, size(CornerHz, byLow, 1, 200, 0.6, all...)),
		one(HighCorner, size(CornerHz, byHigh, 1, 5000, 0.8, all...)),
		one(UnsteadyContact, normal(byTreble, 2.2, 0.8, all...), normal(byAll, 0.2, 0.3, all...), size(SpacingUm, bySpacing, 1, 0.2, 1, all...)),
		one(UnsteadyJoint, normal(byAll, 2.2, 0.8, all...), normal(byTreble, 0.8, 0.8, all...)),
	}
	if len(all) > 2 {
		out = append(out, weighed(one(Spacing, uneven...), 0.4))
	}
	return out
}

// rampStarts is at how many tracks a ramp may start; on wide heads not every one is tried.
const rampStarts = 8

// ramps are spacings that grow in a straight line from one track to the edge, in either
// direction.
func (d *data) ramps() []*suspect {
	n := len(d.tracks)
	if n < 3 {
		return nil
	}
	var out []*suspect
	for dir, key := range []string{"/up", "/down"} {
		step := (n-2)/rampStarts + 1
		for from := 0; from < n-2; from += step { // the last track without spacing
			p := size(SpacingUm, byRamp, 1, 0.8, 0.8)
			s := &suspect{cause: SpacingRamp, key: string(SpacingRamp) + key, params: []*param{p}}
			if from > 0 {
				s.prior = math.Log(0.5) // zenith tilts the whole head
			}
			for k := from + 1; k < n; k++ {
				t, base, edge := k, from, n-1
				if dir == 1 {
					t, base, edge = n-1-k, n-1-from, 0
				}
				p.acrossCore = float64(d.opt.Geometry.Tracks[d.tracks[t]-1].Width) / math.Abs(d.place(edge)-d.place(base))
				p.on = append(p.on, t)
				p.weights = append(p.weights, (d.place(t)-d.place(base))/(d.place(edge)-d.place(base)))
			}
			s.tracks = slices.Sorted(slices.Values(p.on))
			out = append(out, s)
		}
	}
	return out
}

// groups are levels of tracks that share something.
func (d *data) groups() []*suspect {
	var out []*suspect
	seen := map[string]bool{}
	add := func(index int, tracks []int) {
		var on []int
		for _, track := range tracks {
			if t := d.index(track); t >= 0 {
				on = append(on, t)
			}
		}
		key := "group"
		for _, t := range on {
			key += "," + itoa(t)
		}
		if len(on) < 2 || len(on) >= len(d.tracks)-1 || seen[key] {
			return
		}
		seen[key] = true
		for _, sign := range []float64{-1, 1} {
			weight := 0.75
			if sign > 0 {
				weight = 0.25
			}
			out = append(out, weighed(&suspect{cause: GroupGain, key: key, tracks: on, group: index,
				params: []*param{size(GainDB, byGain, sign, 3, 0.7, on...)}}, weight))
		}
	}
	for i, g := range d.opt.Groups {
		add(i+1, g.Tracks)
	}
	n := len(d.opt.Geometry.Tracks)
	var odd, even, low, high []int
	for t := 1; t <= n; t++ {
		if t%2 == 1 {
			odd = append(odd, t)
		} else {
			even = append(even, t)
		}
		if t <= n/2 {
			low = append(low, t)
		} else {
			high = append(high, t)
		}
	}
	for _, tracks := range [][]int{odd, even, low, high} {
		add(0, tracks)
	}
	return out
}

// heights are heads that stand too far towards one edge of a full-width tape, far enough
// for a core to reach beyond it.
func (d *data) heights() []*suspect {
	if d.opt.Tape.TrackLayout != testtape.FullWidth || d.opt.OwnRecording {
		return nil
	}
	var out []*suspect
	g := d.opt.Geometry
	n := len(g.Tracks)
	for _, e := range []struct {
		track int
		sign  float64
		room  float64
	}{
		{1, -1, float64(g.Tracks[0].Centre - g.Tracks[0].Width/2)},
		{n, 1, float64(g.TapeWidth - g.Tracks[n-1].Centre - g.Tracks[n-1].Width/2)},
	} {
		t := d.index(e.track)
		if t < 0 {
			continue
		}
		width := float64(g.Tracks[e.track-1].Width)
		p := size("", byHeight, e.sign, (math.Max(0, e.room)+0.25*width)*1000, 0.2)
		for i, track := range d.tracks {
			if track == 1 || track == n {
				p.on = append(p.on, i)
			}
		}
		out = append(out, &suspect{cause: Height, key: string(Height) + "/" + itoa(e.track), tracks: []int{t}, params: []*param{p, normal(byFringe, 0, 0.3, t)}})
	}
	return out
}

// equalisations are replay curves of other standards, on all tracks: a switch.
func (d *data) equalisations(all []int) []*suspect {
	own := tape.Equalisation{HighUs: d.opt.Tape.EqualisationUs.High, LowUs: d.opt.Tape.EqualisationUs.Low}
	lows := []float64{own.LowUs}
	for _, l := range []float64{0, 3180, 1590} {
		if l != own.LowUs {
			lows = append(lows, l)
		}
	}
	var out []*suspect
	for _, high := range []float64{17.5, 35, 50, 70, 90, 120} {
		for i, low := range lows {
			if math.Abs(high/own.HighUs-1) < 0.01 && i == 0 {
				continue
			}
			p := size(CornerHz, byReplay, 1, 1, 0.03, all...)
			p.replay = tape.Equalisation{HighUs: high, LowUs: low}
			weight := 1.0
			if i > 0 {
				weight = 0.15
			}
			out = append(out, weighed(&suspect{cause: Equalisation, key: string(Equalisation), tracks: all, params: []*param{p}}, weight))
		}
	}
	return out
}

// tones are tones of the tape that are wrong on all tracks.
func (d *data) tones(all []int) []*suspect {
	var out []*suspect
	if len(all) < 2 {
		return nil
	}
	for i, r := range d.rows {
		if r.kind == rowLevel {
			p := normal(byFigure, 0, 2, all...)
			p.row = i
			out = append(out, &suspect{key: "tone " + r.section, tracks: all, params: []*param{p}, aside: i + 1, prior: math.Log(wrongTone)})
		}
	}
	return out
}

// spoilt is the suspect that one figure of one track is wrong.
func (d *data) spoilt(t, i int) *suspect {
	p := normal(byFigure, 0, 6, t)
	p.row = i
	return &suspect{key: "figure " + d.rows[i].section + "/" + itoa(d.tracks[t]), tracks: []int{t}, params: []*param{p}, aside: i + 1, prior: math.Log(wrongFigure)}
}
