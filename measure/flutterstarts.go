package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
)

// startsMeasures are those whose figure depends on how record and replay flutter happen
// to meet: on a machine's own recording they add or cancel, from none to twice.
var startsMeasures = []string{"wow_flutter_2sigma", "wow_flutter_quasi_peak", "wow_flutter_rms", "flutter_unweighted_rms"}

// RepeatedStarts compares captures of several starts of one recording, or of several
// recordings and replays of one tone, for the figures of all tracks together. For each
// measure and section with a figure in at least two captures it gives two results:
//
//   - name + "_starts": the mean over the starts with the interval of that mean;
//   - name + "_next_start": the same mean with the interval in which the next single
//     start will read, 95 times in 100.
//
// Standard deviation and worst start are in the method. Both intervals are Student's,
// for starts that are independent and scatter about normally; the second is
// mean ± t·s·√(1 + 1/n).
func RepeatedStarts(reports []Report) []Result {
	var all []Result
	for _, r := range reports {
		all = append(all, r.Measures...)
	}
	return repeatedStarts(all)
}

// starts is RepeatedStarts over the captures of one call.
func (s *session) starts() []Result {
	if len(s.takes) < 2 {
		return nil
	}
	var all []Result
	for _, t := range s.takes {
		st := t.speed
		if st == nil || st.figures == nil {
			continue
		}
		all = append(all, s.speedFigures(t, st.figures, 0, 0, s.speedWarnings(t, st), st.whyNot(t, -1))...)
	}
	return repeatedStarts(all)
}

func repeatedStarts(all []Result) []Result {
	var out []Result
	for _, name := range startsMeasures {
		var sections []string
		bySection := map[string][]Result{}
		for _, r := range all {
			if r.Name != name || r.Track != 0 || r.Refused != "" {
				continue
			}
			if bySection[r.Section] == nil {
				sections = append(sections, r.Section)
			}
			bySection[r.Section] = append(bySection[r.Section], r)
		}
		for _, sec := range sections {
			if rs := bySection[sec]; len(rs) > 1 {
				out = append(out, overStarts(name, rs)...)
			}
		}
	}
	return out
}

// overStarts are the two results of one measure in one section.
func overStarts(name string, rs []Result) []Result {
	n := float64(len(rs))
	mean, worst := 0.0, 0.0
	for _, r := range rs {
		mean += r.Value / n
		worst = math.Max(worst, r.Value)
	}
	ss := 0.0
	for _, r := range rs {
		ss += (r.Value - mean) * (r.Value - mean)
	}
	sd := math.Sqrt(ss / (n - 1))
	base := rs[0]
	base.Conditions.Capture, base.Conditions.Channel = "", 0
	base.Warnings = nil
	if len(rs) < 5 {
		base.Warnings = []string{fmt.Sprintf("only %d starts", len(rs))}
	}
	text := fmt.Sprintf("mean over %d starts, standard deviation %.2g %%, worst %.3g %%; each: %s", len(rs), sd, worst, base.Method)
	result := func(suffix, what string, half float64) Result {
		r := base
		r.Name, r.Method = name+suffix, what+text
		r.Value, r.Lo, r.Hi = mean, math.Max(0, mean-half), mean+half
		return r
	}
	t := dsp.Student95(n - 1)
	return []Result{
		result("_starts", "", t*sd/math.Sqrt(n)),
		result("_next_start", "interval for the next single start; ", t*sd*math.Sqrt(1+1/n)),
	}
}
