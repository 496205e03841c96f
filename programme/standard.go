package programme

import (
	"errors"
	"fmt"
	"slices"
)

// Options say what standard programme to make.
type Options struct {
	// Name of the programme; empty: made from the rest.
	Name string
	// Tracks of the machine, 1 to [MaxTracks].
	Tracks int
	// SpeedCmS is the nominal tape speed in cm/s.
	SpeedCmS float64
	// TracksPerRound is how many tracks the machine records at once; 0: all. The
	// rounds take the tracks in order.
	TracksPerRound int
	// Rounds lists the tracks of each round itself, such as one of each record
	// group; it takes the place of TracksPerRound.
	Rounds [][]int
	// ReferenceHz is the reference tone; 0: 1 kHz at 19 cm/s and above, else 315 Hz.
	ReferenceHz float64
	// Kinds are the kinds of parts wanted. Empty: all but [Staircase], during which a
	// person turns a trim. The marks and the reference tone are always there; [Tone]
	// stands for the treble, low and speed tones.
	Kinds []Kind
	// StaircaseSteps is the number of trim settings in the staircase; 0: 8.
	StaircaseSteps int
	// StaircaseStepSeconds is the time for each; 0: 4 s.
	StaircaseStepSeconds float64
	// StaircaseLow adds the reference tone to the treble of the staircase, as far down.
	StaircaseLow bool
	// StaircaseThird adds a second staircase, of the reference tone by itself at 0 dB, so
	// that distortion is known at each setting too. It has [StaircaseBackSteps] more.
	StaircaseThird bool
}

// Kinds lists all kinds of parts in the order of a standard programme.
func Kinds() []Kind {
	return []Kind{Tone, Identity, Comb, Step, TwoTone, OneTrack, Silence, Companding, Staircase, Erase}
}

// ErrOptions is the error of New for options from which no programme can be made.
var ErrOptions = errors.New("no such programme")

// The standard programme. Levels are dB re reference level, frequencies Hz, times s.
// All are common practice, no source, except where said.
const (
	fileReferenceDBFS = -12.0 // the steps up to +10 dB leave 2 dB

	markDB, markSeconds               = -10.0, 3.0
	startMarkHz, endMarkHz            = 355.0, 3550.0 // marks stand half-way between
	firstMarkHz, secondMarkHz         = 1780.0, 710.0 // third-octaves: no comb has them
	thirdMarkHz                       = 2240.0
	identitySeconds                   = 4.0
	referenceSeconds                  = 8.0
	toneSeconds                       = 4.0
	trebleDB, lowDB                   = -20.0, -10.0
	combSeconds                       = 8.0
	speedHz, speedDB, speedSeconds    = 3150.0, -10.0, 30.0 // tone of IEC 60386
	stepSeconds, trebleStepSeconds    = 2.0, 1.5
	twoToneLowHz, twoToneHighHz       = 1000.0, 1270.0
	twoToneDB, twoToneSeconds         = -6.0, 4.0
	oneTrackHz                        = 1000.0
	silenceSeconds                    = 12.0
	compandingSeconds                 = 1.5
	staircaseSteps, staircaseEach     = 8, 4.0
	eraseHz, eraseDB, eraseSeconds    = 1000.0, 4.0, 16.0
	fastSpeed                         = 15.0   // cm/s, between cassette's 9.5 and open reel's 19
	shortestWave                      = 3.5e-6 // m: 13.6 kHz at 4.76 cm/s
	referenceSwitchSpeed              = 19.0
	referenceFastHz, referenceSlowHz  = 1000.0, 315.0
	staircaseFastHz, staircaseSlowHz  = 10000.0, 6300.0
	slowestForTenKHz, slowSpeedLimit  = 3.5e-6 * 10000 * 100, 9.0
	highestLevelDB, highestTrebleDB   = 10.0, 6.0
	lowestLevelDB, lowestTrebleStepDB = -10.0, -20.0
)

// New makes the standard programme: start mark, reference, low and treble tones,
// identity, level steps, comb, two tones, treble steps, each track by itself, silence,
// companding steps, staircase, speed tone, end mark, erase part, with marks between. The
// error is [ErrOptions].
func New(o Options) (*Programme, error) {
	p, err := o.frame()
	if err != nil {
		return nil, err
	}
	b := builder{p: p, o: o}
	b.parts()
	if err := p.Check(); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrOptions, err)
	}
	return p, nil
}

