package trial

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"headstack/sim"
)

// Outcome is how the work on a recorder ended.
type Outcome string

// The outcomes.
const (
	Correct    Outcome = "correct"    // every fault that shows is gone
	Wrong      Outcome = "wrong"      // it works and a fault that shows is still there
	Unfinished Outcome = "unfinished" // given up at the limit of actions or minutes
)

// Result is one policy on one recorder.
type Result struct {
	Outcome  Outcome   `json:"outcome"`
	Minutes  float64   `json:"minutes"` // the intake included
	Actions  int       `json:"actions"`
	Checks   int       `json:"checks"`
	Readings int       `json:"readings"`
	Openings int       `json:"openings"`
	Repairs  int       `json:"repairs"`
	Needless int       `json:"needless"` // repairs of stages that were good
	Slips    []Slipped `json:"slips,omitempty"`
	Stated   Stated    `json:"stated"`
	// Thinking is how long the advisor took in all, Slowest its slowest answer. They are
	// no part of the report, which is the same on every computer.
	Thinking, Slowest time.Duration `json:"-"`
}

// charged are the minutes, those of who gave up as the limit: giving up early is not
// quick.
func (r Result) charged() float64 {
	if r.Outcome == Unfinished {
		return max(r.Minutes, maxMinutes)
	}
	return r.Minutes
}

// Slipped is a reading that went wrong.
type Slipped struct {
	Ref  string   `json:"ref"`
	Slip sim.Slip `json:"slip"`
	// Matters says that it is off by more than 2 dB or of the wrong sign.
	Matters    bool `json:"matters"`
	Questioned bool `json:"questioned"` // it was to be taken again, or wrong with over 25 %
	After      int  `json:"after"`      // further readings until then
	at         int
}

// edges bound the bins of stated probabilities.
var edges = [...]float64{0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.98, 1}

// Bin counts stated probabilities of suspects and how often they were faulty.
type Bin struct {
	N    int     `json:"n"`
	Bad  int     `json:"bad"`
	SumP float64 `json:"sum_p"`
}

// Stated are the stated probabilities in bins, over all steps of one recorder.
type Stated [len(edges) - 1]Bin

func (s *Stated) add(p float64, bad bool) {
	i := 0
	for i+2 < len(edges) && p >= edges[i+1] {
		i++
	}
	s[i].N++
	s[i].SumP += p
	if bad {
		s[i].Bad++
	}
}

func (s *Stated) merge(o *Stated) {
	for i := range s {
		s[i].N += o[i].N
		s[i].Bad += o[i].Bad
		s[i].SumP += o[i].SumP
	}
}

// Interval is an estimate with its 95 % interval.
type Interval struct{ Value, Low, High float64 }

// resamples of the bootstrap: the ends of an interval then scatter by about 3 % of its
// width.
const resamples = 4000

// bootstrap is a statistic of recorders with its 95 % percentile interval over
// resamples of them (B. Efron, R. J. Tibshirani, An Introduction to the Bootstrap,
// 1993, ch. 13). stat is given indices of recorders.
func bootstrap(n int, stat func(of []int) float64) Interval {
	of := make([]int, n)
	for i := range of {
		of[i] = i
	}
	out := Interval{Value: stat(of)}
	if n < 2 {
		out.Low, out.High = math.Inf(-1), math.Inf(1)
		return out
	}
	r := rand.New(rand.NewPCG(1, uint64(n)))
	values := make([]float64, 0, resamples)
	for range resamples {
		for i := range of {
			of[i] = r.IntN(n)
		}
		if v := stat(of); !math.IsNaN(v) {
			values = append(values, v)
		}
	}
	if len(values) == 0 {
		return Interval{math.NaN(), math.NaN(), math.NaN()}
	}
	slices.Sort(values)
	out.Low, out.High = values[len(values)*25/1000], values[len(values)*975/1000]
	return out
}

// wilson is a share k of n with its 95 % score interval (E. B. Wilson, J. Am. Stat.
// Assoc. 22, 1927). Without trials it is anything.
func wilson(k, n int) Interval {
	if n == 0 {
		return Interval{math.NaN(), 0, 1}
	}
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return Interval{p, max(0, mid-half), min(1, mid+half)}
}

func mean(of []int, x func(i int) float64) float64 {
	sum := 0.0
	for _, i := range of {
		sum += x(i)
	}
	return sum / float64(len(of))
}

