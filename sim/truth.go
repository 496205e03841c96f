package sim

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/cmplx"

	"headstack/capture"
	"headstack/tape"
	"headstack/unit"
)

// Truth is what a capture was made from and what a perfect measurement of it
// would give. Its JSON form lies beside the WAV.
type Truth struct {
	Format   int           `json:"truth"` // 1
	Scenario Scenario      `json:"scenario"`
	Frames   int64         `json:"frames"`
	Sections []TrueSection `json:"sections"`
	Measures []TrueMeasure `json:"measures"`
}

// TrueSection is where a section of the tape lies in the capture, for a head at
// track 1. Present is false for one that was skipped or cut off altogether; its
// times are then 0. Partial means cut by the start or end of the capture.
type TrueSection struct {
	Index   int     `json:"index"`
	Name    string  `json:"name"`
	ToneHz  float64 `json:"tone_hz"`
	Present bool    `json:"present"`
	Partial bool    `json:"partial,omitempty"`
	StartS  float64 `json:"start_s"`
	EndS    float64 `json:"end_s"`
	// SpeedErrorPercent is the mean over the section, in which slow flutter does
	// not quite cancel.
	SpeedErrorPercent float64 `json:"speed_error_percent"`
}

// TrueMeasure is the true value of one measure, named as measured ones are:
//
//	level        dBFS, full-scale sine = 0 dBFS; under flicker, that of the mean amplitude
//	response     dB, level less that of the reference section on the same track, less
//	             the difference of their stated levels and of the fringing
//	speed_error  %, over the whole capture without flutter
//	delay        µs at the mean speed, positive when track_b is later: without a section
//	             of the azimuth alone, with one as electronics and crosstalk make it at its tone
//	azimuth      arcminutes, mean; of the whole and, the same, of each pair. Electronics
//	             that differ between two tracks make a measured one differ from it
//	noise        dB r.m.s. 20 Hz to 20 kHz with hum, re the track's own r.m.s. in the
//	             reference section
//
// Clipping and drop-outs are not in the values. What has no finite value (level of
// a muted track, noise of a noiseless one) is not listed.
type TrueMeasure struct {
	Name    string  `json:"name"`
	Track   int     `json:"track,omitempty"`
	TrackB  int     `json:"track_b,omitempty"`
	Section string  `json:"section,omitempty"`
	ToneHz  float64 `json:"tone_hz,omitempty"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Method  string  `json:"method,omitempty"` // how the value is defined, where the name leaves it open
}

// WriteTruth writes t as indented JSON.
func WriteTruth(w io.Writer, t Truth) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	if err := e.Encode(t); err != nil {
		return fmt.Errorf("writing truth: %w", err)
	}
	return nil
}

// ReadTruth reads what WriteTruth wrote.
func ReadTruth(r io.Reader) (Truth, error) {
	var t Truth
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	if err := d.Decode(&t); err != nil {
		return Truth{}, fmt.Errorf("reading truth: %w", err)
	}
	if t.Format != 1 {
		return Truth{}, fmt.Errorf("reading truth: format %d, want 1", t.Format)
	}
	return t, nil
}

// Find returns the true value of a measure; trackB and section may be 0 and empty.
func (t *Truth) Find(name string, track, trackB int, section string) (value float64, ok bool) {
	for _, m := range t.Measures {
		if m.Name == name && m.Track == track && m.TrackB == trackB && m.Section == section {
			return m.Value, true
		}
	}
	return 0, false
}

// truth collects the true values after rendering.
func (r *renderer) truth() Truth {
	t := Truth{Format: 1, Scenario: *r.sc, Frames: r.total}
	t.Scenario.Progress = nil
	t.Sections = r.trueSections()
	add := func(m ...TrueMeasure) { t.Measures = append(t.Measures, m...) }
	add(TrueMeasure{Name: "speed_error", Value: (r.sc.speedRatio() - 1) * 100, Unit: "%"})
	add(TrueMeasure{Name: "azimuth", Value: r.sc.AzimuthArcmin, Unit: "arcmin"})
	reference, hasReference := r.sc.Tape.ReferenceSection()
	for _, track := range r.sc.channels() {
		add(r.trueLevels(track, reference, hasReference)...)
		if hasReference {
			add(r.trueNoise(track, reference)...)
		}
	}
	add(r.trueDelays()...)
	return t
}

func (r *renderer) trueSections() []TrueSection {
	list := make([]TrueSection, len(r.sc.Tape.Sections))
	for i, s := range r.sc.Tape.Sections {
		list[i] = TrueSection{Index: i, Name: s.Name, ToneHz: s.ToneHz}
	}
	from, to := r.sc.CutHeadS, r.sc.endOfTape()-r.sc.CutTailS
	for _, p := range r.places {
		start, end := max(p.start, from), min(p.end, to)
		if start >= end {
			continue
		}
		s := &list[p.index]
		s.Present, s.Partial = true, start > p.start || end < p.end
		s.StartS, s.EndS = r.motion.when(start), r.motion.when(end)
		s.SpeedErrorPercent = ((end-start)/(s.EndS-s.StartS) - 1) * 100
	}
	return list
}

// amplitude is the mean complex amplitude of a section of the tape on a track, with
// crosstalk at the mean azimuth and flicker; its magnitude is the peak.
func (r *renderer) amplitude(track, section int) complex128 {
	s := r.sc.Tape.Sections[section]
	list := make([]complex128, len(r.sc.Tracks))
	for i, t := range r.sc.Tracks {
		a := r.sc.own(i+1, s)
		if t.Flicker.DepthDB > 0 {
			a *= complex(meanUnderFlicker(t.Flicker.loss(s.ToneHz)), 0)
		}
		list[i] = r.sc.late(i+1, a, s.ToneHz, r.sc.tanAzimuth(0))
	}
	return r.sc.crosstalk(track, list)
}

func (r *renderer) trueLevels(track, reference int, hasReference bool) []TrueMeasure {
	var list []TrueMeasure
	for _, p := range r.places {
		s := p.section
		level := 20 * math.Log10(cmplx.Abs(r.amplitude(track, p.index)))
		if s.ToneHz == 0 || math.IsInf(level, -1) {
			continue
		}
		list = append(list, TrueMeasure{Name: "level", Track: track, Section: s.Name, ToneHz: s.ToneHz, Value: level, Unit: "dBFS"})
		if !hasReference {
			continue
		}
		ref := r.sc.Tape.Sections[reference]
		response := level - 20*math.Log10(cmplx.Abs(r.amplitude(track, reference))) -
			(s.LevelDB - ref.LevelDB) - (r.sc.fringing(track, s.ToneHz) - r.sc.fringing(track, ref.ToneHz))
		list = append(list, TrueMeasure{Name: "response", Track: track, Section: s.Name, ToneHz: s.ToneHz, Value: response, Unit: "dB"})
	}
	return list
}

func (r *renderer) trueNoise(track, reference int) []TrueMeasure {
	step := 0.0
	if spec := r.sc.spec(); spec.Encoding == capture.PCM {
		step = math.Ldexp(1, 1-spec.Bits)
	}
	tone, power := cmplx.Abs(r.amplitude(track, reference)), r.sc.noisePower(track, step)
	if tone == 0 || power == 0 {
		return nil
	}
	return []TrueMeasure{{Name: "noise", Track: track, Value: 10 * math.Log10(power/(tone*tone/2)), Unit: "dB"}}
}

// trueDelays lists the delay of each pair of the capture's tracks at the actual mean
// speed, by azimuth alone and at each tone.
func (r *renderer) trueDelays() []TrueMeasure {
	var list []TrueMeasure
	channels, centre := r.sc.channels(), r.sc.Geometry.Tracks
	angle := unit.Radian(r.sc.AzimuthArcmin) * tape.Arcminute
	speed := unit.MetrePerSecond(r.sc.Tape.SpeedCmS / 100 * r.sc.speedRatio())
	for i, a := range channels {
		for _, b := range channels[i+1:] {
			if a == b {
				continue
			}
			delay := tape.AzimuthDelay(centre[b-1].Centre-centre[a-1].Centre, angle, speed)
			list = append(list,
				TrueMeasure{Name: "delay", Track: a, TrackB: b, Value: float64(delay) * 1e6, Unit: "µs"},
				TrueMeasure{Name: "azimuth", Track: a, TrackB: b, Value: r.sc.AzimuthArcmin, Unit: "arcmin"})
			list = append(list, r.toneDelays(a, b, float64(delay)*1e6)...)
		}
	}
	return list
}

// toneDelays adds to a pair's delay by azimuth what the phases of equalisation,
// corners and crosstalk make of each tone. Reversed polarity is no delay.
func (r *renderer) toneDelays(a, b int, azimuthUs float64) []TrueMeasure {
	var list []TrueMeasure
	for _, p := range r.places {
		s := p.section
		if s.ToneHz == 0 {
			continue
		}
		between := turned(r.amplitude(a, p.index)*cmplx.Conj(r.amplitude(b, p.index)), s.ToneHz, r.sc.offset(b)-r.sc.offset(a), r.sc.tanAzimuth(0))
		if between == 0 {
			continue // one of the two is muted
		}
		if r.sc.Tracks[a-1].PolarityReversed != r.sc.Tracks[b-1].PolarityReversed {
			between = -between
		}
		us := azimuthUs + cmplx.Phase(between)/(2*math.Pi*s.ToneHz*r.sc.speedRatio())*1e6
		list = append(list, TrueMeasure{Name: "delay", Track: a, TrackB: b, Section: s.Name, ToneHz: s.ToneHz, Value: us, Unit: "µs"})
	}
	return list
}
