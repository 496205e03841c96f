package trims

// Truth is what is true of a recorder with its case closed, without any error of reading,
// as the case closed the last time.
type Truth struct {
	Speeds []SpeedTruth
	Trims  []TrimTruth
}

// SpeedTruth is one tape speed.
type SpeedTruth struct {
	CmS          float64
	SpeedPercent float64
	PlayArcmin   float64 // of the play head re the test tape
	RecordArcmin float64 // of the record head re the test tape
	Tracks       []TrackTruth
}

// TrackTruth is one track at a speed; figures as in [TrackFigures].
type TrackTruth struct {
	Play, Sync, Own TrackFigures // Sync is empty on a recorder with one head; Own at -20 dB
	BiasDB          float64      // re the right one
	OverbiasDB      float64      // fall at 10 kHz behind the peak, negative before it
}

// TrimTruth is one trim.
type TrimTruth struct {
	Ref     Ref
	Sets    string
	OffBy   float64 // of itself, in Unit: what the other trims do to the same figure is not in it
	Unit    string
	PerTurn float64 // what a turn does from here; 1 of a tuned core
}

// Truth is what is true now.
func (m *Recorder) Truth() Truth {
	var out Truth
	for _, s := range m.Def.Speeds {
		out.Speeds = append(out.Speeds, m.speedTruth(s.CmS))
	}
	for _, ref := range m.refs {
		a := m.at[ref]
		out.Trims = append(out.Trims, TrimTruth{ref, a.trim.Sets, a.effect(), Unit(a.trim.Sets), a.slope()})
	}
	return out
}

func (m *Recorder) speedTruth(v float64) SpeedTruth {
	const state = "closed"
	play, own := m.angle("play", state), m.ownAngle(state)
	out := SpeedTruth{CmS: v, SpeedPercent: m.speedError(v), PlayArcmin: play, RecordArcmin: m.angle("record", state)}
	for _, t := range m.Tracks() {
		b := m.biasDB(t, v)
		x := TrackTruth{BiasDB: b, OverbiasDB: m.bias[v].overbias(b)}
		x.Play = m.trueFigures(t, func(hz float64) float64 { return m.replay(PlayHead, t, v, hz, play, state) })
		x.Own = m.trueFigures(t, func(hz float64) float64 { return m.own(t, v, hz, -20, own, state) })
		if !m.OneHead() {
			x.Sync = m.trueFigures(t, func(hz float64) float64 { return m.replay(SyncHead, t, v, hz, out.RecordArcmin, state) })
		}
		out.Tracks = append(out.Tracks, x)
	}
	return out
}

func (m *Recorder) trueFigures(track int, db func(hz float64) float64) TrackFigures {
	ref := m.Def.Reference.ToneHz
	x := TrackFigures{Track: track, LevelDB: db(ref), ResponseDB: map[float64]float64{}}
	for _, hz := range m.Tones() {
		if hz != ref {
			x.ResponseDB[hz] = db(hz) - db(ref)
		}
	}
	return x
}
