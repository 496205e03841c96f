package trims

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"headstack/machine"
	"headstack/tape"
	"headstack/unit"
)

// Mode is what is heard when the test tape plays.
type Mode string

// The ways to hear a tape.
const (
	PlayHead Mode = "play"
	SyncHead Mode = "sync" // the record head of a recorder that has one
)

// Figures are what one pass showed of the tracks that were heard.
type Figures struct {
	Mode         string  // play, sync or record-play
	SpeedCmS     float64 // nominal
	Case         string
	SpeedPercent float64 // error; NaN of own recordings, whose speed is that of the replay
	Tracks       []TrackFigures
	Delays       []Delay // between every two tracks heard
}

// TrackFigures are those of one track.
type TrackFigures struct {
	Track      int
	LevelDB    float64             // re reference, at the tone of reference
	ResponseDB map[float64]float64 // by tone, re the tone of reference
}

// Delay is how much later track B plays than track A.
type Delay struct {
	A, B    int
	Seconds float64
}

// Of is the figures of a track.
func (f Figures) Of(track int) (TrackFigures, bool) {
	i := slices.IndexFunc(f.Tracks, func(t TrackFigures) bool { return t.Track == track })
	if i < 0 {
		return TrackFigures{}, false
	}
	return f.Tracks[i], true
}

// Errors of readings, r.m.s.
const (
	levelSD = 0.1  // dB
	delaySD = 2e-6 // s
	speedSD = 0.02 // %
)

// Tones are those of the test tape, in hertz; the tone of reference is among them.
func (m *Recorder) Tones() []float64 {
	return []float64{60, 100, 315, 1000, 6300, 10e3, 12.5e3}
}

// fixed is what nobody trims on a track at a speed.
type fixed struct {
	slopeDB  float64 // of replay, at 10 kHz
	recordDB float64 // of recording, at 10 kHz, where no trim sets it
}

func (m *Recorder) drawFixed() {
	m.bias, m.fixed = map[float64]hill{}, map[float64][]fixed{}
	for _, s := range m.Def.Speeds {
		m.bias[s.CmS] = newHill(m.Def, s.CmS)
		for _, t := range m.Tracks() {
			r := m.rng("fixed", s.CmS, "/", t)
			x := fixed{slopeDB: 0.1 * r.NormFloat64(), recordDB: 0.4 * r.NormFloat64()}
			if m.find("record_response", strconv.Itoa(t), s.CmS, nil) != nil {
				x.recordDB = 0
			}
			m.fixed[s.CmS] = append(m.fixed[s.CmS], x)
		}
	}
}

// shelf is the share of a treble trim's range at a tone; 1 at 10 kHz. Turnover 4 kHz,
// invented.
func shelf(hz float64) float64 {
	at := func(f float64) float64 { return f * f / (f*f + 4000*4000) }
	return at(hz) / at(toneHz)
}

// lowShelf is the same of a bass trim; 1 at 60 Hz, turnover 100 Hz, invented.
func lowShelf(hz float64) float64 {
	at := func(f float64) float64 { return 1 / (1 + f*f/1e4) }
	return at(hz) / at(60)
}

// angle is where the gap of the head that plays stands against the test tape, or the
// record head, in arcminutes.
func (m *Recorder) angle(at string, state string) float64 {
	on := map[string]string{"play": "play", "sync": "record-play", "record": "record-play"}[at]
	a := m.find("azimuth", "", 0, func(t *machine.Trim) bool { return t.At == on })
	if a == nil { // one head does both
		a, at = m.find("azimuth", "", 0, func(t *machine.Trim) bool { return t.At == "play" }), "play"
	}
	x := share(state) * m.cases.record
	if at == "play" {
		x = share(state) * m.cases.play
	}
	if a != nil {
		x += a.effect()
	}
	return x + m.state[state].azimuth
}

// caseDB is what a case state adds to a tone of a track.
func (m *Recorder) caseDB(state string, track int, hz float64) float64 {
	r, i := m.state[state], track-1
	x := share(state) * (m.cases.level[i] + m.cases.treble[i]*shelf(hz))
	if r.level != nil {
		x += r.level[i] + r.treble[i]*shelf(hz)
	}
	return x
}

