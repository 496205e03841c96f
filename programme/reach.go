package programme

import "math"

const (
	// plainDB is the lowest level of a part that tells by itself whether anything is
	// recorded, and nearDB how far it may be off: dull tracks and noise reduction left
	// on, but neither crosstalk nor tape noise. Common practice, no source.
	plainDB, nearDB = -20.0, 20.0
	// plainHz is the highest tone that any machine that works at all replays.
	plainHz = 8000.0
)

// reach gives the first and last part that may be taken as recorded. Between the
// outermost tones heard everything is. Beyond, the recording may have been begun late
// or stopped early: parts count until one that must be heard is not.
func (l *locator) reach() (first, last int) {
	lowest, highest := l.heard[0].part, l.heard[len(l.heard)-1].part
	channel, gain := l.loudest()
	last = highest
	for i := highest + 1; i < len(l.p.Parts); i++ {
		if l.plain(i) && !l.recorded(i, channel, gain) {
			return l.before(lowest, channel, gain), last
		}
		last = i
	}
	return l.before(lowest, channel, gain), last
}

// before goes back from the first tone heard.
func (l *locator) before(lowest, channel int, gain float64) (first int) {
	first = lowest
	for i := lowest - 1; i >= 0; i-- {
		if l.plain(i) && !l.recorded(i, channel, gain) {
			return first
		}
		first = i
	}
	return first
}

// loudest is the channel on which the tones heard play loudest, and its level for a
// recorded 0 dB.
func (l *locator) loudest() (channel int, gain float64) {
	gain = math.Inf(-1)
	for c := range l.heardBy.use {
		var list []float64
		for _, a := range l.heard {
			if db, ok := l.heardBy.level(c, a.start+hopSeconds, a.end-hopSeconds); ok {
				list = append(list, db-l.p.Parts[a.part].All[0].LevelDB)
			}
		}
		if len(list) == 0 {
			continue
		}
		if mid := median(list); mid > gain {
			channel, gain = c, mid
		}
	}
	return channel, gain
}

// plain reports whether part i must be heard on every track if it was recorded, and
// enough of it is in the capture.
func (l *locator) plain(i int) bool {
	part := l.p.Parts[i]
	low := false
	for _, s := range part.All {
		low = low || s.LevelDB >= plainDB && s.Hz <= plainHz
	}
	from, to := l.span(i)
	return low && to-from > 4*hopSeconds
}

// span is the time of part i in the capture.
func (l *locator) span(i int) (from, to float64) {
	from = l.when(l.p.Start(i))
	to = l.when(l.p.Start(i) + l.p.Parts[i].Seconds)
	return max(0, from), min(l.seconds, to)
}

// recorded reports whether the level of a part is about what was recorded. An erase
// part counts by its first half.
func (l *locator) recorded(i, channel int, gain float64) bool {
	part := l.p.Parts[i]
	power := 0.0
	for _, s := range part.All {
		power += math.Pow(10, s.LevelDB/10)
	}
	from, to := l.span(i)
	if part.Kind == Erase {
		to = min(to, l.when(l.p.Start(i)+0.4*part.Seconds))
	}
	db, ok := l.heardBy.level(channel, from+hopSeconds, to-hopSeconds)
	return !ok || math.Abs(db-gain-10*math.Log10(power)) < nearDB
}
