package sim

import (
	"headstack/capture"
	"headstack/tape"
	"headstack/testtape"
)

// Scenario is a test tape, a recorder with its faults, and a way of capturing it.
// Start from [Perfect]: the zero value is no usable scenario.
type Scenario struct {
	Tape     *testtape.Tape `json:"tape"`
	Geometry tape.Geometry  `json:"geometry"`
	// SpeedCmS is the recorder's nominal speed; 0 takes the tape's.
	SpeedCmS float64 `json:"speed_cm_s,omitempty"`
	// ReferenceDBFS is what a tone at the tape's 0 dB plays at on a perfect
	// track; full-scale sine = 0 dBFS.
	ReferenceDBFS float64 `json:"reference_dbfs"`
	// Tracks describe the replay of every track of the geometry, Tracks[0] track 1.
	Tracks []Track `json:"tracks"`
	// Channels says which track each channel of the capture carries: all tracks,
	// two of a stereo bus, or one. Empty: all, in order.
	Channels []int `json:"channels,omitempty"`

	SpeedErrorPercent float64       `json:"speed_error_percent,omitempty"` // positive: fast
	AzimuthArcmin     float64       `json:"azimuth_arcmin,omitempty"`      // positive: a higher track plays later
	AzimuthWander     Wander        `json:"azimuth_wander,omitzero"`
	Flutter           []Line        `json:"flutter,omitempty"`
	RandomFlutter     RandomFlutter `json:"random_flutter,omitzero"`
	MainsHz           float64       `json:"mains_hz,omitempty"` // of hum; 0: 50

	LeadInS  float64 `json:"lead_in_s,omitempty"`  // blank tape before the first section, in s at nominal speed
	GapS     float64 `json:"gap_s,omitempty"`      // blank tape between sections, likewise
	TailS    float64 `json:"tail_s,omitempty"`     // blank tape after the last section, likewise
	RampS    float64 `json:"ramp_s,omitempty"`     // rise and fall of a section, inside its ends
	SkipHead int     `json:"skip_head,omitempty"`  // sections at the front that are not there
	SkipTail int     `json:"skip_tail,omitempty"`  // sections at the end that are not there
	CutHeadS float64 `json:"cut_head_s,omitempty"` // the capture starts this much of tape later
	CutTailS float64 `json:"cut_tail_s,omitempty"` // and ends this much earlier

	SampleRate int              `json:"sample_rate"`        // Hz
	Encoding   capture.Encoding `json:"encoding,omitempty"` // empty: PCM
	Bits       int              `json:"bits,omitempty"`     // 0: 24 for PCM, 32 for float
	Seed       uint64           `json:"seed"`               // of noise, random flutter, wander and flicker

	// Progress, if set, is called now and then with the part done, 0 to 1.
	Progress func(done float64) `json:"-"`
}

// Track is how one track replays. The zero value is perfect and noiseless.
type Track struct {
	GainDB      float64            `json:"gain_db,omitempty"`      // re Scenario.ReferenceDBFS
	SpacingUm   float64            `json:"spacing_um,omitempty"`   // head to tape
	GapUm       float64            `json:"gap_um,omitempty"`       // mechanical gap whose loss is not compensated
	ThicknessUm float64            `json:"thickness_um,omitempty"` // coating depth whose loss the certificate does not contain
	Eq          *tape.Equalisation `json:"equalisation,omitempty"` // actual replay equalisation; nil: the tape's
	// First-order corners of the electronics, 0: none.
	LowCornerHz  float64 `json:"low_corner_hz,omitempty"`
	HighCornerHz float64 `json:"high_corner_hz,omitempty"`

	Noise    *Noise    `json:"noise,omitempty"` // nil: none
	Hum      *Hum      `json:"hum,omitempty"`   // nil: none
	Flicker  Flicker   `json:"flicker,omitzero"`
	DropOuts []DropOut `json:"drop_outs,omitempty"`
	// CrosstalkDB is the level of each neighbouring track's tones in this one, re
	// their own level; negative. 0: none.
	CrosstalkDB      float64 `json:"crosstalk_db,omitempty"`
	PolarityReversed bool    `json:"polarity_reversed,omitempty"`
	// ClipDBFS is where the peaks are cut, as the level of a sine that just
	// reaches it; 0: at full scale.
	ClipDBFS float64 `json:"clip_dbfs,omitempty"`
	Muted    bool    `json:"muted,omitempty"` // no signal from the tape; noise and hum stay

	// Response, where set, takes the place of gain, losses, fringing, equalisation,
	// corners and of the phase that the scenario's azimuth makes: the track plays a tone
	// at reference level plus levelDB times this factor. Azimuth wander, flicker,
	// drop-outs, crosstalk and polarity come on top. A truth does not keep it.
	Response func(toneHz, levelDB float64) complex128 `json:"-"`
}

