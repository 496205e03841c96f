package web

import (
	"slices"
	"time"

	"headstack/job"
	"headstack/unit"
)

// pace is how the hand that works on a check sheet compares with the minutes of the
// definition, from the times of its entries.
type pace struct {
	Factor float64 // its minutes over those of the definition; 1: not known yet
	Of     int     // controls that it was learned on; 0: none, the definition's minutes count
}

const (
	paceLeast   = 12              // controls before it is believed
	paceMost    = 60              // the last so many count
	paceNoBreak = 5 * time.Minute // a longer gap is a break, common practice, no source
	paceBatch   = time.Second     // a shorter one is several kept at once
)

// paceOf takes the middle one of the last gaps between two checks of controls, each over
// the minutes of the control: a cup of tea does not move it.
func paceOf(v *job.View) pace {
	minutes := map[string]float64{}
	for _, it := range v.Sheet {
		minutes[it.Item] = float64(it.Minutes)
	}
	var ratios []float64
	var last time.Time
	for _, e := range v.Current {
		if e.Check == nil || e.Check.Item == "" {
			last = time.Time{} // something else was done in between
			continue
		}
		gap := e.At.Sub(last)
		if want := minutes[e.Check.Item]; !last.IsZero() && gap >= paceBatch && gap <= paceNoBreak && want > 0 {
			ratios = append(ratios, gap.Minutes()/want)
		}
		last = e.At
	}
	ratios = ratios[max(0, len(ratios)-paceMost):]
	if len(ratios) < paceLeast {
		return pace{Factor: 1}
	}
	return pace{Factor: median(slices.Clone(ratios)), Of: len(ratios)}
}

// of is what takes so many minutes by the definition at this pace.
func (p pace) of(m unit.Minutes) unit.Minutes { return unit.Minutes(float64(m) * p.Factor) }
