package lining

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"headstack/measure"
	"headstack/tape"
	"headstack/trim"
	"headstack/unit"
)

// thisOne and prop name the recorder and what holds it open to package trim.
const thisOne = "this one"

var prop = trim.Prop{Name: "as opened", Angle: 70}

// compare enters what was read closed and open as found, of one setting, and keeps what
// the open case adds. An angle that stands off takes treble by itself, and not in
// proportion: that part is taken off before.
func (t *technician) compare() {
	keys := slices.SortedFunc(maps.Keys(t.closed), func(a, b key) int {
		return cmp.Or(cmp.Compare(a.cmS, b.cmS), cmp.Compare(a.q.String(), b.q.String()))
	})
	keys = slices.DeleteFunc(keys, func(k key) bool { _, ok := t.last[k]; return !ok })
	for _, k := range keys {
		shut, ajar := t.closed[k], t.last[k]
		if az, known := angleOf(k.q); known && !(t.m.OneHead() && k.q.Measure == "record_response") {
			shut += t.azimuthLoss(k, t.closed[key{k.cmS, az}])
			ajar += t.azimuthLoss(k, t.last[key{k.cmS, az}])
		}
		r := trim.CaseReading{Machine: thisOne, Quantity: k.q, State: measure.CaseClosed, Closing: t.closings, Value: shut, SD: sdOf(k.q)}
		// Figures of a reading are numbers with a spread.
		_ = t.cases[k.cmS].Add(r)
		r.State, r.Prop, r.Closing, r.Value = measure.CaseState(t.m.Case()), prop, t.openings, ajar
		_ = t.cases[k.cmS].Add(r)
	}
	for _, k := range keys {
		t.offsets[k] = t.cases[k.cmS].Offset(k.q)
	}
}

// sdOf is the standard deviation of a reading.
func sdOf(q trim.Quantity) float64 {
	switch q.Measure {
	case "azimuth":
		return angleSD
	case "speed_error":
		return speedSD
	}
	return levelSD
}

// angleOf is the angle that takes treble from a figure.
func angleOf(q trim.Quantity) (trim.Quantity, bool) {
	switch q.Measure {
	case "response":
		return trim.Quantity{Measure: "azimuth"}, q.ToneHz != bassHz
	case "record_response":
		return trim.Quantity{Measure: "azimuth", At: "record-play"}, true
	}
	return trim.Quantity{}, false
}

func (t *technician) azimuthLoss(k key, arcmin float64) float64 {
	v := unit.MetrePerSecond(k.cmS / 100)
	w := t.def.Geometry().Tracks[k.q.Track-1].Width
	return float64(tape.AzimuthLoss(w, unit.Radian(arcmin)*tape.Arcminute, tape.Wavelength(v, unit.Hertz(k.q.ToneHz))))
}

// more is how much more a figure reads with the case open than closed, and how well that
// is known, r.m.s., the next closing included.
func (t *technician) more(k key) (value, sd float64) {
	o, ok := t.offsets[k]
	if also := (map[string]string{"record_level": "level", "record_response": "response"})[k.q.Measure]; !ok && also != "" {
		o, ok = t.offsets[key{k.cmS, trim.Quantity{Measure: also, Track: k.q.Track, ToneHz: k.q.ToneHz}}]
	}
	if !ok || t.way.NoCase {
		return 0, 0
	}
	value = o.Figure.Value
	if az, known := angleOf(k.q); known && !(t.m.OneHead() && k.q.Measure == "record_response") {
		// The angle is 0 with the case closed, and so off with it open.
		value -= t.azimuthLoss(k, t.offsets[key{k.cmS, az}].Figure.Value)
	}
	return value, math.Hypot(o.Known, o.Closing)
}
