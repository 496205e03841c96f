package lining

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
)

// Interval is an estimate with its 95 % interval.
type Interval struct{ Value, Low, High float64 }

func (x Interval) text(decimals int) string {
	return fmt.Sprintf("%.*f (%.*f to %.*f)", decimals, x.Value, decimals, x.Low, decimals, x.High)
}

// with are the recorders that were lined up by all of some policies.
func (r *Report) with(policies ...string) []Row {
	var out []Row
	for _, row := range r.Rows {
		if !slices.ContainsFunc(policies, func(p string) bool { _, ok := row.Results[p]; return !ok }) {
			out = append(out, row)
		}
	}
	return out
}

// Within is the share of recorders that end with everything in its limits, with its 95 %
// score interval (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927).
func (r *Report) Within(policy string) Interval {
	rows := r.with(policy)
	k, n := 0.0, float64(len(rows))
	for _, row := range rows {
		if row.Results[policy].Within {
			k++
		}
	}
	if n == 0 {
		return Interval{math.NaN(), 0, 1}
	}
	const z = 1.959964
	p := k / n
	mid := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return Interval{p, max(0, mid-half), min(1, mid+half)}
}

// Mean is the mean of a figure over the recorders.
func (r *Report) Mean(policy string, of func(Result) float64) Interval {
	return r.Ratio(policy, of, policy, func(Result) float64 { return 1 })
}

// resamples of the bootstrap: the ends of an interval then scatter by about 3 % of its
// width.
const resamples = 4000

// Ratio is the sum of a figure of one policy over the sum of another's, recorder by
// recorder the same, with the 95 % percentile interval over resamples of recorders
// (B. Efron, R. J. Tibshirani, An Introduction to the Bootstrap, 1993, ch. 13).
func (r *Report) Ratio(policy string, of func(Result) float64, against string, by func(Result) float64) Interval {
	rows := r.with(policy, against)
	n := len(rows)
	ratio := func(pick func(i int) int) float64 {
		a, b := 0.0, 0.0
		for i := range n {
			row := rows[pick(i)]
			a, b = a+of(row.Results[policy]), b+by(row.Results[against])
		}
		return a / b
	}
	out := Interval{Value: ratio(func(i int) int { return i }), Low: math.Inf(-1), High: math.Inf(1)}
	if n < 2 {
		return out
	}
	src := rand.New(rand.NewPCG(1, uint64(n)))
	values := make([]float64, resamples)
	for k := range values {
		values[k] = ratio(func(int) int { return src.IntN(n) })
	}
	slices.Sort(values)
	out.Low, out.High = values[len(values)*25/1000], values[len(values)*975/1000]
	return out
}

// The figures of a result that are compared.
func moves(r Result) float64   { return float64(r.Count.Moves) }
func out(r Result) float64     { return float64(r.Out) }
func passes(r Result) float64  { return float64(r.Count.Good + r.Count.Own) }
func good(r Result) float64    { return float64(r.Count.Good) }
func own(r Result) float64     { return float64(r.Count.Own) }
func minutes(r Result) float64 { return r.Count.Minutes }

// Markdown is the report as tables.
func (r *Report) Markdown() string {
	var b strings.Builder
	last := r.FirstSeed + uint64(max(0, len(r.Rows)-1))
	fmt.Fprintf(&b, "%s, %d recorders (seeds %d to %d); means with 95 %% intervals.\n\n", r.Machine, len(r.Rows), r.FirstSeed, last)
	b.WriteString("| | all in tolerance, case closed, % | trim moves | moves per trim that was out | passes of the good tape | passes of own tape | passes against plain | minutes |\n|---|---|---|---|---|---|---|---|\n")
	for _, p := range r.Policies {
		w := r.Within(p)
		against := "1"
		if p != "plain" && slices.Contains(r.Policies, "plain") {
			against = r.Ratio(p, passes, "plain", passes).text(2)
		}
		name := p
		if n := len(r.with(p)); n < len(r.Rows) {
			name = fmt.Sprintf("%s (%d of them)", p, n)
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | %s | %s | %s |\n", name, Interval{100 * w.Value, 100 * w.Low, 100 * w.High}.text(0),
			r.Mean(p, moves).text(0), r.Ratio(p, moves, p, out).text(2), r.Mean(p, good).text(1), r.Mean(p, own).text(1), against, r.Mean(p, minutes).text(0))
	}
	b.WriteString("\n" + r.byMeasure())
	return b.String()
}

// byMeasure are the moves of the first policy by what a trim sets.
func (r *Report) byMeasure() string {
	if len(r.Policies) == 0 {
		return ""
	}
	p := r.Policies[0]
	n, m := map[string]int{}, map[string]int{}
	missed := map[string]int{}
	for _, row := range r.Rows {
		x := row.Results[p]
		for k, v := range x.OutBy {
			n[k] += v
		}
		for k, v := range x.MovesBy {
			m[k] += v
		}
		for _, miss := range x.Misses {
			missed[miss.What]++
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "By what a trim sets, %s:\n\n| sets | out at first | moves | moves per trim that was out |\n|---|---|---|---|\n", p)
	for _, k := range slices.Sorted(maps.Keys(m)) {
		per := "none was out"
		if n[k] > 0 {
			per = fmt.Sprintf("%.2f", float64(m[k])/float64(n[k]))
		}
		fmt.Fprintf(&b, "| %s | %d | %d | %s |\n", k, n[k], m[k], per)
	}
	if len(missed) > 0 {
		b.WriteString("\nOut at the end:")
		keys := slices.SortedFunc(maps.Keys(missed), func(x, y string) int { return cmp.Or(cmp.Compare(missed[y], missed[x]), cmp.Compare(x, y)) })
		for i, k := range keys {
			if i == 8 {
				fmt.Fprintf(&b, " and %d more kinds", len(keys)-i)
				break
			}
			fmt.Fprintf(&b, " %s %d times;", k, missed[k])
		}
		b.WriteString("\n")
	}
	return b.String()
}