// Comparison is one policy against another on the same recorders.
type Comparison struct {
	Policy, Against string
	// Less is by how many minutes the first takes less; Ratio its minutes over the
	// other's, RatioAfter the same without the intake, which both share; Charged that
	// again with every recorder that was given up at the limit of minutes.
	Less, Ratio, RatioAfter, Charged Interval
}

// compare pairs the results of two policies recorder by recorder.
func compare(rows []Row, policy, against string) Comparison {
	a := func(i int) float64 { return rows[i].Results[policy].Minutes }
	b := func(i int) float64 { return rows[i].Results[against].Minutes }
	full := func(p string) func(int) float64 {
		return func(i int) float64 { return rows[i].Results[p].charged() }
	}
	after := func(of []int, x func(int) float64) float64 {
		return mean(of, func(i int) float64 { return x(i) - rows[i].IntakeMinutes })
	}
	return Comparison{Policy: policy, Against: against,
		Less:       bootstrap(len(rows), func(of []int) float64 { return mean(of, b) - mean(of, a) }),
		Ratio:      bootstrap(len(rows), func(of []int) float64 { return mean(of, a) / mean(of, b) }),
		RatioAfter: bootstrap(len(rows), func(of []int) float64 { return after(of, a) / after(of, b) }),
		Charged:    bootstrap(len(rows), func(of []int) float64 { return after(of, full(policy)) / after(of, full(against)) }),
	}
}

// Summary is one policy over a set of recorders.
type Summary struct {
	Policy                   string
	N                        int
	Minutes, AfterIntake     Interval // mean
	Charged                  Interval // mean after the intake, what was given up at the limit
	WrongFix                 Interval // of all
	Unfinished               int
	Readings, Checks         float64 // mean
	Openings, Repairs        float64
	Needless                 float64
	Slips, Matter, Forgotten int      // wrong readings, those that mattered, never questioned
	After                    Interval // further readings until one that mattered was questioned, mean
	Stated                   Stated
}

func summarise(rows []Row, policy string) Summary {
	s := Summary{Policy: policy, N: len(rows)}
	of := make([]int, len(rows))
	at := func(i int) Result { return rows[i].Results[policy] }
	wrong := 0
	var after []float64
	for i := range rows {
		of[i] = i
		r := at(i)
		switch r.Outcome {
		case Wrong:
			wrong++
		case Unfinished:
			s.Unfinished++
		}
		for _, x := range r.Slips {
			s.Slips++
			if !x.Matters {
				continue
			}
			s.Matter++
			if x.Questioned {
				after = append(after, float64(x.After))
			} else {
				s.Forgotten++
			}
		}
		s.Stated.merge(&r.Stated)
	}
	if len(rows) == 0 {
		return s
	}
	s.Minutes = bootstrap(len(rows), func(of []int) float64 { return mean(of, func(i int) float64 { return at(i).Minutes }) })
	s.AfterIntake = bootstrap(len(rows), func(of []int) float64 {
		return mean(of, func(i int) float64 { return at(i).Minutes - rows[i].IntakeMinutes })
	})
	s.Charged = bootstrap(len(rows), func(of []int) float64 {
		return mean(of, func(i int) float64 { return at(i).charged() - rows[i].IntakeMinutes })
	})
	s.WrongFix = wilson(wrong, len(rows))
	s.Readings = mean(of, func(i int) float64 { return float64(at(i).Readings) })
	s.Checks = mean(of, func(i int) float64 { return float64(at(i).Checks) })
	s.Openings = mean(of, func(i int) float64 { return float64(at(i).Openings) })
	s.Repairs = mean(of, func(i int) float64 { return float64(at(i).Repairs) })
	s.Needless = mean(of, func(i int) float64 { return float64(at(i).Needless) })
	if len(after) > 0 {
		s.After = bootstrap(len(after), func(of []int) float64 { return mean(of, func(i int) float64 { return after[i] }) })
	}
	return s
}

// reliability is how often suspects of each bin were faulty. The steps of a recorder
// hang together, so the interval is a bootstrap over recorders.
func reliability(rows []Row, policy string, bin int) Interval {
	return bootstrap(len(rows), func(of []int) float64 {
		n, bad := 0, 0
		for _, i := range of {
			b := rows[i].Results[policy].Stated[bin]
			n, bad = n+b.N, bad+b.Bad
		}
		return float64(bad) / float64(n)
	})
}
