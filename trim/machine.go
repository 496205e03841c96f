package trim

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
	"headstack/tape"
	"headstack/unit"
)

// Options choose what of a recorder is lined up.
type Options struct {
	// SpeedCmS is the tape speed; 0 is the definition's first. Trims of other speeds are
	// left out.
	SpeedCmS float64
	// TrebleHz and BassHz are the tones at which treble and bass are read; 0 is the tone
	// of the trim's range, else 10 kHz and 63 Hz.
	TrebleHz, BassHz float64
	// Tones are further tones in Hz at which play response is read.
	Tones []float64
	// Overbias says that bias is set by how far the treble falls past its peak: then the model
	// has that fall, in dB over the one wanted, as the quantity "overbias" of each track.
	Overbias bool
}

// How one quantity bears on another in the electronics, dB per dB with standard
// deviations. About and above the bias of greatest level, more bias costs little level
// and much treble; more record level costs a little treble by saturation even at -20 dB.
// Common practice, no source: estimates for 10 kHz at 9.5 cm/s, to be learned.
const (
	biasOnLevel, biasOnLevelSD         = -0.15, 0.2
	biasOnTreble, biasOnTrebleSD       = -0.8, 0.5
	recordOnTreble, recordOnTrebleSD   = -0.05, 0.05
	biasOnFall, biasOnFallSD           = 1.5, 0.5 // of the treble past its peak, about the customary fall: see package bias
	fallSD                             = 6.0
	trebleShareSD                      = 0.15 // of the share of a treble trim at another tone
	levelSD, responseSD, azimuthSD     = 30.0, 6.0, 15.0
	pairAzimuthSD, pairDelaySD, baseSD = 0.1, 0.3, 0.5 // arcmin, µs; baseSD in ranges
)

// ForMachine is the model of a recorder's trims at one speed: play level and response,
// azimuth with the delay and angle of all pairs, bias, record level and treble, and
// whatever else an adjuster sets, each by its own. What is tuned for least or most is in
// [Extrema]. The error names the trim whose range is not understood.
func ForMachine(d *machine.Definition, opt Options) (*Model, error) {
	sp, ok := d.Speed(opt.SpeedCmS)
	if !ok {
		return nil, fmt.Errorf("%s has no speed of %g cm/s", d.ID, opt.SpeedCmS)
	}
	bd := &builder{d: d, opt: opt, speed: sp, at: map[Quantity]int{}}
	for i := range d.Trims {
		if err := bd.trim(&d.Trims[i]); err != nil {
			return nil, err
		}
	}
	bd.azimuth()
	for track := 1; track <= d.Tracks.Count; track++ {
		bd.play(track)
		bd.record(track)
	}
	return NewModel(bd.trims, bd.vars)
}

type builder struct {
	d     *machine.Definition
	opt   Options
	speed machine.Speed
	trims []Trim
	vars  []Variable
	at    map[Quantity]int
	bias  float64 // middle of the bias range, in its unit
}

// atSpeed is whether a trim works at the chosen speed.
func atSpeed(t *machine.Trim, sp machine.Speed) bool { return t.SpeedCmS == 0 || t.SpeedCmS == sp.CmS }

// trim adds one adjuster of each replica, and what it sets.
func (bd *builder) trim(t *machine.Trim) error {
	r, err := RangeOf(t)
	if err != nil {
		return err
	}
	if !atSpeed(t, bd.speed) || r.Law == Dip || r.Law == Peak {
		return nil
	}
	for _, key := range bd.d.ReplicaKeys(t.Each) {
		q := bd.quantity(t, key, r)
		if _, ok := bd.at[q]; !ok {
			bd.add(variableOf(q, r))
		}
		if t.Sets == "bias" {
			bd.bias = (r.Lo + r.Hi) / 2
		}
		x := New(ID(bd.d.Designator(t.Part, t.Each, key)), t.ID, q, t.Sign, r)
		x.Name, x.Cautions = t.Name, t.Cautions
		if t.Each != "" {
			x.Name += ", " + t.Each + " " + key
		}
		bd.trims = append(bd.trims, x)
	}
	return nil
}

