package signature

import (
	"math"
	"slices"
)

// wearFit is a capture fitted with a gain and one mechanical loss on each track.
//
// It weighs the tape's tone errors as if each track had its own: were they held common,
// a track whose loss does not have the shape of the law (spacing fitted as gap) would bend
// them, and with them the figures of all others. What the errors of the figures are is
// then worked out from how they follow what was measured, with tone errors as they are,
// common to all tracks.
type wearFit struct {
	*fit
	f      *fitter
	s      spread // as it is
	own    []int  // [track] place of its loss among the params
	cov    matrix
	weight float64
	// turn[u][i] is by how much each param follows figure i of track u.
	turn [][][]float64
}

// errorParts are standard errors of a figure by what they are due to.
type errorParts struct{ repeat, tape float64 }

// asOwn are the spreads with which a wearFit weighs.
func asOwn(s spread) spread {
	s.offsetDB = 0.01 // the gains of the tracks take the level of the capture
	s.eachDB, s.toneDB = math.Hypot(s.eachDB, s.toneDB), 0.01
	return s
}

// wearFit fits with losses of the given law, each with a normal prior; f weighs by asOwn
// of s.
func (f *fitter) wearFit(part wearPart, s spread, law family, mean, sd float64) *wearFit {
	bare := &fitter{d: f.d, w: f.w, y: f.y, units: f.units, nodes: f.nodes, grids: f.grids, col: f.col, base: slices.Clone(f.base)}
	w := &wearFit{f: f, s: s, weight: part.weight}
	for t := range f.d.tracks {
		w.own = append(w.own, len(bare.base)+1)
		bare.base = append(bare.base, normal(byGain, 0, 60, t), normal(law, mean, sd, t))
	}
	q := make([]float64, len(bare.base))
	for i, p := range bare.base {
		q[i] = p.mean
	}
	w.fit = bare.solve(part.list, q)
	w.cov = w.chol.inverse()
	w.follow()
	return w
}

// follow works out turn: cov times the slopes' products with a unit of each figure.
func (w *wearFit) follow() {
	d := w.f.d
	n := len(w.params)
	g := make([]float64, n)
	cols := make([][]float64, len(d.tracks))
	one := make([]float64, len(d.rows))
	w.turn = make([][][]float64, len(d.tracks))
	for u := range d.tracks {
		w.turn[u] = make([][]float64, len(d.rows))
		for i := range d.rows {
			if d.sd[u][i] == missing {
				continue
			}
			one[i], cols[u] = 1, one
			unit := w.f.w.of(cols)
			one[i], cols[u] = 0, nil
			for k := range n {
				g[k] = w.points[k].along(unit)
			}
			turn := make([]float64, n)
			for k := range n {
				for j := range n {
					turn[k] += w.cov.at(k, j) * g[j]
				}
			}
			w.turn[u][i] = turn
		}
	}
}

// amount is the mechanical loss of a track in the units of its law.
func (w *wearFit) amount(t int) (number, errorParts) {
	k := w.own[t]
	turn := func(u, i int) float64 { return w.turn[u][i][k] }
	// Where the prior of an electrical cause holds a figure, it follows less than it errs.
	sd := math.Max(math.Sqrt(w.cov.at(k, k)), w.whole(turn))
	return number{mean: w.q[k], sd: wider * sd, weight: w.weight}, w.parts(turn)
}

// loss is what is missing at a tone after all but the mechanical loss, dB.
func (w *wearFit) loss(t, top int) (number, errorParts) {
	d := w.f.d
	col := make([]float64, len(d.rows))
	slope := make([]float64, len(w.params))
	v := -d.y[t][top]
	for k, p := range w.params {
		if k == w.own[t] || p.fam == byFigure && p.row == top || !slices.Contains(p.on, t) {
			continue
		}
		at := func(q float64) float64 {
			d.law(p, p.value(q), t, col)
			return col[top]
		}
		const h = 1e-3
		v += at(w.q[k])
		slope[k] = (at(w.q[k]+h) - at(w.q[k]-h)) / (2 * h)
	}
	turn := func(u, i int) float64 {
		s := dot(slope, w.turn[u][i])
		if u == t && i == top {
			s--
		}
		return s
	}
	if d.sd[t][top] == missing {
		return number{weight: w.weight}, errorParts{}
	}
	return number{mean: v, sd: wider * w.whole(turn), weight: w.weight}, w.parts(turn)
}

// sumOver adds up what a figure owes to row i of all tracks.
func (w *wearFit) sumOver(turn func(u, i int) float64, i int, weight func(u int) float64) float64 {
	s := 0.0
	for u := range w.f.d.tracks {
		if w.turn[u][i] != nil {
			s += turn(u, i) * weight(u)
		}
	}
	return s
}

func alike(int) float64 { return 1 }

// parts are the standard errors of a figure that follows the measured ones by turn:
// from capture to capture of one tape on one machine (see repeated), and from tape to
// tape.
func (w *wearFit) parts(turn func(u, i int) float64) errorParts {
	d, again, fresh := w.f.d, repeated(), usual(w.f.d.opt)
	var repeat, tape, treble float64
	for i, row := range d.rows {
		switch row.kind {
		case rowLevel:
			all := w.sumOver(turn, i, alike)
			repeat += sq(all * again.toneDB)
			tape += sq(all * fresh.toneDB)
			treble += all * row.hz / 1e4
		case rowDelay:
			repeat += sq(w.sumOver(turn, i, d.lean) * d.weave[i])
		}
		for u := range d.tracks {
			switch {
			case w.turn[u][i] == nil:
			case row.kind == rowLevel:
				repeat += sq(turn(u, i)) * (sq(d.sd[u][i]) + sq(again.eachDB))
			case row.kind == rowDelay:
				repeat += sq(turn(u, i) * again.delayUs)
			}
		}
	}
	repeat += sq(treble * again.trebleDB)
	tape += sq(treble * fresh.trebleDB)
	for u := range d.tracks { // contact differs a little each time a tape is threaded
		s := 0.0
		for i, row := range d.rows {
			if row.kind == rowLevel && w.turn[u][i] != nil {
				s += turn(u, i) * spacingPerUm(row)
			}
		}
		repeat += sq(s * again.spacingUm)
	}
	return errorParts{math.Sqrt(repeat), math.Sqrt(tape)}
}

// whole is the standard error of a figure by all that levels and delays differ by.
func (w *wearFit) whole(turn func(u, i int) float64) float64 {
	d, s := w.f.d, w.s
	v := 0.0
	e := d.commonCovariance(s)
	common := make([]float64, len(d.rows))
	for i, row := range d.rows {
		switch row.kind {
		case rowLevel:
			common[i] = w.sumOver(turn, i, alike)
		case rowDelay:
			v += sq(w.sumOver(turn, i, d.lean) * d.weave[i])
		}
	}
	for i := range common {
		for j := range common {
			v += common[i] * e.at(i, j) * common[j]
		}
	}
	for u := range d.tracks {
		rows := w.f.w.dense[u]
		m := d.trackCovariance(s, u, rows, true)
		for a, i := range rows {
			for b, j := range rows {
				v += turn(u, i) * m.at(a, b) * turn(u, j)
			}
		}
	}
	return math.Sqrt(v)
}
