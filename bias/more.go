package bias

import (
	"fmt"
	"math"
)

// More says how many further staircases a tolerance takes.
type More struct {
	// Passes to record; 0: the tolerance is met. -1: no number of them is enough.
	Passes int `json:"passes"`
	// HalfWidthDB is the half width of the 95 % interval of the fall at the setting, now
	// at index 0 and after each pass of the next plan, as far as Passes or eight.
	HalfWidthDB []float64 `json:"half_width_db"`
	Why         string    `json:"why,omitempty"`
}

const mostPasses = 8

// More reckons how many passes of the staircase that [Next] plans bring the fall at the
// setting within ±tolerance dB, 95 %: the curves that the readings allow are taken as
// jointly normal, and each pass adds readings with the scatter found so far. What the
// hand adds on setting the trim stays.
func (c *Curve) More(w Want, toleranceDB float64) More {
	s := c.Set(w.Aim)
	if s.At == nil {
		return More{Passes: 1, Why: "there is no setting yet: take the next staircase first"}
	}
	f := c.seeker(s.Aim)
	x := c.next(w)
	law := c.Trim.Law
	at := law.DB(s.At.Position)
	// By draw: the fall at the setting, and the output at each position to come.
	fall := make([]float64, len(c.draws))
	seen := make([][]float64, len(x))
	for i := range seen {
		seen[i] = make([]float64, len(c.draws))
	}
	figure := make([]float64, len(c.at))
	for k, d := range c.draws {
		for i := range figure {
			figure[i] = f.fall(d, i)
		}
		fall[k] = between(c.at, figure, at)
		for i, p := range x {
			seen[i][k] = between(c.at, d.treble, law.DB(p))
		}
	}
	hand := c.handDB(f, at)
	scatter := c.scatterDB()
	var out More
	for m := 0; m <= mostPasses; m++ {
		half := 1.96 * math.Hypot(math.Sqrt(after(fall, seen, scatter, m)), hand)
		out.HalfWidthDB = append(out.HalfWidthDB, half)
		if half <= toleranceDB {
			out.Passes = m
			return out
		}
	}
	out.Passes = -1
	out.Why = fmt.Sprintf("more passes do not bring the fall within ±%.2f dB: setting the trim by hand alone leaves ±%.2f dB; set it, record, and correct by what is read", toleranceDB, 1.96*hand)
	return out
}

// handDB is what the scatter of a set position makes of the fall at a bias, the mean of
// its slope over the draws.
func (c *Curve) handDB(f seeker, at float64) float64 {
	i := max(0, min(len(c.at)-2, int((at-c.at[0])/(c.at[1]-c.at[0]))))
	slope := 0.0
	for _, d := range c.draws {
		slope += (f.fall(d, i+1) - f.fall(d, i)) / (c.at[i+1] - c.at[i]) / float64(len(c.draws))
	}
	return math.Abs(slope) * c.Trim.scatter() * c.Trim.Law.SpanDB
}

// scatterDB is that of a reading, position included, by the stated figures.
func (c *Curve) scatterDB() float64 {
	sum, n := 0.0, 0.0
	for _, s := range c.passes {
		for _, r := range s.Readings {
			if r.Treble != nil {
				sum, n = sum+math.Pow(r.Treble.sd(), 2), n+1
			}
		}
	}
	// One dB of output per dB of bias is the middle of what a staircase meets.
	return math.Hypot(math.Sqrt(sum/n), c.Trim.scatter()*c.Trim.Law.SpanDB)
}

// after is the variance of a figure once m passes more have been read.
func after(figure []float64, seen [][]float64, scatter float64, m int) float64 {
	v := covariance(figure, figure)
	if m == 0 {
		return v
	}
	k := square(len(seen))
	link := make([]float64, len(seen))
	for i := range seen {
		link[i] = covariance(figure, seen[i])
		for j := range seen {
			k[i][j] = covariance(seen[i], seen[j])
		}
		k[i][i] += scatter * scatter / float64(m)
	}
	white := make([]float64, len(seen))
	factorise(k).whiten(link, white)
	return math.Max(0, v-dot(white, white))
}

func covariance(a, b []float64) float64 {
	n := float64(len(a))
	ma, mb, s := 0.0, 0.0, 0.0
	for i := range a {
		ma, mb = ma+a[i]/n, mb+b[i]/n
	}
	for i := range a {
		s += (a[i] - ma) * (b[i] - mb) / (n - 1)
	}
	return s
}
