package learn

import (
	"math"

	"headstack/dsp"
	"headstack/machine"
)

// What the numbers of a definition weigh against what was counted: estimates, common
// practice, no source.
const (
	CauseWeight   = 3   // faults
	RateWeight    = 100 // readings or checks
	MinutesWeight = 4   // times that somebody took
	FamilyWeight  = 5   // faults
	// logMinutesSD is the spread of the logarithm of minutes for the same work: two times
	// in three it takes between 1/1.65 and 1.65 times the usual.
	logMinutesSD = 0.5
	// mostPrior is the most that a prior may be: see machine.Stage.
	mostPrior = 0.5
	// leastMinutes stands for a work of which the definition says that it takes no time.
	leastMinutes = 0.25
	// readingMinutes is one reading where the test point says nothing.
	readingMinutes = 2
)

// Lesson is what counts say about the machines of one definition.
type Lesson struct {
	// Definition is the one given with what was learned in it: priors, weights of causes,
	// minutes. It is the one given, itself, where nothing was. A prior never exceeds 0.5.
	Definition *machine.Definition
	Machines   int // of the type that were closed
	Others     int // of other types
	// Changes has every number that observations bear upon, in the definition's order.
	Changes []Change
	Rates   Rates
}

// ChangeKind says what a number is.
type ChangeKind string

// The kinds of number that are learned.
const (
	PriorNumber   ChangeKind = "prior"        // chance that one instance of Stage is faulty on an untouched machine
	CauseNumber   ChangeKind = "cause"        // share of Cause among the faults of Stage
	DownNumber    ChangeKind = "opening down" // minutes of ID
	UpNumber      ChangeKind = "opening up"   // minutes of ID
	CheckNumber   ChangeKind = "check"        // minutes of trying the function ID
	ReadingNumber ChangeKind = "reading"      // minutes of one reading, over the definition's
	RepairNumber  ChangeKind = "repair"       // minutes of curing Cause at Stage
)

// Change is one number: what it was, what it is, and by what.
type Change struct {
	Kind  ChangeKind `json:"kind"`
	Stage string     `json:"stage,omitempty"` // machine.Stage id
	Cause string     `json:"cause,omitempty"`
	ID    string     `json:"id,omitempty"` // of an opening or function
	Was   float64    `json:"was"`
	Is    float64    `json:"is"`
	Lo    float64    `json:"lo"` // 95 % interval
	Hi    float64    `json:"hi"`
	// N is how many observations it rests on: instances for a prior, faults for a cause,
	// times for minutes. Hits are those at fault, or by the cause.
	N    int `json:"observations"`
	Hits int `json:"hits"`
	// Spread, of minutes, is the half width of the 95 % interval of one time to come, as a
	// fraction of Is and at most 1.
	Spread float64 `json:"spread,omitempty"`
	// Family is the factor by which other types moved the prior before its own machines did.
	Family float64 `json:"family,omitempty"`
}

// Apply returns what the definition becomes by what was counted: see [Learn].
func Apply(def *machine.Definition, c *Counts) *machine.Definition { return Learn(def, c).Definition }

// Learn updates a definition by counts. Neither is changed.
func Learn(def *machine.Definition, c *Counts) *Lesson {
	own := c.Of(def.ID)
	l := &lesson{Lesson: Lesson{Definition: def, Machines: own.Closed, Others: c.Machines() - own.Closed}, own: own, total: c.Total()}
	l.Rates = RatesOf(c)
	if l.Machines+l.Others == 0 {
		return &l.Lesson
	}
	l.Definition = def.Clone()
	for i := range l.Definition.Stages {
		l.stage(&l.Definition.Stages[i])
	}
	l.minutes()
	if len(l.Changes) == 0 {
		l.Definition = def
	}
	return &l.Lesson
}

type lesson struct {
	Lesson
	own   *Machines
	total Machines
}

func (l *lesson) stage(s *machine.Stage) {
	was, modes := l.Definition.FaultModes(s)
	seen := l.own.Stages[s.ID]
	n := seen.Instances - seen.Unproven
	family := l.family(s.Kind)
	prior := math.Min(mostPrior, was*family)
	m := len(l.Definition.ReplicaKeys(s.Each))
	if n > 0 || family != 1 {
		post := betaOf(prior, l.Definition.Weight()*float64(max(1, m))).after(seen.Faults(), n)
		ch := Change{Kind: PriorNumber, Stage: s.ID, Was: was, Is: post.mean(), N: n, Hits: seen.Faults(), Family: family}
		ch.Lo, ch.Hi = post.interval()
		l.Changes = append(l.Changes, ch)
		s.Prior = math.Min(mostPrior, ch.Is)
	}
	changed := l.causes(s.ID, seen, modes)
	if l.repairs(s, modes) || changed {
		s.Faults = modes
	}
}

// family is the factor on the priors of a kind of stage by what other types showed.
func (l *lesson) family(kind string) float64 {
	all, own := l.total.Families[kind], l.own.Families[kind]
	expected := float64(all.Expected-own.Expected) / 1e6
	if expected <= 0 {
		return 1
	}
	return gammaRate{FamilyWeight, FamilyWeight}.after(float64(all.Faults-own.Faults), expected).mean()
}

