package live

import (
	"fmt"
	"math"
	"time"
)

// clock counts frames against the clock of the computer. What a device delivers comes late
// now and then, never early: so the lead of frames over time is highest where nothing was
// late, and a highest lead that has sunk for good means that frames are missing. A converter's
// crystal is off by up to some 100 parts in a million; over the 20 s that are looked at, that is 2 ms.
type clock struct {
	rate   float64
	first  time.Time
	base   int64           // frames before the first call
	second int             // that the newest entry is of
	lead   [clockS]float64 // highest lead in each second, newest last, seconds
	seen   int             // entries that are filled
}

const (
	clockS      = 20   // seconds that are looked at
	clockLate   = 3    // of them, the newest in which something must have been in time
	clockMissed = 0.02 // seconds of lead lost that are said
)

func newClock(rate int) *clock { return &clock{rate: float64(rate)} }

// came notes that the capture has so many frames at a time.
func (c *clock) came(at time.Time, frames int64) (v Void, missed bool) {
	if c.first.IsZero() {
		c.first, c.base = at, frames
	}
	t := at.Sub(c.first).Seconds()
	lead := float64(frames-c.base)/c.rate - t
	if s := int(t); c.seen == 0 || s > c.second {
		v, missed = c.judge(frames)
		copy(c.lead[:], c.lead[1:])
		c.lead[clockS-1] = math.Inf(-1)
		c.second, c.seen = s, min(c.seen+1, clockS)
	}
	c.lead[clockS-1] = max(c.lead[clockS-1], lead)
	return v, missed
}

// judge compares the newest seconds with those before.
func (c *clock) judge(frames int64) (Void, bool) {
	if c.seen < 2*clockLate {
		return Void{}, false
	}
	before, now := math.Inf(-1), math.Inf(-1)
	for i := clockS - c.seen; i < clockS; i++ {
		if i < clockS-clockLate {
			before = max(before, c.lead[i])
		} else {
			now = max(now, c.lead[i])
		}
	}
	lost := before - now
	if lost < clockMissed {
		return Void{}, false
	}
	at := float64(frames) / c.rate
	from := max(0, at-clockLate-1)
	// Somewhere in the seconds since anything was in time.
	for i := clockS - clockLate - 1; i >= clockS-c.seen && c.lead[i] < before-clockMissed/2; i-- {
		from = max(0, from-1)
	}
	*c = clock{rate: c.rate}
	n := int64(math.Round(lost * c.rate))
	return Void{FromS: from, ToS: at, Frames: n, Reason: fmt.Sprintf("about %d frames (%.0f ms) are missing by the clock", n, 1000*lost)}, true
}
