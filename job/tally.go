package job

import (
	"cmp"
	"math"
	"slices"

	"headstack/diagnosis"
	"headstack/learn"
	"headstack/unit"
)

// tally is what a job's record says beside its faults: how often readings and checks went
// wrong, and how long things took.
func tally(v *View) learn.Closed {
	return learn.Closed{Readings: tallyReadings(v), Checks: tallyChecks(v), Minutes: tookMinutes(v)}
}

// put follows an entry to what stands in its place: itself, the last of its corrections,
// or nil where it was taken back.
func (v *View) put(e *Entry) *Entry {
	for {
		by := v.CorrectedBy(e.Seq)
		switch {
		case by == nil:
			return e
		case by.Withdraw:
			return nil
		}
		e = by
	}
}

// What makes two readings of one point differ, in decibels. siblings and repeats agree to
// about one; slips by powers of ten are told by their size.
const (
	contradictsDB = 3
	slipSlackDB   = 3
)

// wrongReading is the kind of a reading of value that should have been right; empty where
// they agree.
func wrongReading(value, right float64, otherwise string) string {
	switch {
	case value == right:
		return ""
	case value == 0 || right == 0:
		return otherwise
	case value*right < 0:
		return learn.Leads
	}
	db := 20 * math.Log10(value/right)
	for kind, size := range map[string]float64{learn.TooLarge: 60, learn.TooSmall: -60} {
		if math.Abs(db-size) <= slipSlackDB {
			return kind
		}
	}
	if math.Abs(math.Abs(db)-20) <= slipSlackDB/2. {
		return learn.DecimalPoint
	}
	return otherwise
}

func base(r *Reading) (float64, bool) {
	x, _, ok := unit.ToBase(r.Value, r.Unit)
	return x, ok
}

// tallyReadings counts readings as first recorded, and as wrong: those whose value or
// place was corrected, those taken back, and those that a fresh probe setting with the
// same instrument contradicted, with no work done between.
func tallyReadings(v *View) learn.Tally {
	t := learn.Tally{Wrong: map[string]int{}}
	contradicted := v.contradicted()
	for i := range v.Entries {
		e := &v.Entries[i]
		if e.Reading == nil || e.Corrects != 0 {
			continue
		}
		t.Taken++
		if kind := v.wrongReadingOf(e, contradicted); kind != "" {
			t.Wrong[kind]++
		}
	}
	return t
}

func (v *View) wrongReadingOf(e *Entry, contradicted map[int64]string) string {
	stands := v.put(e)
	if stands == nil {
		return v.takenBack(e)
	}
	was, _ := base(e.Reading)
	is, _ := base(stands.Reading)
	if kind := wrongReading(was, is, learn.Mistyped); kind != "" {
		return kind
	}
	if o, n := e.Reading, stands.Reading; o.TestPoint != n.TestPoint || o.Key != n.Key {
		return learn.Mistyped
	}
	return contradicted[stands.Seq]
}

// takenBack tells the kind of a reading that was withdrawn by the next one of the place.
func (v *View) takenBack(e *Entry) string {
	for _, o := range v.Current {
		if r := o.Reading; r != nil && o.Seq > e.Seq && samePlace(r, e.Reading) {
			was, _ := base(e.Reading)
			is, _ := base(r)
			return cmp.Or(wrongReading(was, is, learn.Withdrawn), learn.Withdrawn)
		}
	}
	return learn.Withdrawn
}

func samePlace(a, b *Reading) bool {
	return a.TestPoint == b.TestPoint && a.Key == b.Key && a.ToneHz == b.ToneHz && a.Provoked == b.Provoked
}