// frame is the programme without its parts.
func (o Options) frame() (*Programme, error) {
	p := &Programme{Format: 1, Name: o.Name, Tracks: o.Tracks, SpeedCmS: o.SpeedCmS, ReferenceHz: o.ReferenceHz, ReferenceDBFS: fileReferenceDBFS}
	if p.Tracks < 1 || p.Tracks > MaxTracks {
		return nil, fmt.Errorf("%w: %d tracks, want 1 to %d", ErrOptions, p.Tracks, MaxTracks)
	}
	if !(p.SpeedCmS >= minSpeedCmS && p.SpeedCmS <= maxSpeedCmS) {
		return nil, fmt.Errorf("%w: %g cm/s, want %d to %d", ErrOptions, p.SpeedCmS, minSpeedCmS, maxSpeedCmS)
	}
	for _, k := range o.Kinds {
		if !slices.Contains(Kinds(), k) {
			return nil, fmt.Errorf("%w: parts of kind %q, want some of %v", ErrOptions, k, Kinds())
		}
	}
	if p.ReferenceHz == 0 {
		p.ReferenceHz = referenceSlowHz
		if p.SpeedCmS >= referenceSwitchSpeed {
			p.ReferenceHz = referenceFastHz
		}
	}
	rounds, err := o.rounds()
	if err != nil {
		return nil, err
	}
	p.Rounds = rounds
	if p.Name == "" {
		p.Name = fmt.Sprintf("%d tracks, %g cm/s, reference %s", p.Tracks, p.SpeedCmS, hertz(p.ReferenceHz))
		if len(rounds) > 1 {
			p.Name += fmt.Sprintf(", %d rounds", len(rounds))
		}
	}
	return p, nil
}

func (o Options) rounds() ([][]int, error) {
	if o.Rounds != nil {
		rounds := make([][]int, len(o.Rounds))
		for i, r := range o.Rounds {
			rounds[i] = slices.Clone(r)
		}
		return rounds, nil
	}
	each := o.TracksPerRound
	if each == 0 {
		each = o.Tracks
	}
	if each < 1 || each > o.Tracks {
		return nil, fmt.Errorf("%w: %d tracks at once of %d", ErrOptions, each, o.Tracks)
	}
	var rounds [][]int
	for t := 1; t <= o.Tracks; t += each {
		var r []int
		for k := t; k < min(t+each, o.Tracks+1); k++ {
			r = append(r, k)
		}
		rounds = append(rounds, r)
	}
	return rounds, nil
}

// builder adds parts in order.
type builder struct {
	p *Programme
	o Options
}

func (b *builder) wants(k Kind) bool {
	if len(b.o.Kinds) == 0 {
		return k != Staircase
	}
	return slices.Contains(b.o.Kinds, k)
}

// plays reports whether the tape can hold a frequency at its speed.
func (b *builder) plays(hz float64) bool { return b.p.SpeedCmS/100/hz >= shortestWave*0.999 }

func (b *builder) add(parts ...Part) { b.p.Parts = append(b.p.Parts, parts...) }

func (b *builder) tone(k Kind, name string, hz, db, seconds float64) {
	b.add(Part{Name: name, Kind: k, Seconds: seconds, All: []Sine{{Hz: hz, LevelDB: db}}})
}

// parts are placed so that tones by which the programme is recognised, one after the
// other, lie all along: at the beginning, after the one-track parts and at the end; see
// anchors. The reference must not be followed by its own level steps with no other such
// tone between. Nothing follows the erase part, since who erases half of it may
// overrun.
func (b *builder) parts() {
	b.tone(Tone, "start mark", startMarkHz, markDB, markSeconds)
	b.tone(Tone, "reference", b.p.ReferenceHz, 0, referenceSeconds)
	if b.wants(Tone) {
		b.responses(125, 63)
		if b.p.SpeedCmS >= fastSpeed {
			b.responses(40)
		}
		b.responses(6300, 10000, 12500, 16000)
	}
	if b.wants(Identity) {
		b.add(Part{Name: "identity", Kind: Identity, Seconds: identitySeconds, Each: identityTones(b.p.Tracks)})
	}
	if b.wants(Step) {
		for db := lowestLevelDB; db <= highestLevelDB; db += 2 {
			b.tone(Step, fmt.Sprintf("level step %s", decibels(db)), b.p.ReferenceHz, db, stepSeconds)
		}
	}
	b.tone(Tone, "first mark", firstMarkHz, markDB, markSeconds)
	if b.wants(Comb) {
		b.add(Part{Name: "comb", Kind: Comb, Seconds: combSeconds, All: b.comb()})
	}
	if b.wants(TwoTone) {
		b.add(Part{Name: "two tones", Kind: TwoTone, Seconds: twoToneSeconds, All: []Sine{{Hz: twoToneLowHz, LevelDB: twoToneDB}, {Hz: twoToneHighHz, LevelDB: twoToneDB}}})
	}
	if b.wants(Step) && b.plays(10000) {
		for db := lowestTrebleStepDB; db <= highestTrebleDB; db += 2 {
			b.tone(Step, fmt.Sprintf("10 kHz step %s", decibels(db)), 10000, db, trebleStepSeconds)
		}
	}
	b.second()
}

