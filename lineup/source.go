package lineup

import (
	"math"
	"slices"

	"headstack/testtape"
)

// What is played to set a step, by kind; frequencies in Hz, levels in dB re the
// reference of tape or programme. Common practice, no source, but for the speed tone of
// IEC 60386.
const (
	trebleHz, slowTrebleHz = 10000.0, 6300.0 // the second below slowCmS
	slowCmS                = 9.0
	bassHz                 = 63.0
	speedToneHz            = 3150.0
	trebleLevelDB          = -20.0
	bassLevelDB            = -10.0
)

// TrebleHz is the tone at which treble and bias are set at a speed in cm/s: 10 kHz, and
// 6.3 kHz below 9 cm/s. Common practice, no source.
func TrebleHz(speedCmS float64) float64 {
	if speedCmS < slowCmS {
		return slowTrebleHz
	}
	return trebleHz
}

// carrier says what plays while a step is read.
func (b *builder) carrier(s *Step) {
	ref := b.d.Reference.ToneHz
	switch s.Kind {
	case Speed, ProofSpeed, ProofFlutter:
		b.section(s, speedToneHz, -10)
	case Azimuth, AzimuthAgain, Treble, SyncTreble, ProofAzimuth, ProofTreble, Rack:
		b.section(s, TrebleHz(s.SpeedCmS), trebleLevelDB)
	case Level, LevelAgain, SyncLevel, ProofLevel, Meter, Height:
		b.section(s, ref, 0)
	case RecordAzimuth, Bias, RecordTreble, ProofRecordTreble:
		s.Source = own("treble", TrebleHz(s.SpeedCmS), trebleLevelDB)
	case RecordLevel, RecordAgain, NoiseReductionOn, ProofRecordLevel, ProofDistortion, ProofCrosstalk:
		s.Source = own("reference", ref, 0)
	case NoiseReduction:
		s.Source = own("reference", ref, 0)
		if b.side(s.At) == "play" {
			b.section(s, ref, 0)
		}
	case PlayBass:
		s.Source = own("bass", bassHz, bassLevelDB)
	case ProofErase:
		s.Source = own("erase", 1000, 4)
	case ProofNoise:
		s.Source = own("silence", 0, 0)
	case Erase, Trap, BiasFrequency:
		s.Note = "Recording, no signal."
	}
}

func own(what string, hz, db float64) Source {
	return Source{Carrier: OwnTape, Section: what, ToneHz: hz, LevelDB: db}
}

// section finds the section of a tape at hand for a tone; without one it says what is
// wanted.
func (b *builder) section(s *Step, hz, db float64) {
	s.Source = Source{Carrier: TestTape, ToneHz: hz, LevelDB: db}
	t := TapeFor(b.opt.Tapes, s.SpeedCmS)
	if t == nil {
		return
	}
	s.Source.Tape = t.Tape.Name
	sec := nearest(t.Tape, hz, db)
	if hz == b.d.Reference.ToneHz {
		if i, ok := t.Tape.ReferenceSection(); ok {
			sec = &t.Tape.Sections[i]
		}
	}
	if sec != nil {
		s.Source.Section, s.Source.ToneHz, s.Source.LevelDB = sec.Name, sec.ToneHz, sec.LevelDB
	}
}

// nearest is the section whose tone is within a third of an octave of hz and closest to
// it, among equals that closest in level; nil without one.
func nearest(t *testtape.Tape, hz, db float64) *testtape.Section {
	var best *testtape.Section
	cost := math.Inf(1)
	for i := range t.Sections {
		sec := &t.Sections[i]
		if sec.Silent() {
			continue
		}
		off := math.Abs(math.Log2(sec.ToneHz / hz))
		if off > 1.0/3+1e-9 {
			continue
		}
		if c := 1000*off + math.Abs(sec.LevelDB-db); c < cost {
			best, cost = sec, c
		}
	}
	return best
}

// TapeAtHand is a test tape as it lies on the bench: what its certificate says, what is
// known of its errors, and how its fluxivity was stated.
type TapeAtHand struct {
	Tape *testtape.Tape `json:"tape"`
	// ConventionDB is by how much the open-circuit figure of this tape's kind exceeds
	// the short-circuit one. It is a setting of the tape: sources disagree between 0.3
	// and 1 dB. nil: the usual 0.83 dB with that doubt.
	ConventionDB *Amount `json:"convention_db,omitempty"`
	// CertificateDB is the tape's own error, by section name: how much the section is
	// stronger than stated.
	CertificateDB map[string]Amount `json:"certificate_db,omitempty"`
	// AzimuthArcmin is how far the recording itself stands off square, in arcminutes;
	// positive makes higher tracks later. nil: not known, taken as square.
	AzimuthArcmin *Amount `json:"azimuth_arcmin,omitempty"`
}

// Amount is a known term: a value and the half width of its 95 % interval, and where it
// is from.
type Amount struct {
	Value  float64 `json:"value"`
	Half   float64 `json:"half"`
	Source string  `json:"source,omitempty"`
}

// sameSpeed is by how much printed speeds differ that are the same: 9.5 and 9.525.
const sameSpeed = 0.01

// TapeFor returns the first tape whose speed is the given one, in cm/s, within 1 %, nil
// without one. A speed of 0 takes the first tape.
func TapeFor(tapes []TapeAtHand, speedCmS float64) *TapeAtHand {
	i := slices.IndexFunc(tapes, func(t TapeAtHand) bool {
		return t.Tape != nil && (speedCmS == 0 || math.Abs(t.Tape.SpeedCmS/speedCmS-1) <= sameSpeed)
	})
	if i < 0 {
		return nil
	}
	return &tapes[i]
}
