package bias

import (
	"math"

	"headstack/dsp"
	"headstack/measure"
)

// third is the third harmonic to expect at a position: least squares of its logarithm on
// a parabola over bias by the law, which is what it does within a few dB of its least
// (common practice, no source). nil with fewer than five readings, or where the position
// lies outside of them by more than half a dB.
func (c *Curve) third(position float64) *measure.Result {
	at := c.Trim.Law.DB(position)
	var n [3][3]float64
	var rhs [3]float64
	var x, y, w []float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, s := range c.passes {
		for _, r := range s.Readings {
			if r.Third == nil || !(r.Third.Value > 0) {
				continue
			}
			sd := r.Third.SD / r.Third.Value
			if !(sd > 0) {
				sd = 0.1
			}
			u := c.Trim.Law.DB(r.Position) - at
			lo, hi = math.Min(lo, u), math.Max(hi, u)
			x, y, w = append(x, u), append(y, math.Log(r.Third.Value)), append(w, 1/(sd*sd))
		}
	}
	if len(x) < 5 || lo > 0.5 || hi < -0.5 {
		return nil
	}
	for k := range x {
		row := [3]float64{1, x[k], x[k] * x[k]}
		for i := range row {
			rhs[i] += w[k] * row[i] * y[k]
			for j := range row {
				n[i][j] += w[k] * row[i] * row[j]
			}
		}
	}
	cov := inverse3(n)
	var fit [3]float64
	for i := range fit {
		for j := range rhs {
			fit[i] += cov[i][j] * rhs[j]
		}
	}
	miss := 0.0
	for k := range x {
		miss += w[k] * math.Pow(y[k]-fit[0]-fit[1]*x[k]-fit[2]*x[k]*x[k], 2)
	}
	dof := float64(len(x) - 3)
	half := dsp.Student95(dof) * math.Sqrt(cov[0][0]*math.Max(1, miss/dof))
	r := c.result("harmonic_3", "%", "the low tone = 100 %", "parabola of the logarithm through the readings of the staircase")
	r.ToneHz = c.Tones.LowHz
	r.Value, r.Lo, r.Hi = math.Exp(fit[0]), math.Exp(fit[0]-half), math.Exp(fit[0]+half)
	return &r
}
