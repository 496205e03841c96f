package learn

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"headstack/machine"
)

// Counts is what was counted on closed jobs. The zero value has counted nothing.
type Counts struct {
	Format      int                  `json:"counts"`      // of the file: 1
	Definitions map[string]*Machines `json:"definitions"` // by machine.Definition id
}

// Machines is what was counted on the machines of one definition.
type Machines struct {
	Closed   int               `json:"closed"`   // machines; one that came back counts once
	Stages   map[string]Stage  `json:"stages"`   // by machine.Stage id
	Families map[string]Family `json:"families"` // by machine.Stage kind
	Readings Tally             `json:"readings"`
	Checks   Tally             `json:"checks"`
	Minutes  Minutes           `json:"minutes"`
	Cures    map[string]Cures  `json:"cures"` // by kind of work
}

// Stage is what was counted on the instances of one stage.
type Stage struct {
	Instances int              `json:"instances"` // of all machines
	Unproven  int              `json:"unproven"`  // of them, cured without a proven cause
	Machines  int              `json:"machines"`  // on which at least one was proved at fault
	Causes    map[string]Cause `json:"causes"`    // of those proved at fault, by machine.FaultMode cause
}

// Cause is how often one cause was proved, and which complaints went with it. A job with
// two symptoms counts for both.
type Cause struct {
	Faults   int            `json:"faults"`
	Symptoms map[string]int `json:"symptoms"`
}

// OtherCause stands for a cause that the definition does not list.
const OtherCause = "not listed"

// otherWork stands for a work that nobody named.
const otherWork = "not said"

// Family is what was counted on all stages of one kind.
type Family struct {
	Instances int `json:"instances"` // without those cured unproven
	Faults    int `json:"faults"`
	// Expected is how many faults the definition's priors would have led to expect, in
	// millionths of a fault.
	Expected int64 `json:"expected_e6"`
}

// Tally counts observations and, by kind, those that turned out wrong.
type Tally struct {
	Taken int            `json:"taken"`
	Wrong map[string]int `json:"wrong"`
}

// Minutes are logarithms of how long it took, by what it took that long for.
type Minutes struct {
	Down    map[string]Log            `json:"down"` // by machine.Opening id
	Up      map[string]Log            `json:"up"`
	Reading Log                       `json:"reading"`
	Checks  map[string]Log            `json:"checks"`  // by machine.Function id
	Repairs map[string]map[string]Log `json:"repairs"` // by kind of stage, then cause
	Works   map[string]Log            `json:"works"`   // cleaning and others that look for no cause, by kind of work
}

// Log sums natural logarithms of minutes in whole millionths, so that the order of
// adding does not matter.
type Log struct {
	N       int   `json:"n"`
	Sum     int64 `json:"sum_ln_e6"`
	Squares int64 `json:"sum_ln2_e6"`
}

// Cures counts what became of cures by one kind of work.
type Cures struct {
	Proven   int `json:"proven"`
	Unproven int `json:"unproven"`
	// Of each, those whose machine came back within [ReturnDays].
	ProvenBack   int `json:"proven_back"`
	UnprovenBack int `json:"unproven_back"`
}

// ReturnDays is how soon a machine comes back for it to count as a return.
const ReturnDays = 30

// millionths of x, for sums that must not depend on their order.
func millionths(x float64) int64 { return int64(math.Round(x * 1e6)) }

// LogOf counts one duration. Less than a second counts as one.
func LogOf(minutes float64) Log {
	x := math.Log(math.Max(minutes, 1.0/60))
	return Log{1, millionths(x), millionths(x * x)}
}

// mean and the sum of squares about it.
func (l Log) moments() (mean, about float64) {
	if l.N == 0 {
		return 0, 0
	}
	mean = float64(l.Sum) / 1e6 / float64(l.N)
	return mean, math.Max(0, float64(l.Squares)/1e6-float64(l.N)*mean*mean)
}

// Plus adds two sums.
func (l Log) Plus(o Log) Log { return Log{l.N + o.N, l.Sum + o.Sum, l.Squares + o.Squares} }