// Noise of a track. LevelDBFS is its r.m.s. from 20 Hz to 20 kHz, re the r.m.s. of
// a full-scale sine. Pole colours it: the spectrum is that of white noise through
// 1/(1 - Pole·z⁻¹), more bass for a positive Pole, white for 0; -0.95 to 0.95.
type Noise struct {
	LevelDBFS float64 `json:"level_dbfs"`
	Pole      float64 `json:"pole,omitempty"`
}

// Hum is a series of sines at multiples of the mains frequency: the fundamental's
// level (full-scale sine = 0 dBFS) and the levels of the second, third, ...
// harmonic re the fundamental in dB.
type Hum struct {
	LevelDBFS   float64   `json:"level_dbfs"`
	HarmonicsDB []float64 `json:"harmonics_db,omitempty"`
}

// Flicker is a loss that comes and goes irregularly, from 0 to DepthDB and back
// about RateHz times a second. TrebleOnly makes it a loss of contact, in proportion
// to frequency and DepthDB deep at 10 kHz; else all frequencies fall alike.
type Flicker struct {
	DepthDB    float64 `json:"depth_db,omitempty"`
	RateHz     float64 `json:"rate_hz,omitempty"`
	TrebleOnly bool    `json:"treble_only,omitempty"`
}

// DropOut is a short loss of signal at all frequencies, with raised-cosine flanks
// of a fifth of its length. AtS is the time in the capture.
type DropOut struct {
	AtS     float64 `json:"at_s"`
	LengthS float64 `json:"length_s"`
	DepthDB float64 `json:"depth_db"`
}

// Line is one periodic component of the speed: w(t) = peak·sin(2π·Hz·t + phase).
type Line struct {
	Hz          float64 `json:"hz"`
	PercentPeak float64 `json:"percent_peak"`
	PhaseDeg    float64 `json:"phase_deg,omitempty"`
}

// RandomFlutter is the irregular part of the speed, spread evenly over a band.
type RandomFlutter struct {
	RMSPercent float64 `json:"rms_percent,omitempty"`
	LowHz      float64 `json:"low_hz,omitempty"`
	HighHz     float64 `json:"high_hz,omitempty"`
}

// Wander is the irregular part of the azimuth, spread evenly over a band.
type Wander struct {
	RMSArcmin float64 `json:"rms_arcmin,omitempty"`
	LowHz     float64 `json:"low_hz,omitempty"`
	HighHz    float64 `json:"high_hz,omitempty"`
}

// Perfect is a recorder without any fault playing t on the tracks of g: reference
// level -12 dBFS, 2 s of blank tape before and after, 0.5 s between sections, 48 kHz,
// 24 bit, noiseless.
func Perfect(t *testtape.Tape, g tape.Geometry) Scenario {
	return Scenario{
		Tape: t, Geometry: g, ReferenceDBFS: -12, Tracks: make([]Track, len(g.Tracks)),
		LeadInS: 2, GapS: 0.5, TailS: 2, RampS: 0.002, SampleRate: 48000, MainsHz: 50, Seed: 1,
	}
}

// channels is Channels with its default filled in.
func (sc *Scenario) channels() []int {
	if len(sc.Channels) > 0 {
		return sc.Channels
	}
	all := make([]int, len(sc.Tracks))
	for i := range all {
		all[i] = i + 1
	}
	return all
}

// spec is the format of the capture.
func (sc *Scenario) spec() capture.Spec {
	s := capture.Spec{Encoding: sc.Encoding, Bits: sc.Bits, Channels: len(sc.channels()), SampleRate: sc.SampleRate}
	if s.Encoding == "" {
		s.Encoding = capture.PCM
	}
	if s.Bits == 0 {
		s.Bits = 24
		if s.Encoding == capture.Float {
			s.Bits = 32
		}
	}
	return s
}

// speedRatio is the mean of tape speed over the speed of the tape's recording.
func (sc *Scenario) speedRatio() float64 {
	ratio := 1.0
	if sc.SpeedCmS > 0 {
		ratio = sc.SpeedCmS / sc.Tape.SpeedCmS
	}
	return ratio * (1 + sc.SpeedErrorPercent/100)
}
