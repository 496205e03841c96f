package lining

import "headstack/sim/trims"

// Result is how a recorder was lined up.
type Result struct {
	Within bool        // everything is in its limits, case closed
	Misses []Miss      // what is not
	Out    int         // trims that were out by themselves at first
	Count  trims.Count // what it took
	// OutBy and MovesBy are the trims that were out and the moves by what they set.
	OutBy, MovesBy map[string]int
	// Open and Problems are what package lineup says is not done, and does not fit.
	Open, Problems []string
}

func begin(m *trims.Recorder) Result {
	out := Result{OutBy: map[string]int{}, MovesBy: map[string]int{}}
	for _, ref := range OutAtFirst(m.Def, m.Truth()) {
		out.Out++
		out.OutBy[trimOf(m.Def, ref.ID).Sets]++
	}
	return out
}

func (r *Result) end(m *trims.Recorder) {
	r.Misses = Judge(m.Def, m.Truth())
	r.Within, r.Count = len(r.Misses) == 0, m.Count()
	for _, ref := range m.Trims() {
		if n := m.Moved(ref); n > 0 {
			r.MovesBy[trimOf(m.Def, ref.ID).Sets] += n
		}
	}
}