func (t Tally) plus(o Tally) Tally {
	return Tally{t.Taken + o.Taken, merged(t.Wrong, o.Wrong, addInt)}
}

// Errors is how many turned out wrong, of whatever kind.
func (t Tally) Errors() int {
	n := 0
	for _, x := range t.Wrong {
		n += x
	}
	return n
}

// Faults is how many instances were proved at fault.
func (s Stage) Faults() int {
	n := 0
	for _, c := range s.Causes {
		n += c.Faults
	}
	return n
}

// Merge adds what o counted. o is left as it is and shares nothing with c afterwards.
func (c *Counts) Merge(o *Counts) {
	c.Format = 1
	if c.Definitions == nil {
		c.Definitions = map[string]*Machines{}
	}
	for id, m := range o.Definitions {
		have := c.Definitions[id]
		if have == nil {
			have = &Machines{}
		}
		sum := have.plus(m)
		c.Definitions[id] = &sum
	}
}

// Clone is a copy that shares nothing.
func (c *Counts) Clone() *Counts {
	out := &Counts{}
	out.Merge(c)
	return out
}

// Machines is how many machines were closed, of all definitions.
func (c *Counts) Machines() int {
	n := 0
	for _, m := range c.Definitions {
		n += m.Closed
	}
	return n
}

// Of is what was counted on a definition's machines; it is never nil.
func (c *Counts) Of(definition string) *Machines {
	if m := c.Definitions[definition]; m != nil {
		return m
	}
	return &Machines{}
}

// Total is what was counted over all definitions. Stages and openings of one id in two
// definitions have nothing to do with each other and are left out.
func (c *Counts) Total() Machines {
	var sum Machines
	for _, id := range slices.Sorted(maps.Keys(c.Definitions)) {
		m := *c.Definitions[id]
		m.Stages, m.Minutes.Down, m.Minutes.Up, m.Minutes.Checks = nil, nil, nil, nil
		sum = sum.plus(&m)
	}
	return sum
}

func (m *Machines) plus(o *Machines) Machines {
	return Machines{
		Closed:   m.Closed + o.Closed,
		Stages:   merged(m.Stages, o.Stages, Stage.plus),
		Families: merged(m.Families, o.Families, Family.plus),
		Readings: m.Readings.plus(o.Readings),
		Checks:   m.Checks.plus(o.Checks),
		Minutes:  m.Minutes.plus(o.Minutes),
		Cures:    merged(m.Cures, o.Cures, Cures.plus),
	}
}

func (m Minutes) plus(o Minutes) Minutes {
	return Minutes{
		Down:    merged(m.Down, o.Down, Log.Plus),
		Up:      merged(m.Up, o.Up, Log.Plus),
		Reading: m.Reading.Plus(o.Reading),
		Checks:  merged(m.Checks, o.Checks, Log.Plus),
		Repairs: merged(m.Repairs, o.Repairs, func(a, b map[string]Log) map[string]Log { return merged(a, b, Log.Plus) }),
		Works:   merged(m.Works, o.Works, Log.Plus),
	}
}

func (s Stage) plus(o Stage) Stage {
	return Stage{s.Instances + o.Instances, s.Unproven + o.Unproven, s.Machines + o.Machines, merged(s.Causes, o.Causes, Cause.plus)}
}

func (c Cause) plus(o Cause) Cause {
	return Cause{c.Faults + o.Faults, merged(c.Symptoms, o.Symptoms, addInt)}
}

func (f Family) plus(o Family) Family {
	return Family{f.Instances + o.Instances, f.Faults + o.Faults, f.Expected + o.Expected}
}

func (c Cures) plus(o Cures) Cures {
	return Cures{c.Proven + o.Proven, c.Unproven + o.Unproven, c.ProvenBack + o.ProvenBack, c.UnprovenBack + o.UnprovenBack}
}

func addInt(a, b int) int { return a + b }

// merged is a new map, never nil, that shares nothing with the two where add does not:
// what stands in one only is added to the zero value.
func merged[V any](a, b map[string]V, add func(V, V) V) map[string]V {
	out := make(map[string]V, max(len(a), len(b)))
	for _, m := range []map[string]V{a, b} {
		for k, v := range m {
			out[k] = add(out[k], v)
		}
	}
	return out
}

