package signature

import (
	"math"
	"slices"
)

// curves draws the most probable hypothesis: for every track what was measured, the fit
// and what each cause makes.
func (r *result) curves() []Curve {
	if len(r.estimate) == 0 {
		return nil
	}
	e := r.estimate[0]
	offset := r.offset(e)
	var out []Curve
	col := make([]float64, len(r.d.rows))
	for t, track := range r.d.tracks {
		c := Curve{Track: track, Points: []CurvePoint{}, Contributions: []Contribution{}}
		total := make([]float64, len(r.d.rows))
		var parts []Contribution
		add := func(cause Cause, p *param, x float64) {
			if !slices.Contains(p.on, t) {
				return
			}
			r.d.law(p, x, t, col)
			for i := range total {
				if p.fam != byFigure {
					total[i] += col[i]
				}
			}
			if cause == "" {
				return
			}
			at := slices.IndexFunc(parts, func(c Contribution) bool { return c.Cause == cause })
			if at < 0 {
				at = len(parts)
				parts = append(parts, Contribution{Cause: cause, DB: make([]float64, len(r.d.rows))})
			}
			for i := range col {
				parts[at].DB[i] += col[i]
			}
		}
		causes := map[*param]Cause{}
		aside := map[int]bool{}
		for _, s := range e.list {
			for _, p := range s.params {
				causes[p] = s.cause
			}
			if s.cause == "" && slices.Contains(s.tracks, t) {
				aside[s.aside-1] = true
			}
		}
		for i, p := range e.params {
			add(causes[p], p, p.value(e.q[i]))
		}
		var rows []int
		for i, row := range r.d.rows {
			if row.kind != rowLevel || r.d.sd[t][i] == missing {
				continue
			}
			rows = append(rows, i)
			y := r.d.y[t][i] - offset
			half := 1.96 * math.Hypot(r.d.sd[t][i], r.s.toneDB)
			c.Points = append(c.Points, CurvePoint{Hz: row.hz, Section: row.section, MeasuredDB: y, Lo: y - half, Hi: y + half, FittedDB: total[i], SetAside: aside[i]})
		}
		for _, part := range parts {
			kept := Contribution{Cause: part.Cause}
			for _, i := range rows {
				kept.DB = append(kept.DB, part.DB[i])
			}
			c.Contributions = append(c.Contributions, kept)
		}
		out = append(out, c)
	}
	return out
}

// offset is the level of a sound track in dBFS, from the middle tones, where the laws
// change little.
func (r *result) offset(e *estimate) float64 {
	u := r.bare.w.shared(e.r)
	var middle, all []float64
	for i, row := range r.d.rows {
		if row.kind != rowLevel {
			continue
		}
		all = append(all, u[i])
		if row.hz >= 200 && row.hz <= 4000 {
			middle = append(middle, u[i])
		}
	}
	if len(middle) > 0 {
		return median(middle)
	}
	return median(all)
}
