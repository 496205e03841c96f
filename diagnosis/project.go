package diagnosis

import "math"

// scalar projects effects on one figure: level plus shares of treble and bass,
// put in the place of the level. The bins of one fault move together, so their
// spreads add.
func scalar(treble, bass float64) func(effect) effect {
	return func(e effect) effect {
		out := effect{dead: e.dead, set: e.set, presence: e.presence}
		out.db[qLevel] = e.db[qLevel] + treble*e.db[qTreble] + bass*e.db[qBass]
		out.sd[qLevel] = e.sd[qLevel] + treble*e.sd[qTreble] + bass*e.sd[qBass]
		if e.dead { // what a meter shows of it is its hiss
			out.db[qNoise], out.sd[qNoise] = e.db[qNoise], e.sd[qNoise]
		}
		return out
	}
}

// only projects on a share of one quantity other than the level: a response
// relative to the reference tone.
func only(q int, share float64) func(effect) effect {
	return func(e effect) effect {
		out := effect{dead: e.dead, presence: e.presence}
		out.db[qLevel], out.sd[qLevel] = share*e.db[q], share*e.sd[q]
		return out
	}
}

// noiseOf projects on the noise relative to the track's own level: it rises
// with a noisy stage, and by an unknown part of what the signal loses.
func noiseOf(e effect) effect {
	out := effect{presence: e.presence}
	lost := math.Max(0, -e.db[qLevel])
	if e.dead {
		lost = 30
	}
	out.db[qLevel] = e.db[qNoise] + lost/2
	out.sd[qLevel] = math.Hypot(e.sd[qNoise], lost/3)
	return out
}