// Closed is one machine whose job was closed, as it is counted.
type Closed struct {
	Faults   []Fault
	Symptoms []string // of the complaint
	Readings Tally
	Checks   Tally
	Minutes  Minutes

	earlier map[string]Cures // of instances that a later job says something else of
}

// Fault is one stage instance that was cured.
type Fault struct {
	Stage, Key string
	Cause      string // machine.FaultMode cause; empty: [OtherCause]
	Proven     bool
	Work       string // kind of the work that cured it; may be empty
	Back       bool   // the machine came back within [ReturnDays]
}

// Add takes in a later job of the same machine. What it says of an instance stands in the
// place of what was said before.
func (x *Closed) Add(o Closed) {
	x.earlier = merged(x.earlier, o.earlier, Cures.plus)
	for _, f := range o.Faults {
		x.Faults = slices.DeleteFunc(x.Faults, func(e Fault) bool {
			same := e.Stage == f.Stage && e.Key == f.Key
			if same {
				work := cmp.Or(e.Work, otherWork)
				x.earlier[work] = x.earlier[work].plus(cureOf(e))
			}
			return same
		})
	}
	x.Faults = append(x.Faults, o.Faults...)
	for _, w := range o.Symptoms {
		if !slices.Contains(x.Symptoms, w) {
			x.Symptoms = append(x.Symptoms, w)
		}
	}
	x.Readings, x.Checks, x.Minutes = x.Readings.plus(o.Readings), x.Checks.plus(o.Checks), x.Minutes.plus(o.Minutes)
}

// Count is the counts of one machine of a definition. Faults of stages that the
// definition does not have, and a second one of an instance, are left out.
func Count(def *machine.Definition, x Closed) *Counts {
	m := Machines{Closed: 1, Readings: x.Readings, Checks: x.Checks, Minutes: x.Minutes,
		Stages: map[string]Stage{}, Families: map[string]Family{}, Cures: merged(x.earlier, nil, Cures.plus)}
	byStage := map[string][]Fault{}
	for _, f := range x.Faults {
		s, ok := def.Stage(f.Stage)
		if !ok || !slices.Contains(def.ReplicaKeys(s.Each), f.Key) || slices.ContainsFunc(byStage[f.Stage], func(o Fault) bool { return o.Key == f.Key }) {
			continue
		}
		byStage[f.Stage] = append(byStage[f.Stage], f)
		work := cmp.Or(f.Work, otherWork)
		m.Cures[work] = m.Cures[work].plus(cureOf(f))
	}
	for i := range def.Stages {
		s := &def.Stages[i]
		st := Stage{Instances: len(def.ReplicaKeys(s.Each)), Causes: map[string]Cause{}}
		for _, f := range byStage[s.ID] {
			if !f.Proven {
				st.Unproven++
				continue
			}
			st.Machines = 1
			st.Causes[causeOf(f)] = st.Causes[causeOf(f)].plus(Cause{1, each(x.Symptoms)})
		}
		m.Stages[s.ID] = st
		prior, _ := def.FaultModes(s)
		n := st.Instances - st.Unproven
		m.Families[s.Kind] = m.Families[s.Kind].plus(Family{n, st.Faults(), int64(n) * millionths(prior)})
	}
	c := &Counts{}
	c.Merge(&Counts{Definitions: map[string]*Machines{def.ID: &m}})
	return c
}

func causeOf(f Fault) string {
	if f.Cause == "" {
		return OtherCause
	}
	return f.Cause
}

func cureOf(f Fault) Cures {
	var c Cures
	switch {
	case f.Proven && f.Back:
		c.Proven, c.ProvenBack = 1, 1
	case f.Proven:
		c.Proven = 1
	case f.Back:
		c.Unproven, c.UnprovenBack = 1, 1
	default:
		c.Unproven = 1
	}
	return c
}

// each counts every word once.
func each(words []string) map[string]int {
	out := map[string]int{}
	for _, w := range words {
		out[w] = 1
	}
	return out
}