// quantity is what a trim sets.
func (bd *builder) quantity(t *machine.Trim, key string, r Range) Quantity {
	q := Quantity{Measure: t.Sets}
	track, err := strconv.Atoi(key)
	switch {
	case t.Each == machine.EachTrack && err == nil:
		q.Track = track
	case key != "":
		q.At = t.Each + " " + key
	case t.Sets == "azimuth" && t.At != "play":
		q.At = t.At
	}
	switch t.Sets {
	case "response", "record_response", "sync_response":
		q.ToneHz = bd.treble(r)
	case "response_low":
		q.Measure, q.ToneHz = "response", bd.bass(r)
	}
	// Several shared adjusters of one word (tension of both reels) each set their own.
	for _, o := range bd.trims {
		if o.Sets == q && o.Family != t.ID {
			q.At = strings.TrimSpace(q.At + " " + t.ID)
			break
		}
	}
	return q
}

func (bd *builder) treble(r Range) float64 {
	if bd.opt.TrebleHz > 0 {
		return bd.opt.TrebleHz
	}
	if r.ToneHz > 0 {
		return r.ToneHz
	}
	return 10000
}

func (bd *builder) bass(r Range) float64 {
	if bd.opt.BassHz > 0 {
		return bd.opt.BassHz
	}
	if r.ToneHz > 0 {
		return r.ToneHz
	}
	return 63
}

func variableOf(q Quantity, r Range) Variable {
	v := Variable{Quantity: q, Unit: r.Unit, Base: (r.Lo + r.Hi) / 2, BaseSD: baseSD * (r.Hi - r.Lo)}
	switch {
	case strings.HasSuffix(q.Measure, "level") || q.Measure == "meter":
		v.BaseSD = levelSD
	case strings.HasSuffix(q.Measure, "response"):
		v.BaseSD = responseSD
	case q.Measure == "azimuth":
		v.BaseSD = azimuthSD
	}
	return v
}

func (bd *builder) add(v Variable) {
	bd.at[v.Quantity] = len(bd.vars)
	bd.vars = append(bd.vars, v)
}

// moved adds arrows to a quantity where all of it is there.
func (bd *builder) moved(q Quantity, by ...Influence) {
	i, ok := bd.at[q]
	if !ok {
		return
	}
	for _, in := range by {
		if _, ok := bd.at[in.From]; ok {
			bd.vars[i].Moved = append(bd.vars[i].Moved, in)
		}
	}
}

// azimuth adds angle and delay of all pairs, which the one head azimuth makes.
func (bd *builder) azimuth() {
	az := Quantity{Measure: "azimuth"}
	if _, ok := bd.at[az]; !ok {
		return
	}
	tracks := bd.d.Geometry().Tracks
	for a := range tracks {
		for c := a + 1; c < len(tracks); c++ {
			angle, delay := Quantity{Measure: "azimuth", Track: a + 1, TrackB: c + 1}, Quantity{Measure: "delay", Track: a + 1, TrackB: c + 1}
			bd.add(Variable{Quantity: angle, Unit: "arcmin", BaseSD: pairAzimuthSD, Moved: []Influence{{From: az, Gain: 1, Form: Same{}}}})
			bd.add(Variable{Quantity: delay, Unit: "µs", BaseSD: pairDelaySD, Moved: []Influence{{From: az, Gain: 1,
				Form: AzimuthDelay{Distance: tracks[c].Centre - tracks[a].Centre, Speed: unit.MetrePerSecond(bd.speed.CmS / 100)}}}})
		}
	}
}

// loss is what the azimuth does to a tone.
func (bd *builder) loss(az Quantity, hz, gain float64) Influence {
	v := unit.MetrePerSecond(bd.speed.CmS / 100)
	return Influence{From: az, Gain: gain, Form: AzimuthLoss{Width: unit.Metre(bd.d.Tracks.WidthMm / 1000), Lambda: tape.Wavelength(v, unit.Hertz(hz))}}
}

// play adds what moves a track's response besides its own trim: azimuth, and at other
// tones the treble trim.
func (bd *builder) play(track int) {
	az := Quantity{Measure: "azimuth"}
	ref := bd.d.Reference.ToneHz
	treble := 0.0
	for q := range bd.at {
		if q.Measure == "response" && q.Track == track && q.ToneHz > ref && q.ToneHz > treble {
			treble = q.ToneHz
		}
	}
	bd.moved(Quantity{Measure: "meter", Track: track}, Influence{From: Quantity{Measure: "level", Track: track}, Gain: 1, Form: Same{}})
	own := Quantity{Measure: "response", Track: track, ToneHz: treble}
	bd.moved(own, bd.loss(az, treble, 1), bd.loss(az, ref, -1))
	for _, hz := range bd.opt.Tones {
		q := Quantity{Measure: "response", Track: track, ToneHz: hz}
		if _, ok := bd.at[q]; ok {
			continue
		}
		bd.add(Variable{Quantity: q, Unit: "dB", BaseSD: responseSD})
		bd.moved(q, bd.loss(az, hz, 1), bd.loss(az, ref, -1))
		if treble > 0 {
			s := trebleShare(hz, ref, bd.speed.HighUs) / trebleShare(treble, ref, bd.speed.HighUs)
			bd.moved(q, Influence{From: own, Gain: s, GainSD: trebleShareSD * math.Abs(s), Form: Same{}}, bd.loss(az, treble, -s), bd.loss(az, ref, s))
		}
	}
}

