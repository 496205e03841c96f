package lining

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"headstack/machine"
	"headstack/sim/trims"
)

// Limits are what a recorder must keep with its case closed: common practice, no source,
// and written here apart from what package lineup believes, so that one checks the other.
// Where practice allows a span, these are at its narrow end.
type Limits struct {
	LevelDB, SyncLevelDB float64 // play and record level, sync level
	TrebleDB             float64 // at 10 kHz, and half as much again at 12.5 kHz; play, sync and own recording
	BassDB               float64 // at 100 Hz
	OverbiasDB           float64 // about the wanted overbias; 0: bias is judged by the response alone
	DelaySec             float64 // between the outer tracks, at the fastest speed
	MeterDB              float64
	OscillatorK          float64 // kHz
	TrapTurns            float64
	EraseTurns           float64
	OffsetMV             float64
	TensionN             float64
	Brake                float64 // %
}

// LimitsOf are those of a recorder type at a speed; 0 is its first.
func LimitsOf(d *machine.Definition, cmS float64) Limits {
	v, _ := d.Speed(cmS)
	l := Limits{LevelDB: 0.5, SyncLevelDB: 1, TrebleDB: 1.5, BassDB: 2, OverbiasDB: 1, DelaySec: 20e-6, MeterDB: 0.5, OscillatorK: 2.76,
		TrapTurns: 0.53, EraseTurns: 0.6, OffsetMV: 5, TensionN: 0.1, Brake: 10}
	switch {
	case d.Medium.Kind == "cassette":
		l.OverbiasDB, l.BassDB, l.MeterDB = 0, 3, 1
	case v.CmS >= 38:
		l.TrebleDB = 1
	}
	return l
}

// ofTrim is how far a trim alone may be off, in the unit of [trims.Unit], before it is
// out; 0 for those that are left alone.
func (l Limits) ofTrim(d *machine.Definition, t *machine.Trim) float64 {
	switch t.Sets {
	case "level", "record_level":
		return l.LevelDB
	case "sync_level":
		return l.SyncLevelDB
	case "response", "record_response", "sync_response":
		return l.TrebleDB
	case "response_low":
		return l.BassDB
	case "bias": // about 2 dB of treble per dB of bias, see sim/trims
		return l.TrebleDB / 2
	case "azimuth":
		if t.At == "erase" {
			return 0
		}
		return l.DelaySec * d.Speeds[0].CmS / 100 / outer(d) * 60 * 180 / math.Pi
	case "speed_error":
		v, _ := d.Speed(t.SpeedCmS)
		return v.TolerancePercent
	case "meter", "compander_level":
		return l.MeterDB
	case "bias_frequency":
		return l.OscillatorK
	case "trap_leak":
		return l.TrapTurns
	case "erase":
		return l.EraseTurns
	case "offset":
		return l.OffsetMV
	case "tension":
		return l.TensionN
	case "brake_torque":
		return l.Brake
	}
	return 0
}

// Miss is a figure that is out of its limits.
type Miss struct {
	What  string
	Track int // 0: of no single track
	CmS   float64
	By    float64 // the figure, in the unit of the limit
	Limit float64
}

func (x Miss) String() string {
	s := fmt.Sprintf("%s %+.3g, limit %.3g", x.What, x.By, x.Limit)
	if x.Track > 0 {
		s = fmt.Sprintf("track %d, %s", x.Track, s)
	}
	if x.CmS > 0 {
		s += fmt.Sprintf(" at %g cm/s", x.CmS)
	}
	return s
}

// Judge says what is out with the case closed.
func Judge(d *machine.Definition, truth trims.Truth) []Miss {
	var out []Miss
	add := func(what string, track int, cmS, by, limit float64) {
		if !(math.Abs(by) <= limit) {
			out = append(out, Miss{what, track, cmS, by, limit})
		}
	}
	for i, s := range truth.Speeds {
		l := LimitsOf(d, s.CmS)
		v, _ := d.Speed(s.CmS)
		add("speed", 0, s.CmS, s.SpeedPercent, v.TolerancePercent)
		delay := func(arcmin float64) float64 { return outer(d) * math.Tan(arcmin*math.Pi/10800) / (s.CmS / 100) }
		if i == 0 {
			add("play azimuth, outer delay", 0, s.CmS, delay(s.PlayArcmin), l.DelaySec)
		}
		if i == 0 && len(s.Tracks[0].Sync.ResponseDB) > 0 {
			add("record azimuth re play, outer delay", 0, s.CmS, delay(s.RecordArcmin-s.PlayArcmin), l.DelaySec)
		}
		for _, t := range s.Tracks {
			n := t.Play.Track
			add("play level", n, s.CmS, t.Play.LevelDB, l.LevelDB)
			add("record level", n, s.CmS, t.Own.LevelDB, l.LevelDB)
			for _, x := range []struct{ hz, limit float64 }{{100, l.BassDB}, {10e3, l.TrebleDB}, {12.5e3, 1.5 * l.TrebleDB}} {
				add(fmt.Sprintf("play %g Hz", x.hz), n, s.CmS, t.Play.ResponseDB[x.hz], x.limit)
				add(fmt.Sprintf("record %g Hz", x.hz), n, s.CmS, t.Own.ResponseDB[x.hz], x.limit)
			}
			if len(t.Sync.ResponseDB) > 0 && i == 0 {
				add("sync level", n, s.CmS, t.Sync.LevelDB, l.SyncLevelDB)
				add("sync 10 kHz", n, s.CmS, t.Sync.ResponseDB[10e3], l.TrebleDB)
			}
			if l.OverbiasDB > 0 {
				add("overbias", n, s.CmS, t.OverbiasDB-trims.Overbias(d, s.CmS), l.OverbiasDB)
			}
		}
	}
	leaks := map[string]float64{}
	for _, x := range truth.Trims {
		t := trimOf(d, x.Ref.ID)
		switch x.Sets {
		case "trap_leak": // of two traps in a row at right angles
			leaks[x.Ref.Key] = math.Hypot(leaks[x.Ref.Key], x.OffBy)
		case "meter", "compander_level", "bias_frequency", "erase", "offset", "tension", "brake_torque":
			add(x.Ref.String()+" "+x.Sets, 0, 0, x.OffBy, LimitsOf(d, 0).ofTrim(d, t))
		}
	}
	for _, key := range slices.Sorted(maps.Keys(leaks)) {
		add("bias trap "+key, 0, 0, leaks[key], LimitsOf(d, 0).TrapTurns)
	}
	return out
}

// outer is the distance of the outer tracks in metres.
func outer(d *machine.Definition) float64 {
	g := d.Geometry().Tracks
	return float64(g[len(g)-1].Centre - g[0].Centre)
}

// OutAtFirst are the trims that are out by themselves: what at least one move each is
// needed for.
func OutAtFirst(d *machine.Definition, truth trims.Truth) []trims.Ref {
	var out []trims.Ref
	for _, x := range truth.Trims {
		t := trimOf(d, x.Ref.ID)
		if limit := LimitsOf(d, t.SpeedCmS).ofTrim(d, t); limit > 0 && math.Abs(x.OffBy) > limit {
			out = append(out, x.Ref)
		}
	}
	return out
}

func trimOf(d *machine.Definition, id string) *machine.Trim {
	for i := range d.Trims {
		if d.Trims[i].ID == id {
			return &d.Trims[i]
		}
	}
	return nil
}