// contradicted are the kinds of readings that other probe settings contradict, by Seq. Of
// two settings the later is believed, of more the middle one.
func (v *View) contradicted() map[int64]string {
	type group struct {
		point, key, instrument, provoked string
		tone                             float64
		works                            int
	}
	type probe struct {
		id     string
		values []float64
		seqs   []int64
	}
	groups := map[group][]*probe{}
	works := 0
	for _, e := range v.Current {
		if e.Work != nil {
			works++
		}
		r := e.Reading
		if r == nil {
			continue
		}
		value, ok := base(r)
		if !ok {
			continue
		}
		g := group{r.TestPoint, r.Key, r.Instrument, string(r.Provoked) + "|" + string(e.Case), r.ToneHz, works}
		id := r.Session + "|" + r.Setting
		at := slices.IndexFunc(groups[g], func(p *probe) bool { return p.id == id })
		if at < 0 {
			at = len(groups[g])
			groups[g] = append(groups[g], &probe{id: id})
		}
		p := groups[g][at]
		p.values, p.seqs = append(p.values, value), append(p.seqs, e.Seq)
	}
	out := map[int64]string{}
	for _, probes := range groups {
		if len(probes) < 2 {
			continue
		}
		right := middle(probes[len(probes)-1].values)
		if len(probes) > 2 {
			var all []float64
			for _, p := range probes {
				all = append(all, middle(p.values))
			}
			right = middle(all)
		}
		for _, p := range probes {
			value := middle(p.values)
			if value*right > 0 && math.Abs(20*math.Log10(value/right)) <= contradictsDB {
				continue
			}
			if kind := wrongReading(value, right, learn.Contradicted); kind != "" {
				for _, seq := range p.seqs {
					out[seq] = kind
				}
			}
		}
	}
	return out
}

// middle is the lower median.
func middle(values []float64) float64 {
	s := slices.Sorted(slices.Values(values))
	return s[(len(s)-1)/2]
}

// tallyChecks counts functions that were tried, and those of which something else was
// written down first. Trying again with another outcome is no error: faults come and go.
func tallyChecks(v *View) learn.Tally {
	t := learn.Tally{Wrong: map[string]int{}}
	for i := range v.Entries {
		e := &v.Entries[i]
		c := e.Check
		if c == nil || e.Corrects != 0 || c.Function == "" || c.Outcome == diagnosis.NotTried || c.Outcome == diagnosis.NotFitted {
			continue
		}
		t.Taken++
		stands := v.put(e)
		switch {
		case stands == nil:
			t.Wrong[learn.Withdrawn]++
		case stands.Check.Outcome == c.Outcome && stands.Check.Symptom == c.Symptom:
		case c.Outcome == diagnosis.Works:
			t.Wrong[learn.SaidWorks]++
		case stands.Check.Outcome == diagnosis.Works:
			t.Wrong[learn.SaidFaulty]++
		default:
			t.Wrong[learn.OtherSymptom]++
		}
	}
	return t
}

// tookMinutes sums how long things took, where somebody said. An opening counts where it
// was the only one that was opened or put back in one go.
func tookMinutes(v *View) learn.Minutes {
	m := learn.Minutes{Down: map[string]learn.Log{}, Up: map[string]learn.Log{}, Checks: map[string]learn.Log{},
		Repairs: map[string]map[string]learn.Log{}, Works: map[string]learn.Log{}}
	add := func(to map[string]learn.Log, key string, minutes unit.Minutes) {
		to[key] = to[key].Plus(learn.LogOf(float64(minutes)))
	}
	s := &standing{def: v.Def, state: v.Job.Case}
	first := observed(v.Entries)
	current := slices.Clone(v.Current)
	slices.SortStableFunc(current, func(a, b Entry) int { return int(first[a.Seq] - first[b.Seq]) })
	for _, e := range current {
		before := len(s.open)
		s.take(e)
		if e.Minutes <= 0 {
			continue
		}
		switch {
		case e.Opening != nil && len(s.open) == before+1:
			add(m.Down, e.Opening.Opening, e.Minutes)
		case e.Opening != nil && len(s.open) == before-1:
			add(m.Up, e.Opening.Opening, e.Minutes)
		case e.Reading != nil:
			m.Reading = m.Reading.Plus(learn.LogOf(float64(e.Minutes)))
		case e.Check != nil && e.Check.Function != "":
			add(m.Checks, e.Check.Function, e.Minutes)
		case e.Work != nil && e.Work.Kind == diagnosis.WorkRepair:
			kind, cause := repairOf(v, e.Work)
			if m.Repairs[kind] == nil {
				m.Repairs[kind] = map[string]learn.Log{}
			}
			add(m.Repairs[kind], cause, e.Minutes)
		case e.Work != nil:
			add(m.Works, string(e.Work.Kind), e.Minutes)
		}
	}
	return m
}

// repairOf is the kind of stage and the cause that a repair was for, as the closing says.
func repairOf(v *View, w *Work) (kind, cause string) {
	if s, ok := v.Def.Stage(w.Stage); ok {
		kind = s.Kind
	}
	cause = learn.OtherCause
	if e := v.Closing(); e != nil {
		for _, f := range e.Closing.Faults {
			if f.Stage == w.Stage && f.Key == w.Key && f.Proven && f.Cause != "" {
				cause = f.Cause
			}
		}
	}
	return kind, cause
}
