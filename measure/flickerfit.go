package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
	"headstack/programme"
)

const (
	// trebleHz is the frequency for which the flicker of contact is stated.
	trebleHz = 10000
	// fitSpan is the least ratio of the highest and lowest tone: below, an all-band
	// part and one that rises with frequency are not told apart.
	fitSpan = 4
	// A part of the flicker is worth a word from so many dB r.m.s., half of it beyond
	// doubt; a sound tape's treble flickers by some tenths. Common practice, no source.
	flickerWord = 0.3
)

// flickerFit parts a track's flicker by its causes. A change δd of the distance of
// tape and head changes the level by 54.6·δd·f/v dB, so flicker of contact rises with
// frequency; a bad joint moves all tones alike. Independent causes add in power:
//
//	flicker(f)² = a² + b²·f²
//
// Source of the law: R. L. Wallace, BSTJ 30(4), 1951.
type flickerFit struct {
	all, treble dsp.Estimate // a² and b²·(10 kHz)², dB²
	why         string
	tones       int
	disagree    bool // the sections differ by more than chance
}

// fitFlicker fits the courses of a track by weighted least squares.
func fitFlicker(cs []*course, hz []float64) flickerFit {
	low, high := math.Inf(1), 0.0
	for _, f := range hz {
		low, high = math.Min(low, f), math.Max(high, f)
	}
	fit := flickerFit{tones: len(cs)}
	if len(cs) < 2 || high < fitSpan*low {
		fit.why = fmt.Sprintf("needs flicker at two tones whose frequencies are a factor of %d apart", fitSpan)
		return fit
	}
	// The error of a power is in proportion to the true power, so weights from
	// single powers would favour those that came out low: fitted ones are used, from
	// their common relative error.
	a, b := 0.0, 0.0
	for i := range cs {
		a = math.Max(a, cs[i].power.Value)
	}
	var variances []float64
	var inv [3]float64 // of the normal matrix: aa, ab, bb
	for range 12 {
		variances = variances[:0]
		var saa, sab, sbb, ya, yb float64
		for i, c := range cs {
			x := math.Pow(hz[i]/trebleHz, 2)
			rel := c.power.SE / math.Max(c.power.Value, 1e-30)
			whole := math.Max(0, a) + math.Max(0, b)*x + c.noise.Value
			v := math.Pow(rel*whole, 2) + c.noise.SE*c.noise.SE + 1e-16
			variances = append(variances, v)
			y := c.power.Value - c.noise.Value
			saa += 1 / v
			sab += x / v
			sbb += x * x / v
			ya += y / v
			yb += x * y / v
		}
		det := saa*sbb - sab*sab
		inv = [3]float64{sbb / det, -sab / det, saa / det}
		a, b = inv[0]*ya+inv[1]*yb, inv[1]*ya+inv[2]*yb
	}
	fit.finish(cs, hz, variances, inv, a, b)
	return fit
}

// finish computes the intervals: those of the parts, widened where the sections
// scatter by more than they should, as flicker comes and goes along a tape.
func (fit *flickerFit) finish(cs []*course, hz, variances []float64, inv [3]float64, a, b float64) {
	chi2 := 0.0
	var dofA, dofB, seA, seB float64
	for i, c := range cs {
		x := math.Pow(hz[i]/trebleHz, 2)
		res := c.power.Value - c.noise.Value - a - b*x
		chi2 += res * res / variances[i]
		// Each part's share in the variances, for Satterthwaite's degrees.
		ga, gb := (inv[0]+inv[1]*x)/variances[i], (inv[1]+inv[2]*x)/variances[i]
		pa, pb := ga*ga*variances[i], gb*gb*variances[i]
		seA, seB = seA+pa, seB+pb
		dofA, dofB = dofA+pa*pa/math.Max(1, c.power.Dof), dofB+pb*pb/math.Max(1, c.power.Dof)
	}
	fit.all = dsp.Estimate{Value: a, SE: math.Sqrt(seA), Dof: seA * seA / math.Max(dofA, 1e-300)}
	fit.treble = dsp.Estimate{Value: b, SE: math.Sqrt(seB), Dof: seB * seB / math.Max(dofB, 1e-300)}
	if free := float64(len(cs) - 2); free > 0 && dsp.ChiSquaredTail(free, chi2) < sectionsDisagree {
		k := math.Sqrt(chi2 / free)
		fit.all.SE, fit.treble.SE, fit.disagree = fit.all.SE*k, fit.treble.SE*k, true
		fit.all.Dof, fit.treble.Dof = free, free
	}
}

// flickerFits gives the two parts for every track of every capture.
func (s *session) flickerFits(all []*courses) []Result {
	var out []Result
	for _, t := range s.takes {
		for _, c := range t.order {
			var cs []*course
			var hz []float64
			for _, in := range all {
				if in.t == t && in.of[c] != nil && in.of[c].why == "" {
					cs, hz = append(cs, in.of[c]), append(hz, s.opt.Tape.Sections[in.index].ToneHz)
				}
			}
			out = append(out, s.flickerParts(t, c, fitFlicker(cs, hz))...)
		}
	}
	return out
}

// flickerParts are the results of one fit.
func (s *session) flickerParts(t *take, c int, fit flickerFit) []Result {
	base := Result{Track: t.tracks[c], Unit: "dB r.m.s.", Reference: "the level's own slow mean", Conditions: s.conditions(t, c+1)}
	all, treble := base, base
	all.Name, treble.Name, treble.ToneHz = "flicker_all_band", "flicker_treble", trebleHz
	if fit.why != "" {
		return []Result{all.refuse(fit.why), treble.refuse(fit.why)}
	}
	law := fmt.Sprintf("flicker² = all-band² + (treble·f/10 kHz)², the law of spacing loss for the second, fitted over %d tone sections by weighted least squares", fit.tones)
	setPower(&all, fit.all)
	setPower(&treble, fit.treble)
	all.Method, treble.Method = "part alike at all frequencies; "+law, "part in proportion to frequency, stated at 10 kHz; "+law
	if fit.disagree {
		w := "flicker differs from section to section by more than chance; interval widened"
		all.Warnings, treble.Warnings = append(all.Warnings, w), append(treble.Warnings, w)
	}
	word := func(r Result) bool { return r.Value > flickerWord && r.Lo > flickerWord/2 }
	switch {
	case word(all) && word(treble) && treble.Value > all.Value:
		all.Warnings = append(all.Warnings, "two causes at once: all bands vary together (joint, connector, switch or relay), and the treble flickers more (contact of tape and head)")
	case word(all):
		all.Warnings = append(all.Warnings, "bass and treble vary alike: a joint, connector, switch or relay, or the recorded level itself; poor contact with the head would spare the bass")
	case word(treble) && all.Hi < 0.5*treble.Value:
		treble.Warnings = append(treble.Warnings, "bass steady, treble flickers: tape and head do not keep contact (dirt, pressure pad, shell, tape edge), or the tape skews past a head whose azimuth is off; not electronics")
	}
	return []Result{all, treble}
}

// setPower fills a result in dB r.m.s. from a power in dB².
func setPower(r *Result, p dsp.Estimate) {
	h := p.Half()
	r.Value, r.Lo, r.Hi = rootOf(p.Value), rootOf(p.Value-h), rootOf(p.Value+h)
}

// isTone tells sections whose level course is looked at.
func (s *session) isTone(i int) bool { return s.kind(i) == programme.Tone }
