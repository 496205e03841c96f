package lineup

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

// Tolerance is how far a reading may be off its target, and who says so.
type Tolerance struct {
	Value  float64 `json:"value"` // ± in the target's unit, or the limit itself where Side is one
	Source string  `json:"source"`
}

// practice marks what the trade does and nobody prints.
const practice = "common practice, no source"

// The defaults, for what a definition leaves open. They are common practice, no source,
// but where the text beside them says otherwise.
const (
	levelToleranceDB     = 0.5 // between tracks and to the reference; aim at 0.2
	syncToleranceDB      = 1.0 // sync is for cueing
	azimuthTolerance     = 2.0 // arcminutes: the wander that the slitting of tape makes, and about 20 µs between outer tracks
	biasFrequencyPercent = 3.0
	iterateDB            = 0.2
	ladderToleranceDB    = 1.0 // of a step of a lamp ladder
	needleToleranceDB    = 0.5 // of a needle at 0
	harmonic3Percent     = 1.5
	overbiasToleranceDB  = 0.5 // sources disagree by as much for the same speed and gap
	flatBiasToleranceDB  = 1.0
)

// toleranceOf is the default of a kind on a recorder, at a speed.
func toleranceOf(d *machine.Definition, k Kind, sp machine.Speed) Tolerance {
	reel := d.Medium.Kind == "open-reel"
	pick := func(onReel, onCassette float64) Tolerance {
		if reel {
			return Tolerance{onReel, practice}
		}
		return Tolerance{onCassette, practice}
	}
	switch k {
	case Speed, ProofSpeed:
		if sp.TolerancePercent > 0 {
			return Tolerance{sp.TolerancePercent, "the definition, speed tolerance"}
		}
		return pick(0.2, 1)
	case Flutter, ProofFlutter:
		return flutterLimit(d, sp)
	case Drift:
		return pick(0.1, 0.3)
	case Azimuth, AzimuthAgain, RecordAzimuth, ProofAzimuth:
		return Tolerance{azimuthTolerance, practice}
	case Level, LevelAgain, RecordLevel, ProofLevel, ProofRecordLevel, NoiseReduction:
		return Tolerance{levelToleranceDB, practice}
	case SyncLevel:
		return Tolerance{syncToleranceDB, practice}
	case Treble, RecordTreble, ProofTreble, ProofRecordTreble, SyncTreble:
		if reel && sp.CmS >= 38 {
			return Tolerance{1, practice}
		}
		return Tolerance{1.5, practice}
	case PlayBass:
		return pick(2, 3)
	case NoiseReductionOn:
		return Tolerance{2 * levelToleranceDB, practice + ": a 2:1 compander doubles each error of level"}
	case Meter:
		return pick(needleToleranceDB, ladderToleranceDB)
	case RecordAgain:
		return Tolerance{iterateDB, practice}
	case BiasFrequency:
		return Tolerance{biasFrequencyPercent, practice}
	case Bias:
		return pick(overbiasToleranceDB, flatBiasToleranceDB)
	case ProofErase:
		return pick(-65, -60) // 60 dB: DIN 45500 part 4
	case ProofNoise:
		return pick(-56, -48) // 56 dB below full modulation, weighted: DIN 45500 part 4
	case ProofDistortion:
		return Tolerance{harmonic3Percent, practice}
	case ProofCrosstalk:
		return pick(-45, -38)
	}
	return Tolerance{}
}

// responseTolerance is that of a tone of a response, from the nearest of a few; common
// practice, no source.
func responseTolerance(d *machine.Definition, sp machine.Speed, hz float64) Tolerance {
	type point struct{ hz, db float64 }
	list := []point{{100, 3}, {315, 0.5}, {1000, 1}, {6300, 2}, {10000, 2.5}, {12500, 3}}
	if d.Medium.Kind == "open-reel" && sp.CmS >= 38 {
		list = []point{{63, 2}, {1000, 0.5}, {10000, 1}, {16000, 2}}
	}
	best := list[0]
	for _, p := range list {
		if math.Abs(math.Log(p.hz/hz)) < math.Abs(math.Log(best.hz/hz)) {
			best = p
		}
	}
	return Tolerance{best.db, practice}
}