// trebleShare is what a treble trim does at a tone re the reference tone, for a small
// turn that changes the replay time constant τ by the share dτ/τ:
//
//	8.686·(f²/(f² + f₀²) − r²/(r² + f₀²)) dB,  f₀ = 1/(2πτ)
//
// From the response of the one time constant, IEC 60094-1.
func trebleShare(hz, ref, highUs float64) float64 {
	f0 := 1e6 / (2 * math.Pi * highUs)
	share := func(f float64) float64 { return f * f / (f*f + f0*f0) }
	return 20 / math.Ln10 * (share(hz) - share(ref))
}

// record adds level and treble of a track's own recordings, and what moves them.
func (bd *builder) record(track int) {
	level, bias := Quantity{Measure: "record_level", Track: track}, Quantity{Measure: "bias", Track: track}
	_, hasLevel := bd.at[level]
	_, hasBias := bd.at[bias]
	if !hasLevel && !hasBias {
		return
	}
	if !hasLevel {
		bd.add(Variable{Quantity: level, Unit: "dB", BaseSD: levelSD})
	}
	ratio := Ratio{Ref: bd.bias}
	if hasBias && bd.opt.Overbias {
		fall := Quantity{Measure: "overbias", Track: track}
		bd.add(Variable{Quantity: fall, Unit: "dB", BaseSD: fallSD})
		bd.moved(fall, Influence{From: bias, Gain: biasOnFall, GainSD: biasOnFallSD, Form: ratio})
	}
	bd.moved(level, Influence{From: Quantity{Measure: "level", Track: track}, Gain: 1, Form: Same{}},
		Influence{From: bias, Gain: biasOnLevel, GainSD: biasOnLevelSD, Form: ratio})

	treble := Quantity{Measure: "record_response", Track: track, ToneHz: bd.treble(Range{})}
	play := Quantity{Measure: "response", Track: track}
	for _, v := range bd.vars {
		if q := v.Quantity; q.Track == track && q.ToneHz > bd.d.Reference.ToneHz {
			switch q.Measure {
			case "record_response":
				treble = q
			case "response":
				if !slices.Contains(bd.opt.Tones, q.ToneHz) || play.ToneHz == 0 {
					play = q
				}
			}
		}
	}
	if _, ok := bd.at[treble]; !ok {
		bd.add(Variable{Quantity: treble, Unit: "dB", BaseSD: responseSD})
	}
	az, own := Quantity{Measure: "azimuth"}, bd.ownAzimuth()
	bd.moved(treble, Influence{From: bias, Gain: biasOnTreble, GainSD: biasOnTrebleSD, Form: ratio},
		Influence{From: level, Gain: recordOnTreble, GainSD: recordOnTrebleSD, Form: Same{}},
		Influence{From: play, Gain: 1, Form: Same{}})
	if play.ToneHz > 0 {
		// What the test tape loses by azimuth, an own recording does not.
		bd.moved(treble, bd.loss(az, play.ToneHz, -1), bd.loss(az, bd.d.Reference.ToneHz, 1))
	}
	if own != az {
		bd.moved(treble, bd.loss(own, treble.ToneHz, 1), bd.loss(own, bd.d.Reference.ToneHz, -1))
	}
}

// ownAzimuth is the angle of own recordings on the play head: another quantity where a
// record head has its own screw.
func (bd *builder) ownAzimuth() Quantity {
	for _, t := range bd.trims {
		if t.Sets.Measure == "azimuth" && strings.HasPrefix(t.Sets.At, "record") {
			az := Quantity{Measure: "azimuth"}
			i := bd.at[t.Sets]
			if len(bd.vars[i].Moved) == 0 {
				bd.moved(t.Sets, Influence{From: az, Gain: -1, Form: Same{}})
			}
			return t.Sets
		}
	}
	return Quantity{Measure: "azimuth"}
}
