package sim

import (
	"headstack/capture"
	"headstack/programme"
)

// Recording is a record programme, a recorder with its faults, and a way of capturing
// the replay. Start from [PerfectRecording]: the zero value is no usable one.
type Recording struct {
	Programme *programme.Programme `json:"programme"`
	// Rounds are the rounds on the tape, from 0, in order. Empty: the first.
	Rounds []int `json:"rounds,omitempty"`
	// ReferenceDBFS is what a recorded 0 dB plays at on a perfect track; full-scale
	// sine = 0 dBFS.
	ReferenceDBFS float64 `json:"reference_dbfs"`
	// Tracks describe every track of the machine, Tracks[0] track 1.
	Tracks []RecordTrack `json:"tracks"`
	// Leaks are the ways from one track into another, one entry for a pair and
	// direction.
	Leaks []Leak `json:"leaks,omitempty"`
	// Channels says which track each channel of the capture is labelled as. Empty:
	// all, in order.
	Channels []int `json:"channels,omitempty"`
	// RecordCables, by track, is the track of the programme whose sound is fed to it;
	// ReplayCables, by channel, is the track that feeds it whatever its label. Empty:
	// as labelled.
	RecordCables []int `json:"record_cables,omitempty"`
	ReplayCables []int `json:"replay_cables,omitempty"`

	RecordSpeedErrorPercent float64 `json:"record_speed_error_percent,omitempty"` // positive: fast
	ReplaySpeedErrorPercent float64 `json:"replay_speed_error_percent,omitempty"`
	// RecordFlutter and ReplayFlutter move the tape in the two passes, each counted
	// from the beginning of its pass, so that phases say how they meet.
	RecordFlutter []Line `json:"record_flutter,omitempty"`
	ReplayFlutter []Line `json:"replay_flutter,omitempty"`
	// OffTape captures from a second head while recording: both flutters are then
	// RecordFlutter, of one and the same moment, and HeadDistanceMM of tape apart.
	OffTape        bool    `json:"off_tape,omitempty"`
	HeadDistanceMM float64 `json:"head_distance_mm,omitempty"`
	MainsHz        float64 `json:"mains_hz,omitempty"` // of hum; 0: 50

	LeadInS  float64 `json:"lead_in_s,omitempty"`  // recording of nothing before a round, s
	TailS    float64 `json:"tail_s,omitempty"`     // and after, s
	CutHeadS float64 `json:"cut_head_s,omitempty"` // the capture starts this much of tape later
	CutTailS float64 `json:"cut_tail_s,omitempty"` // and ends this much earlier
	// EraseLateS is how much after the middle of the erase part the second pass is
	// punched in; negative: too early.
	EraseLateS float64 `json:"erase_late_s,omitempty"`

	SampleRate int              `json:"sample_rate"`        // Hz
	Encoding   capture.Encoding `json:"encoding,omitempty"` // empty: PCM
	Bits       int              `json:"bits,omitempty"`     // 0: 24 for PCM, 32 for float
	Seed       uint64           `json:"seed"`               // of noise and flicker
}

// RecordTrack is how one track records and replays. The zero value is perfect and
// noiseless, and was not erased. Of [Track] the gain, spacing, gap, coating depth,
// corners, polarity, noise, hum, flicker, drop-outs, clipping and muting of replay
// count; its other fields must be zero.
type RecordTrack struct {
	Track
	RecordGainDB           float64 `json:"record_gain_db,omitempty"`
	RecordPolarityReversed bool    `json:"record_polarity_reversed,omitempty"`
	DelayUs                float64 `json:"delay_us,omitempty"` // of replay re the other tracks, positive: later
	// MOLDB is the level on tape, re 0 dB, at which a tone below [TrebleHz] has 3 % of
	// third harmonic; nil: no third harmonic at all.
	MOLDB *float64 `json:"mol_db,omitempty"`
	// EvenPercent is the second harmonic of a tone recorded at 0 dB.
	EvenPercent float64 `json:"even_percent,omitempty"`
	// SaturationDB is the largest level on tape that a 10 kHz tone reaches, re 0 dB;
	// nil: no end to it.
	SaturationDB *float64 `json:"saturation_db,omitempty"`
	// EraseDepthDB is how far the second pass lowers what was recorded; 0: the track
	// was not recorded over.
	EraseDepthDB   float64        `json:"erase_depth_db,omitempty"`
	NoiseReduction NoiseReduction `json:"noise_reduction,omitempty"`
	// Bias is what the person at the trim meets during a staircase; nil: nothing
	// changes.
	Bias *BiasCurve `json:"bias,omitempty"`
}