// flutterLimit is that of a test point of the definition, in per cent and for the speed,
// else what the trade accepts.
func flutterLimit(d *machine.Definition, sp machine.Speed) Tolerance {
	for _, tp := range d.TestPoints {
		if tp.Expect.Max > 0 && tp.Expect.Unit == "%" && (len(d.Speeds) == 1 || strings.Contains(tp.Mode, fmt.Sprintf("%g", sp.CmS))) {
			return Tolerance{tp.Expect.Max, "the definition, test point " + tp.ID}
		}
	}
	if d.Medium.Kind == "cassette" {
		return Tolerance{0.2, practice + ": accepted; 0.06 to 0.10 is good"}
	}
	if sp.CmS >= 38 {
		return Tolerance{0.1, practice}
	}
	return Tolerance{0.15, practice}
}

// overbias is the customary fall of 10 kHz past its peak, at -20 dB, for a record gap of
// 12.7 µm, with the range over gaps of 6.3 to 25 µm: a handbook for 38.1 cm/s, from
// memory otherwise. Below 19 cm/s there is no such custom.
func overbias(speedCmS float64) (middle, lo, hi float64, ok bool) {
	switch {
	case speedCmS >= 70:
		return 1.5, 1, 1.75, true
	case speedCmS >= 35:
		return 3, 2, 3.5, true
	case speedCmS >= 18:
		return 5, 4, 6.5, true
	}
	return 0, 0, 0, false
}

// words says a limit to one side.
func (s Side) words() string {
	switch s {
	case AtMost:
		return "at most"
	case AtLeast:
		return "at least"
	}
	return "±"
}

// Text writes target and tolerance for a sheet: "−1.20 ±0.5 dB", "at most 0.1 %",
// "40 ±7.5 mV". Without a target it is "—".
func (t *Target) Text() string {
	if t.Refused != "" {
		return "—"
	}
	k, u := prefixed(math.Max(math.Abs(t.Value), t.Tolerance), t.Unit)
	switch {
	case t.Side != Both:
		return t.Side.words() + " " + number(t.Value*k) + unit.ThinSpace + u
	case t.Unit == "dB" || t.Unit == "dBFS" || t.Unit == "arcmin" || strings.HasPrefix(t.Unit, "%"):
		return unit.Signed(t.Value, 2) + " ±" + number(t.Tolerance) + unit.ThinSpace + u
	}
	return number(t.Value*k) + " ±" + strings.TrimPrefix(number(t.Tolerance*k), "+") + unit.ThinSpace + u
}

// Text writes what an instrument shows: "109 mV".
func (s *Shown) Text() string {
	k, u := prefixed(math.Abs(s.Value), s.Unit)
	return number(s.Value*k) + unit.ThinSpace + u
}

// prefixed is the factor and unit that keep a value in a base unit readable.
func prefixed(size float64, u string) (float64, string) {
	switch u {
	case "V", "A", "Hz", "ohm", "N":
	default:
		return 1, u
	}
	switch {
	case size >= 1e3:
		return 1e-3, "k" + u
	case size >= 0.5 || u == "N":
		return 1, u
	case size >= 5e-4:
		return 1e3, "m" + u
	}
	return 1e6, "µ" + u
}

// number writes three digits with a true minus.
func number(x float64) string {
	s := strconv.FormatFloat(x, 'g', 3, 64)
	if math.Abs(x) >= 1000 {
		s = strconv.FormatFloat(x, 'f', 0, 64)
	}
	return strings.Replace(s, "-", unit.Minus, 1)
}

// OverbiasTolerance is how near a bias is to come to its aim, dB: of a fall past the peak, or
// of a flat response. As the targets have it.
func OverbiasTolerance(flat bool) float64 {
	if flat {
		return flatBiasToleranceDB
	}
	return overbiasToleranceDB
}
