package job

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/mathext"

	"headstack/dsp"
	"headstack/signature"
)

// Trend is the straight line through one figure of one track over the dates of its
// captures.
type Trend struct {
	Unit string `json:"unit"` // of the figure: µm, dB
	// PerYear is the slope, Lo to Hi its 95 % interval; negative is mending.
	PerYear float64 `json:"per_year"`
	Lo      float64 `json:"lo"`
	Hi      float64 `json:"hi"`
	// Chance is the probability that a head which does not change shows a slope this far
	// from 0 or farther.
	Chance float64 `json:"chance"`
	Dates  int     `json:"dates"` // captures that have the figure
	Years  float64 `json:"years"` // from the first to the last
	// ScatterSD is by how much the captures differ from the line beyond their errors,
	// standard deviation: dirt that comes and goes.
	ScatterSD float64 `json:"scatter_sd"`
	// Line is the fitted course at the dates of the captures, with the 95 % interval of
	// the line.
	Line []TrendPoint `json:"line"`
	// Limit is when the loss reaches LimitDB at this rate; nil where it does not grow.
	Limit   *Projection `json:"limit,omitempty"`
	Refused string      `json:"refused,omitempty"` // why there is no trend; then there are no figures
}

// TrendPoint is the fitted line at one date.
type TrendPoint struct {
	At    time.Time `json:"at"`
	Value float64   `json:"value"`
	Lo    float64   `json:"lo"`
	Hi    float64   `json:"hi"`
}

// Projection says when a line reaches a limit, in years from the last capture.
type Projection struct {
	LossDB float64  `json:"loss_db"`
	Hz     float64  `json:"hz"`
	Years  float64  `json:"years"` // 0: it has
	Lo     float64  `json:"lo"`
	Hi     *float64 `json:"hi"` // nil: not within a hundred years
}

// When a trend is worked out at all. Common practice, no source.
const (
	leastDates = 3
	leastDays  = 30
)

const yearHours = 365.25 * 24

// dated is a figure of one capture.
type dated struct {
	at   time.Time
	tape string
	signature.Amount
}

// trendOf fits a line by generalised least squares. The covariance of the captures is
//
//	C = diag(r²) + τ²·I + Σ over tapes of s·sᵀ
//
// with r the error of repeating a capture, s what the tone errors of a tape do to the
// captures made with it, all together, and τ the scatter between dates, found such that
// the weighted squares are n - 2 (Paule and Mandel, J. Res. NBS 87(5), 1982). The interval
// of the slope is Student's t with n - 2 degrees of freedom on the scatter about the line
// (Hartung and Knapp, Stat. Med. 20(12), 2001; for regression Knapp and Hartung, Stat.
// Med. 22(17), 2003), but never much narrower than the stated errors alone make
// it ([leastErrors]): three captures may lie on a line by luck. Sources quoted from memory.
func trendOf(list []dated, unitName string) Trend {
	t := Trend{Unit: unitName, Dates: len(list), Line: []TrendPoint{}}
	if why := tooFew(list); why != "" {
		t.Refused = why
		return t
	}
	l := newLine(list)
	t.Years, t.ScatterSD = -l.x[0], l.tau
	t.PerYear = l.beta[1]
	half := l.half(0, 1)
	t.Lo, t.Hi = t.PerYear-half, t.PerYear+half
	t.Chance = l.chance()
	for i, d := range list {
		v, h := l.beta[0]+l.beta[1]*l.x[i], l.half(1, l.x[i])
		t.Line = append(t.Line, TrendPoint{At: d.at, Value: v, Lo: v - h, Hi: v + h})
	}
	return t
}

