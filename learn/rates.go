package learn

import (
	"maps"
	"slices"
)

// Rate is how often something goes wrong, as a probability.
type Rate struct {
	What  string  `json:"what"`
	Was   float64 `json:"was"`
	Is    float64 `json:"is"`
	Lo    float64 `json:"lo"` // 95 % interval
	Hi    float64 `json:"hi"`
	Wrong int     `json:"wrong"`
	Of    int     `json:"of"`
}

// Rates are the errors of a bench, over machines of all definitions.
type Rates struct {
	// Readings and Checks begin with all kinds together ([AnyError]).
	Readings []Rate `json:"readings"`
	Checks   []Rate `json:"checks"`
	// Returns are chances that a cured machine comes back within [ReturnDays], by kind of
	// work, the cause proven or not.
	Returns []Rate `json:"returns"`
	// Cleaning is how long one place takes, in minutes; N is 0 where nobody said.
	Cleaning Change `json:"cleaning"`
}

// AnyError is the rate of all kinds together.
const AnyError = "wrong in any way"

// Kinds of wrong reading and check that the record tells. The words are those of package
// diagnosis where it has one.
const (
	TooLarge     = "1000 times too large"
	TooSmall     = "1000 times too small"
	DecimalPoint = "decimal point"
	Leads        = "leads exchanged"
	Mistyped     = "mistyped"
	Contradicted = "contradicted by a fresh probe"
	Withdrawn    = "taken back"
	SaidFaulty   = "said faulty, was not"
	SaidWorks    = "said to work, did not"
	OtherSymptom = "other symptom"
)

// The rates before anything was counted: estimates, common practice, no source. Those of
// readings are what package diagnosis assumes, and 0.08 for spots, leads and tracks
// together where the record does not tell which it was; those of checks by ear are its
// slips: 5 % said to work, and 13 % that a person names a fault that is not there.
var (
	usualReadings = map[string]float64{TooLarge: 0.005, TooSmall: 0.005, DecimalPoint: 0.005, Leads: 0.005, Mistyped: 0.01, Contradicted: 0.07, Withdrawn: 0.01}
	usualChecks   = map[string]float64{SaidFaulty: 0.13, SaidWorks: 0.05, OtherSymptom: 0.02, Withdrawn: 0.01}
)

const (
	returnsProven   = 0.05 // of proven repairs inside thirty days
	returnsUnproven = 0.25 // gone after cleaning, reseating: 20 to 30 %
	returnWeight    = 20   // cures
	cleanMinutes    = 5    // of one place, once it is reached
	otherError      = 0.005
)

// RatesOf are the error rates after what was counted.
func RatesOf(c *Counts) Rates {
	t := c.Total()
	r := Rates{Readings: ratesOf(t.Readings, usualReadings), Checks: ratesOf(t.Checks, usualChecks), Returns: []Rate{}}
	for _, work := range slices.Sorted(maps.Keys(t.Cures)) {
		x := t.Cures[work]
		if x.Proven > 0 {
			r.Returns = append(r.Returns, rate(work+", cause proven", returnsProven, returnWeight, x.ProvenBack, x.Proven))
		}
		if x.Unproven > 0 {
			r.Returns = append(r.Returns, rate(work+", cause not proven", returnsUnproven, returnWeight, x.UnprovenBack, x.Unproven))
		}
	}
	r.Cleaning = Change{Kind: "clean", Was: cleanMinutes, Is: cleanMinutes}
	if ch, ok := minutesChange(cleanMinutes, t.Minutes.Works["clean"]); ok {
		ch.Kind = "clean"
		r.Cleaning = ch
	}
	return r
}

func ratesOf(t Tally, usual map[string]float64) []Rate {
	all, out := 0.0, []Rate{}
	kinds := maps.Clone(usual)
	for k := range t.Wrong {
		if _, ok := kinds[k]; !ok {
			kinds[k] = otherError
		}
	}
	for _, k := range slices.Sorted(maps.Keys(kinds)) {
		all += kinds[k]
		out = append(out, rate(k, kinds[k], RateWeight, t.Wrong[k], t.Taken))
	}
	return append([]Rate{rate(AnyError, all, RateWeight, t.Errors(), t.Taken)}, out...)
}

func rate(what string, was, weight float64, wrong, of int) Rate {
	post := betaOf(was, weight).after(wrong, of)
	r := Rate{What: what, Was: was, Is: post.mean(), Wrong: wrong, Of: of}
	r.Lo, r.Hi = post.interval()
	return r
}
