package web

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/job"
	"headstack/report"
	"headstack/unit"
)

// question is a doubt about one reading, put on the page as soon as it is saved.
type question struct {
	Seq   int64
	Ref   string
	Text  string // what is seen
	Offer string // a slip that would explain it: "38 mV"
	Value string // the offer as it would be typed
}

// Limits of what is accepted without a question: common practice, no source. A
// weak stage seldom takes more than 6 dB from its siblings without other signs;
// one that does is worth a second touch of the probe before parts are blamed.
const (
	questionDB  = 6.0  // from the median of the siblings
	expectDB    = 10.0 // from the expected value, where no sibling was read
	slipRangeDB = 3.0  // about a factor of 1000: a prefix misread
)

// questionOf compares a reading with its siblings on the same test point, or
// with the expected value where there are none. nil: nothing to ask.
func questionOf(v *job.View, e job.Entry) *question {
	r := e.Reading
	if r == nil {
		return nil
	}
	tp, ok := v.Def.TestPoint(r.TestPoint)
	if !ok {
		return nil
	}
	value, base := siOf(*r)
	against, from, limit := siblings(v, *r)
	want := v.Def.Expected(tp, r.Key)
	if len(against) == 0 {
		if !want.Known {
			return nil
		}
		against, from, limit = []float64{want.Value}, "expected", math.Max(expectDB, 3*want.SDDB())
	}
	middle := median(against)
	if middle == 0 || value == middle {
		return nil
	}
	db := 20 * math.Log10(math.Abs(value)/math.Abs(middle))
	if math.Abs(db) <= limit && math.Signbit(value) == math.Signbit(middle) {
		return nil
	}
	return ask(e, report.PointName(v.Def, tp.ID, r.Key), base, value, middle, db, from, len(against))
}

func ask(e job.Entry, point, base string, value, middle, db float64, from string, n int) *question {
	q := &question{Seq: e.Seq, Ref: e.Ref}
	what := "the expected value is " + engineering(middle, base)
	if from != "expected" {
		what = fmt.Sprintf("%s on the same point, middle value %s", plural(n, "sibling", "siblings"), engineering(middle, base))
	}
	var diff string
	switch {
	case value == 0:
		diff = "this one is 0"
	case math.Signbit(value) != math.Signbit(middle):
		diff = "the sign is the other one"
	default:
		diff = "this one is " + unit.Signed(db, 0) + "\u2009dB from that"
	}
	q.Text = fmt.Sprintf("%s at %s; %s: %s.", strings.TrimSpace(number(e.Reading.Value)+"\u2009"+e.Reading.Unit), point, what, diff)
	for _, slip := range []float64{1e-3, 1e3} {
		if v := value * slip; v != 0 && math.Abs(20*math.Log10(math.Abs(v/middle))) <= slipRangeDB {
			q.Offer = engineering(v, base)
			q.Value = strings.NewReplacer("\u2009", " ", "\u2212", "-").Replace(q.Offer)
		}
	}
	return q
}

// siblings are the newest readings on other replicas of the same point, in base units.
func siblings(v *job.View, r job.Reading) (values []float64, from string, limit float64) {
	seen := map[string]bool{r.Key: true}
	want := baseOf(r.Unit)
	for _, e := range slices.Backward(v.Current) {
		o := e.Reading
		if o == nil || o.TestPoint != r.TestPoint || o.ToneHz != r.ToneHz || seen[o.Key] {
			continue
		}
		value, base := siOf(*o)
		if base != want {
			continue
		}
		seen[o.Key] = true
		values = append(values, value)
	}
	return values, "siblings", questionDB
}

func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}