// tooFew says why no trend is worked out.
func tooFew(list []dated) string {
	days := map[string]bool{}
	for _, d := range list {
		days[d.at.UTC().Format(time.DateOnly)] = true
	}
	if n := len(days); n < leastDates {
		return fmt.Sprintf("captures of %s only: a trend wants %d", counted(n, "date"), leastDates)
	}
	if span := list[len(list)-1].at.Sub(list[0].at).Hours() / 24; span < leastDays {
		return fmt.Sprintf("the captures lie %.0f days apart: a trend wants %d", span, leastDays)
	}
	return ""
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// straight is a fitted line; x is in years from the last capture.
type straight struct {
	x, y  []float64
	list  []dated
	beta  [2]float64
	tau   float64
	scale float64       // of the standard errors: root of the weighted squares over n - 2
	cov   [2][2]float64 // with tau
	bare  [2][2]float64 // by the stated errors alone
	t95   float64
}

func newLine(list []dated) *straight {
	l := &straight{list: list}
	last := list[len(list)-1].at
	for _, d := range list {
		l.x, l.y = append(l.x, d.at.Sub(last).Hours()/yearHours), append(l.y, d.Value)
	}
	dof := float64(len(list) - 2)
	l.t95 = dsp.Student95(dof)
	q := l.fit(0)
	l.bare = l.cov
	if q > dof {
		// The weighted squares fall as tau grows.
		hi := 1e-6
		for l.fit(hi) > dof && hi < 1e6 {
			hi *= 2
		}
		lo := 0.0
		for range 60 {
			if mid := (lo + hi) / 2; l.fit(mid) > dof {
				lo = mid
			} else {
				hi = mid
			}
		}
		l.tau = hi
		q = l.fit(hi)
	}
	l.scale = math.Sqrt(q / dof)
	return l
}

// fit finds the line for a scatter and returns the weighted squares about it.
func (l *straight) fit(tau float64) float64 {
	n := len(l.x)
	c := make([][]float64, n)
	for i := range c {
		c[i] = make([]float64, n)
		for j := range n {
			if l.list[i].tape == l.list[j].tape {
				c[i][j] = l.list[i].TapeSD * l.list[j].TapeSD
			}
		}
		r := math.Max(l.list[i].RepeatSD, 1e-4)
		c[i][i] += r*r + tau*tau
	}
	lower := factor(c)
	one, x, y := make([]float64, n), append([]float64(nil), l.x...), append([]float64(nil), l.y...)
	for i := range one {
		one[i] = 1
	}
	for _, v := range [][]float64{one, x, y} {
		whiten(lower, v)
	}
	a, b, d := product(one, one), product(one, x), product(x, x)
	det := a*d - b*b
	l.cov = [2][2]float64{{d / det, -b / det}, {-b / det, a / det}}
	u, v := product(one, y), product(x, y)
	l.beta = [2]float64{l.cov[0][0]*u + l.cov[0][1]*v, l.cov[1][0]*u + l.cov[1][1]*v}
	q := 0.0
	for i := range y {
		r := y[i] - l.beta[0]*one[i] - l.beta[1]*x[i]
		q += r * r
	}
	return q
}

// leastErrors is how many stated standard errors half an interval holds at least, where
// the captures lie closer to a line than these say: nine tenths of their normal interval.
const leastErrors = 1.645

// half is half the width of the 95 % interval of a·beta0 + b·beta1.
func (l *straight) half(a, b float64) float64 {
	se := func(c [2][2]float64) float64 {
		return math.Sqrt(math.Max(0, a*a*c[0][0]+2*a*b*c[0][1]+b*b*c[1][1]))
	}
	return math.Max(l.t95*l.scale*se(l.cov), leastErrors*se(l.bare))
}

// chance is the two-sided tail of the slope (Abramowitz and Stegun 1964, 26.7.1).
func (l *straight) chance() float64 {
	dof := float64(len(l.x) - 2)
	t := math.Abs(l.beta[1]) / (l.scale*math.Sqrt(l.cov[1][1]) + 1e-300)
	z := math.Abs(l.beta[1]) / math.Sqrt(l.bare[1][1])
	return math.Max(mathext.RegIncBeta(dof/2, 0.5, dof/(dof+t*t)), math.Erfc(z/math.Sqrt2))
}

// reaches is when the line comes to a limit above it; hi is +Inf for later than a hundred
// years. The ends are where the bounds of the line come to it.
func (l *straight) reaches(limit float64) (years, lo, hi float64) {
	const most = 100.0
	first := func(sign float64) float64 {
		at := func(x float64) float64 { return l.beta[0] + l.beta[1]*x + sign*l.half(1, x) - limit }
		if at(0) >= 0 {
			return 0
		}
		if at(most) < 0 {
			return math.Inf(1)
		}
		// The upper bound rises all the way and the lower one dips at most once, below.
		a, b := 0.0, most
		for range 60 {
			if mid := (a + b) / 2; at(mid) < 0 {
				a = mid
			} else {
				b = mid
			}
		}
		return b
	}
	return first(0), first(1), first(-1)
}

// factor is the lower Cholesky factor of a positive definite matrix, in its place.
func factor(c [][]float64) [][]float64 {
	for i := range c {
		for j := 0; j <= i; j++ {
			s := c[i][j]
			for k := range j {
				s -= c[i][k] * c[j][k]
			}
			if i == j {
				c[i][i] = math.Sqrt(math.Max(s, 1e-12))
			} else {
				c[i][j] = s / c[j][j]
			}
		}
	}
	return c
}

// whiten solves lower·x = v into v.
func whiten(lower [][]float64, v []float64) {
	for i := range v {
		for k := range i {
			v[i] -= lower[i][k] * v[k]
		}
		v[i] /= lower[i][i]
	}
}

func product(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}