// second are the parts from the one-track parts on.
func (b *builder) second() {
	if b.wants(OneTrack) {
		b.oneTrack()
	}
	b.tone(Tone, "second mark", secondMarkHz, markDB, markSeconds)
	b.tone(Tone, "third mark", thirdMarkHz, markDB, markSeconds)
	if b.wants(Silence) {
		b.add(Part{Name: "silence", Kind: Silence, Seconds: silenceSeconds})
	}
	if b.wants(Companding) {
		b.companding()
	}
	if b.wants(Staircase) {
		b.staircase()
	}
	if b.wants(Tone) {
		b.tone(Tone, "speed tone", speedHz, speedDB, speedSeconds)
	}
	b.tone(Tone, "end mark", endMarkHz, markDB, markSeconds)
	if b.wants(Erase) {
		b.tone(Erase, "erase", eraseHz, eraseDB, eraseSeconds)
	}
}

// responses adds single tones that the tape can hold.
func (b *builder) responses(hz ...float64) {
	for _, f := range hz {
		db := trebleDB
		if f < referenceSlowHz {
			db = lowDB
		}
		if b.plays(f) {
			b.tone(Tone, hertz(f), f, db, toneSeconds)
		}
	}
}

// oneTrackSeconds is long enough to read crosstalk of -80 dB within 1 dB beside noise
// 50 dB down; with many tracks a shorter part has to do, and the intervals say so.
func oneTrackSeconds(tracks int) float64 {
	if tracks <= 8 {
		return 8
	}
	return 3
}

// oneTrack gives each track a part in which it alone carries a tone, and a treble tone
// that does not saturate.
func (b *builder) oneTrack() {
	treble := -10.0
	if b.p.SpeedCmS < slowSpeedLimit {
		treble = trebleDB
	}
	on := []Sine{{Hz: oneTrackHz}}
	if b.plays(10000) {
		on = append(on, Sine{Hz: 10000, LevelDB: treble})
	}
	for t := 1; t <= b.p.Tracks; t++ {
		each := make([][]Sine, t) // nothing on the tracks before
		each[t-1] = slices.Clone(on)
		b.add(Part{Name: fmt.Sprintf("track %d alone", t), Kind: OneTrack, Seconds: oneTrackSeconds(b.p.Tracks), Each: each})
	}
}

// companding gives one part for each step: -10 to -50 dB at 1 kHz, then at 10 kHz.
func (b *builder) companding() {
	for _, hz := range []float64{1000, 10000} {
		if !b.plays(hz) {
			continue
		}
		for db := -10.0; db >= -50; db -= 10 {
			b.add(Part{
				Name: fmt.Sprintf("companding %s %s", hertz(hz), decibels(db)), Kind: Companding,
				Seconds: compandingSeconds, StepSeconds: compandingSeconds, All: []Sine{{Hz: hz, LevelDB: db}},
			})
		}
	}
}

func (b *builder) staircase() {
	steps, each, hz := staircaseSteps, staircaseEach, staircaseFastHz
	if b.o.StaircaseSteps > 0 {
		steps = b.o.StaircaseSteps
	}
	if b.o.StaircaseStepSeconds > 0 {
		each = b.o.StaircaseStepSeconds
	}
	if b.p.SpeedCmS < slowSpeedLimit {
		hz = staircaseSlowHz
	}
	on := []Sine{{Hz: hz, LevelDB: trebleDB}}
	if b.o.StaircaseLow {
		on = append(on, Sine{Hz: b.p.ReferenceHz, LevelDB: trebleDB})
	}
	b.add(Part{Name: "staircase", Kind: Staircase, Seconds: float64(steps) * each, StepSeconds: each, All: on})
	if b.o.StaircaseThird {
		b.add(Part{Name: "staircase at 0 dB", Kind: Staircase, Seconds: float64(steps+StaircaseBackSteps) * each, StepSeconds: each, All: []Sine{{Hz: b.p.ReferenceHz}}})
	}
}
