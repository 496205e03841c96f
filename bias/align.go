package bias

import "slices"

// Align brings staircases that were replayed apart to the reference of the last: each refers
// to the low tone at its own first step, at another bias. The low tone is broad, so that the
// positions at which two of them overlap tell the difference, which is the same for both
// tones. One that shares fewer than two of its steps with the last cannot be tied to it and is
// left out, as is any without a low tone.
func Align(passes ...Staircase) []Staircase {
	if len(passes) < 2 {
		return passes
	}
	last := passes[len(passes)-1]
	var out []Staircase
	for _, s := range passes[:len(passes)-1] {
		off, n := 0.0, 0
		for _, r := range s.Readings {
			if low, ok := last.lowAt(r.Position); ok && r.Low != nil {
				off, n = off+low-r.Low.Value, n+1
			}
		}
		if n < 2 {
			continue
		}
		moved := Staircase{Readings: slices.Clone(s.Readings)}
		for i := range moved.Readings {
			r := &moved.Readings[i]
			r.Treble, r.Low = r.Treble.plus(off/float64(n)), r.Low.plus(off/float64(n))
		}
		out = append(out, moved)
	}
	return append(out, last)
}

// lowAt is the low tone at a position, straight between the steps about it.
func (s Staircase) lowAt(position float64) (db float64, ok bool) {
	var before *Reading
	for i := range s.Readings {
		r := &s.Readings[i]
		if r.Low == nil {
			continue
		}
		switch {
		case r.Position == position:
			return r.Low.Value, true
		case r.Position > position && before == nil:
			return 0, false
		case r.Position > position:
			t := (position - before.Position) / (r.Position - before.Position)
			return before.Low.Value + t*(r.Low.Value-before.Low.Value), true
		}
		before = r
	}
	return 0, false
}

func (l *Level) plus(db float64) *Level {
	if l == nil {
		return nil
	}
	return &Level{Value: l.Value + db, SD: l.SD}
}
