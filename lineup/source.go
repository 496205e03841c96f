package lineup

import (
	"math"
	"slices"

	"headstack/programme"
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
	crosstalkHz            = 1000.0
	eraseHz, eraseLevelDB  = 1000.0, 4.0
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
	case RecordAzimuth, RecordTreble, ProofRecordTreble:
		b.part(s, programme.Tone, TrebleHz(s.SpeedCmS), trebleLevelDB)
	case Bias:
		b.part(s, programme.Staircase, TrebleHz(s.SpeedCmS), trebleLevelDB)
	case RecordLevel, RecordAgain, ProofRecordLevel, ProofDistortion:
		b.part(s, programme.Tone, ref, 0)
	case ProofCrosstalk:
		b.part(s, programme.OneTrack, crosstalkHz, 0)
	case NoiseReduction:
		b.part(s, programme.Tone, ref, 0)
		if b.side(s.At) == "play" {
			b.section(s, ref, 0)
		}
	case PlayBass:
		b.part(s, programme.Tone, bassHz, bassLevelDB)
	case ProofErase:
		b.part(s, programme.Erase, eraseHz, eraseLevelDB)
	case ProofNoise:
		b.part(s, programme.Silence, 0, 0)
	case NoiseReductionOn:
		b.part(s, programme.Tone, ref, 0)
		s.Note = "Noise reduction on for this step alone, for recording and play; then off again."
	case Erase, Trap, BiasFrequency:
		s.Note = "Recording, no signal."
	}
}

// part finds the part of a record programme for a tone; where the programme has none,
// the source says what is wanted.
func (b *builder) part(s *Step, kind programme.Kind, hz, db float64) {
	s.Source = Source{Carrier: OwnTape, Section: "a recording of its own", ToneHz: hz, LevelDB: db}
	p := b.programme(s.SpeedCmS)
	if p == nil {
		return
	}
	cost := math.Inf(1)
	for _, part := range p.Parts {
		track := 1
		if len(s.Tracks) > 0 {
			track = s.Tracks[0]
		}
		c, tone, level := 0.0, 0.0, 0.0
		if sines := part.On(track); part.Kind != kind || len(sines) == 0 && kind != programme.Silence {
			continue
		} else if len(sines) > 0 {
			tone, level = sines[0].Hz, sines[0].LevelDB
			c = 1000*math.Abs(math.Log2(tone/hz)) + math.Abs(level-db)
		}
		if c < cost && c < 1000.0/3 {
			cost = c
			s.Source.Programme, s.Source.Section, s.Source.ToneHz, s.Source.LevelDB = p.Name, part.Name, tone, level
		}
	}
}

// programme is the one at hand for a speed, else the standard one with its staircase;
// nil where there can be none.
func (b *builder) programme(speedCmS float64) *programme.Programme {
	for _, p := range b.opt.Programmes {
		if p != nil && math.Abs(p.SpeedCmS/speedCmS-1) <= sameSpeed {
			return p
		}
	}
	if p, ok := b.standard[speedCmS]; ok {
		return p
	}
	p, err := programme.New(programme.Options{Tracks: b.d.Tracks.Count, SpeedCmS: speedCmS, ReferenceHz: b.d.Reference.ToneHz, Kinds: programme.Kinds()})
	if err != nil {
		p = nil // more tracks than a programme has: the sheet says the tone
	}
	b.standard[speedCmS] = p
	return p
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
	// FringingDB is the rise of a section on this head where it was measured, by section
	// name, in place of the computed one.
	FringingDB map[string]Amount `json:"fringing_db,omitempty"`
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