// replay is what a tone of a track gains from flux to output, in dB, at an angle between
// the gaps.
func (m *Recorder) replay(mode Mode, track int, speedCmS, hz, arcmin float64, state string) float64 {
	level, treble := "level", "response"
	if mode == SyncHead {
		level, treble = "sync_level", "sync_response"
	}
	x := m.effect(level, track, speedCmS) + m.effect(treble, track, speedCmS)*shelf(hz)
	if mode == PlayHead {
		x += m.effect("response_low", track, speedCmS) * lowShelf(hz)
		x += m.fixed[speedCmS][track-1].slopeDB * shelf(hz)
	}
	x += m.caseDB(state, track, hz)
	x += 20 * math.Log10(1+m.speedError(speedCmS)/100)
	v := unit.MetrePerSecond(speedCmS / 100)
	width := m.Def.Geometry().Tracks[track-1].Width
	return x - float64(tape.AzimuthLoss(width, arcminutes(arcmin), tape.Wavelength(v, unit.Hertz(hz))))
}

func arcminutes(x float64) unit.Radian { return unit.Radian(x) * tape.Arcminute }

// speedError is that of a speed, in percent.
func (m *Recorder) speedError(speedCmS float64) float64 {
	if a := m.find("speed_error", "", speedCmS, nil); a != nil {
		return a.effect()
	}
	return 0
}

// delay is how much later b plays than a at an angle.
func (m *Recorder) delay(a, b int, speedCmS, arcmin float64) float64 {
	g := m.Def.Geometry().Tracks
	return float64(tape.AzimuthDelay(g[b-1].Centre-g[a-1].Centre, arcminutes(arcmin), unit.MetrePerSecond(speedCmS/100)))
}

// Play plays the good test tape of a speed and gives the figures of the tracks heard. The
// error says what the recorder cannot do.
func (m *Recorder) Play(mode Mode, speedCmS float64, tracks ...int) (Figures, error) {
	if err := m.canHear(mode, speedCmS, tracks); err != nil {
		return Figures{}, err
	}
	m.count.Good++
	m.count.Minutes += PlayMinutes
	f := Figures{Mode: string(mode), SpeedCmS: speedCmS, Case: m.Case()}
	f.SpeedPercent = m.speedError(speedCmS) + m.noise(speedSD, "speed", mode, speedCmS)
	angle := m.angle(string(mode), f.Case)
	m.hear(&f, tracks, angle, func(track int, hz float64) float64 {
		return m.replay(mode, track, speedCmS, hz, angle, f.Case)
	})
	return f, nil
}

// hear takes the readings.
func (m *Recorder) hear(f *Figures, tracks []int, angle float64, db func(track int, hz float64) float64) {
	ref := m.Def.Reference.ToneHz
	for _, t := range tracks {
		x := TrackFigures{Track: t, ResponseDB: map[float64]float64{}}
		x.LevelDB = db(t, ref) + m.noise(levelSD, f.Mode, f.SpeedCmS, "level", t)
		for _, hz := range m.Tones() {
			if hz == ref {
				continue
			}
			x.ResponseDB[hz] = db(t, hz) - db(t, ref) + m.noise(levelSD, f.Mode, f.SpeedCmS, "response", t, hz)
		}
		f.Tracks = append(f.Tracks, x)
	}
	for i, a := range tracks {
		for _, b := range tracks[i+1:] {
			f.Delays = append(f.Delays, Delay{a, b, m.delay(a, b, f.SpeedCmS, angle) + m.noise(delaySD, f.Mode, f.SpeedCmS, "delay", a, b)})
		}
	}
}

func (m *Recorder) canHear(mode Mode, speedCmS float64, tracks []int) error {
	if _, ok := m.Def.Speed(speedCmS); !ok || speedCmS == 0 {
		return fmt.Errorf("trims: machine %s has no speed of %g cm/s", m.Def.ID, speedCmS)
	}
	if mode == SyncHead && m.OneHead() || mode != SyncHead && mode != PlayHead {
		return fmt.Errorf("trims: machine %s does not play as %q", m.Def.ID, mode)
	}
	if len(tracks) == 0 || len(tracks) > m.HeardAtOnce() {
		return fmt.Errorf("trims: tracks %v in one pass; machine %s gives 1 to %d", tracks, m.Def.ID, m.HeardAtOnce())
	}
	for i, t := range tracks {
		if t < 1 || t > m.Def.Tracks.Count || slices.Contains(tracks[:i], t) {
			return fmt.Errorf("trims: tracks %v of machine %s", tracks, m.Def.ID)
		}
	}
	return nil
}
