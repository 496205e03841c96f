package sim

import (
	"math"

	"headstack/programme"
)

// limits adds the level of 3 % and that of saturation.
func (j *judge) limits(c, label int) {
	track := j.rec.played(c)
	t := j.rec.Tracks[track-1]
	p := j.rec.Programme
	if t.NoiseReduction != NROff {
		return // levels then mean nothing
	}
	if t.MOLDB != nil {
		if in, ok := j.threePercentAt(c, track); ok {
			m := TrueMeasure{Track: label, ToneHz: p.ReferenceHz, Unit: "dB"}
			m.Name, m.Value, m.Method = "mol_3pct", j.outputAt(track, p.ReferenceHz, in)-j.referenceDBFS(c), "replayed level at 3 % third harmonic re the replayed reference part of the same track, without leaks"
			j.add(m)
			m.Name, m.Value, m.Method = "mol_3pct_recorded", in, "recorded level at 3 % third harmonic re 0 dB of the programme"
			j.add(m)
		}
	}
	if t.SaturationDB != nil {
		top := *t.SaturationDB + j.gainDB(track, 10000)
		m := TrueMeasure{Name: "sol", Track: label, ToneHz: 10000, Value: top - j.referenceDBFS(c), Unit: "dB"}
		m.Method = "largest replayed level at 10 kHz re the replayed reference part of the same track"
		j.add(m)
	}
}

// gainDB is the level of replay of a frequency, for 0 dB on tape.
func (j *judge) gainDB(track int, hz float64) float64 {
	g := j.rec.replay(track, hz)
	return 20 * math.Log10(math.Hypot(real(g), imag(g)))
}

// tape is the flux of a tone recorded at a level.
func (j *judge) tape(track int, hz, db float64) []component {
	return j.rec.Tracks[track-1].flux([]programme.Sine{{Hz: hz, LevelDB: db}})
}

// outputAt is the replayed level of a tone recorded at a level, dBFS.
func (j *judge) outputAt(track int, hz, db float64) float64 {
	return 20*math.Log10(amplitude(j.tape(track, hz, db), hz)) + j.gainDB(track, hz)
}

// threePercentAt is the recorded level at which the replayed third harmonic is 3 %.
func (j *judge) threePercentAt(c, track int) (db float64, ok bool) {
	hz := j.rec.Programme.ReferenceHz
	if hz >= TrebleHz || j.rec.played(c) != track {
		return 0, false
	}
	weight := j.gainDB(track, 3*hz) - j.gainDB(track, hz)
	part := func(db float64) float64 {
		list := j.tape(track, hz, db)
		return amplitude(list, 3*hz) / amplitude(list, hz) * math.Pow(10, weight/20)
	}
	lo, hi := -40.0, 40.0
	// Rising up to where the cubic turns.
	a, _ := j.rec.Tracks[track-1].cubic()
	hi = min(hi, 20*math.Log10(math.Sqrt(4/9.0/a))-j.rec.Tracks[track-1].RecordGainDB)
	if part(hi) < 0.03 || part(lo) > 0.03 {
		return 0, false
	}
	for range 80 {
		if mid := (lo + hi) / 2; part(mid) < 0.03 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi, true
}

// crosstalk lists each pair of labelled tracks, as the level of a one-track part's tone
// on the other channel less that on its own, each re its own reference part.
func (j *judge) crosstalk() {
	if len(j.rec.RecordCables) > 0 || len(j.rec.ReplayCables) > 0 {
		return // which track a channel carries is then the question
	}
	channels := j.rec.channels()
	for i, part := range j.rec.Programme.Parts {
		if part.Kind != programme.OneTrack {
			continue
		}
		from := -1
		for c, t := range channels {
			if len(part.On(t)) > 0 {
				from = c
			}
		}
		if from < 0 {
			continue
		}
		for c, t := range channels {
			if c == from {
				continue
			}
			k, ok := j.first(from, i)
			if !ok {
				continue
			}
			for _, s := range part.On(channels[from]) {
				ratio := amplitude(j.heard[k][c], s.Hz) / amplitude(j.heard[k][from], s.Hz)
				db := 20*math.Log10(ratio) - j.referenceDBFS(c) + j.referenceDBFS(from)
				j.add(TrueMeasure{
					Name: "crosstalk", Track: channels[from], TrackB: t, Section: part.Name, ToneHz: s.Hz, Value: db, Unit: "dB",
					Method: "tone of track in track_b re that in track, each re its own reference part",
				})
			}
		}
	}
}