// Leak is crosstalk of replay: the flux of one track in the core of another.
type Leak struct {
	From int     `json:"from"`
	To   int     `json:"to"`
	DB   float64 `json:"db"` // at 1 kHz, negative
	// DBPerOctave is how the leak grows with frequency; magnetic leaks fall.
	DBPerOctave float64 `json:"db_per_octave,omitempty"`
}

// BiasCurve is the output at the staircase's tone against the trim: a parabola
// -DropDB·(step - PeakStep)² in dB, steps counted from 0.
type BiasCurve struct {
	PeakStep float64 `json:"peak_step"`
	DropDB   float64 `json:"drop_db"`
}

// NoiseReduction says what was left on.
type NoiseReduction string

// States of noise reduction. Steady tones only: the compander follows at once.
const (
	// NROff is right for a line-up.
	NROff NoiseReduction = ""
	// CompanderEncode halves levels in dB about 0 dB while recording; CompanderDecode
	// doubles them on replay.
	CompanderEncode NoiseReduction = "compander-encode"
	CompanderDecode NoiseReduction = "compander-decode"
	// SlidingEncode raises low-level treble while recording, SlidingDecode lowers it on
	// replay: by 10 dB·f²/(f² + (1.5 kHz)²) at -40 dB and below, by nothing at -10 dB
	// and above, in between in proportion. The numbers are invented, of usual size.
	SlidingEncode NoiseReduction = "sliding-encode"
	SlidingDecode NoiseReduction = "sliding-decode"
)

// TrebleHz parts the two laws of the tape: below it a tone has harmonics, from it on
// it saturates without any in the band.
const TrebleHz = 2000.0

// PerfectRecording is a recorder without any fault that records and replays the first
// round of p: reference level -14 dBFS, 2 s of tape before and after, 48 kHz, 24 bit,
// noiseless, the erase part recorded over with a residue of -70 dB.
func PerfectRecording(p *programme.Programme) Recording {
	r := Recording{
		Programme: p, ReferenceDBFS: -14, Tracks: make([]RecordTrack, p.Tracks),
		LeadInS: 2, TailS: 2, SampleRate: 48000, MainsHz: 50, Seed: 1,
	}
	for i := range r.Tracks {
		r.Tracks[i].EraseDepthDB = 70
	}
	return r
}

func (r *Recording) rounds() []int {
	if len(r.Rounds) == 0 {
		return []int{0}
	}
	return r.Rounds
}

func (r *Recording) channels() []int {
	if len(r.Channels) > 0 {
		return r.Channels
	}
	return oneTo(len(r.Tracks))
}

// played is the track that a channel really carries.
func (r *Recording) played(channel int) int {
	if len(r.ReplayCables) > 0 {
		return r.ReplayCables[channel]
	}
	return r.channels()[channel]
}

// fed is the track of the programme that a track really records.
func (r *Recording) fed(track int) int {
	if len(r.RecordCables) > 0 {
		return r.RecordCables[track-1]
	}
	return track
}

func oneTo(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i + 1
	}
	return all
}

// spec is the format of the capture.
func (r *Recording) spec() capture.Spec {
	sc := Scenario{Encoding: r.Encoding, Bits: r.Bits, SampleRate: r.SampleRate, Channels: r.channels()}
	return sc.spec()
}