// causes updates the weights of a stage's fault modes. Modes of one cause share what
// was counted by their weights.
func (l *lesson) causes(stage string, seen Stage, modes []machine.FaultMode) bool {
	ofCause := map[string]float64{}
	prior := make(dirichlet, len(modes))
	total := 0
	for i, m := range modes {
		prior[i] = m.Weight * CauseWeight
		if _, ok := ofCause[m.Cause]; !ok {
			total += seen.Causes[m.Cause].Faults
		}
		ofCause[m.Cause] += m.Weight
	}
	if total == 0 {
		return false
	}
	k := make([]float64, len(modes))
	for i, m := range modes {
		k[i] = float64(seen.Causes[m.Cause].Faults) * m.Weight / ofCause[m.Cause]
	}
	post := prior.after(k)
	for i := range modes {
		d := post.of(i)
		ch := Change{Kind: CauseNumber, Stage: stage, Cause: modes[i].Cause, Was: modes[i].Weight, Is: d.mean(), N: total, Hits: int(math.Round(k[i]))}
		ch.Lo, ch.Hi = d.interval()
		l.Changes = append(l.Changes, ch)
		modes[i].Weight = ch.Is
	}
	return true
}

// repairs updates the minutes of cures by what they took on all types.
func (l *lesson) repairs(s *machine.Stage, modes []machine.FaultMode) bool {
	changed := false
	for i := range modes {
		m := &modes[i]
		ch, ok := minutesChange(m.CureMin, l.total.Minutes.Repairs[s.Kind][m.Cause])
		if !ok {
			continue
		}
		ch.Kind, ch.Stage, ch.Cause = RepairNumber, s.ID, m.Cause
		l.Changes = append(l.Changes, ch)
		m.CureMin, changed = ch.Is, true
	}
	return changed
}

// minutes updates openings, checks and readings.
func (l *lesson) minutes() {
	d, took := l.Definition, l.own.Minutes
	learn := func(kind ChangeKind, id string, minutes *float64, log Log) {
		if ch, ok := minutesChange(*minutes, log); ok {
			ch.Kind, ch.ID = kind, id
			l.Changes = append(l.Changes, ch)
			*minutes = ch.Is
		}
	}
	for i := range d.Openings {
		o := &d.Openings[i]
		learn(DownNumber, o.ID, &o.DownMin, took.Down[o.ID])
		learn(UpNumber, o.ID, &o.UpMin, took.Up[o.ID])
	}
	for i := range d.Functions {
		if f := &d.Functions[i]; f.CheckMinutes > 0 { // 0: not tried by itself
			learn(CheckNumber, f.ID, &f.CheckMinutes, took.Checks[f.ID])
		}
	}
	l.readings(took.Reading)
}

// readings scales the minutes of all test points alike: readings are counted together,
// for one at one point tells of the bench more than of the point.
func (l *lesson) readings(log Log) {
	points := l.Definition.TestPoints
	if log.N == 0 || len(points) == 0 {
		return
	}
	was := 0.0
	for i := range points {
		if points[i].Minutes == 0 {
			points[i].Minutes = readingMinutes
		}
		was += math.Log(points[i].Minutes) / float64(len(points))
	}
	ch, _ := minutesChange(math.Exp(was), log)
	ch.Kind = ReadingNumber
	l.Changes = append(l.Changes, ch)
	for i := range points {
		points[i].Minutes *= ch.Is / ch.Was
	}
}

// minutesChange updates a duration: the middle one of those that are to come, exp(μ). It
// is false where nobody took any.
func minutesChange(was float64, log Log) (Change, bool) {
	if log.N == 0 {
		return Change{}, false
	}
	prior := normal{math.Log(math.Max(was, leastMinutes)), MinutesWeight, MinutesWeight, logMinutesSD * logMinutesSD}
	y, about := log.moments()
	post := prior.after(log.N, y, about)
	lo, hi := post.interval()
	return Change{Was: was, Is: math.Exp(post.m), Lo: math.Exp(lo), Hi: math.Exp(hi), N: log.N, Spread: log.spread()}, true
}

// usualSpread is by how much one time at the bench is off the middle one (95 %) before any
// was counted, as package teardown has it. Common practice, no source.
const usualSpread = 0.3

// spread is that of one time to come: the usual one weighs as [MinutesWeight] times, and what
// was counted adds its squares about its own mean, for of the mean [Change.Is] tells.
func (l Log) spread() float64 {
	nu := float64(MinutesWeight)
	usual := math.Log1p(usualSpread) / dsp.Student95(nu)
	squares := nu * usual * usual
	if l.N > 0 {
		_, about := l.moments()
		squares, nu = squares+about, nu+float64(l.N)-1
	}
	half := dsp.Student95(nu) * math.Sqrt(squares/nu)
	if l.N > 0 {
		half *= math.Sqrt(1 + 1/float64(MinutesWeight+l.N)) // the middle one is not known exactly
	}
	return math.Min(1, math.Expm1(half))
}
