package trial

import (
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"headstack/diagnosis"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
)

// How the drawn recorders and those who look at them err. Rates are common practice or
// estimates, no source.
const (
	slipRate      = 0.05 // readings that are wrong
	wrongTrack    = 0.02 // checks made on another track than they are booked for
	dullElsewhere = 0.25 // of dull verdicts by ear, naming the wrong track
	seesBoth      = 0.4  // checks that meet an intermittent fault both there and gone
)

// countWeights are the shares of recorders with one, two and three hidden faults.
var countWeights = [...]float64{0.60, 0.28, 0.12}

// maxDraws is how many recorders are drawn in search of one with a complaint.
const maxDraws = 10000

// Machine is an invented recorder as it comes in.
type Machine struct {
	Def    *machine.Definition // as it is
	Seed   uint64
	Hidden []Hidden
	// Intake is the check sheet that every owner's complaint is made of: each function
	// on each replica tried once, the case closed. Complaint are those that failed.
	Intake        []diagnosis.Check
	IntakeMinutes float64
	Complaint     []Task
	// Draws is how many recorders were drawn until this one.
	Draws int
}

// Hidden is a fault that nobody is told of.
type Hidden struct {
	sim.Fault
	// Shows says that it alone is enough to fail one of the functions of the complaint.
	Shows bool
	// CureMinutes is what putting it right takes once it is reached.
	CureMinutes float64
}

// Task is one function on one replica.
type Task struct{ Function, Key string }

func (t Task) String() string {
	if t.Key == "" {
		return t.Function
	}
	return t.Function + " " + t.Key
}

// Draw makes a recorder from the definition's own priors: one to three faults on
// different stages, each by its odds, its mode by weight and its depth uniform. It is
// drawn again until a function fails at the intake because of a fault on its way. The
// same seed gives the same recorder.
func Draw(def *machine.Definition, seed uint64) (*Machine, error) {
	r := generator("draw", seed)
	all := def.Instances()
	for n := 1; n <= maxDraws; n++ {
		m := &Machine{Def: def, Seed: seed, Draws: n}
		var err error
		if m.Hidden, err = drawFaults(def, all, r); err != nil {
			return nil, err
		}
		if err := m.intake(); err != nil {
			return nil, err
		}
		if slices.ContainsFunc(m.Hidden, func(h Hidden) bool { return h.Shows }) {
			return m, nil
		}
	}
	return nil, fmt.Errorf("trial: no fault of machine %s shows in any function", def.ID)
}

func drawFaults(def *machine.Definition, all []machine.Instance, r *rand.Rand) ([]Hidden, error) {
	odds := make([]float64, len(all))
	for i, in := range all {
		p, _ := def.FaultModes(in.Stage)
		odds[i] = p / (1 - p)
	}
	var out []Hidden
	for range 1 + pick(r, countWeights[:]) {
		i := pick(r, odds)
		odds[i] = 0
		in := all[i]
		_, modes := def.FaultModes(in.Stage)
		weights := make([]float64, len(modes))
		for k := range modes {
			weights[k] = modes[k].Weight
		}
		mode := modes[pick(r, weights)]
		f, err := sim.NewFault(def, in.Stage.ID, in.Key, mode.Mode, mode.Cause, r.Float64())
		if err != nil {
			return nil, fmt.Errorf("trial: %w", err)
		}
		out = append(out, Hidden{Fault: f, CureMinutes: mode.CureMin})
	}
	return out, nil
}

// generator is the random numbers of one purpose; those of neighbouring seeds have
// nothing to do with each other.
func generator(purpose string, seed uint64) *rand.Rand {
	return rand.New(rand.NewPCG(mixed(purpose, seed), mixed(purpose+" too", seed)))
}

func mixed(purpose string, seed uint64) uint64 {
	h := fnv.New64a()
	fmt.Fprint(h, purpose, seed)
	return h.Sum64()
}

// pick draws an index in proportion to the weights.
func pick(r *rand.Rand, weights []float64) int {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	x := r.Float64() * sum
	for i, w := range weights {
		if x -= w; x < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// Bench is a fresh simulation of the recorder.
func (m *Machine) Bench() (*sim.Bench, error) {
	faults := make([]sim.Fault, len(m.Hidden))
	for i, h := range m.Hidden {
		faults[i] = h.Fault
	}
	b, err := sim.NewBench(m.Def, mixed("bench", m.Seed), faults...)
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	b.SlipRate, b.WrongTrack, b.DullElsewhere, b.SeesBoth = slipRate, wrongTrack, dullElsewhere, seesBoth
	return b, nil
}

// tasks are all functions that can be tried, in definition order.
func tasks(def *machine.Definition) []Task {
	var out []Task
	for _, f := range def.Functions {
		if f.CheckMinutes == 0 {
			continue
		}
		for _, key := range def.ReplicaKeys(f.Each) {
			out = append(out, Task{f.ID, key})
		}
	}
	return out
}

// intake fills in the check sheet and which faults it shows.
func (m *Machine) intake() error {
	b, err := m.Bench()
	if err != nil {
		return err
	}
	for i, t := range tasks(m.Def) {
		c, err := b.CheckUnder(t.Function, t.Key, 0, sim.Condition{Case: measure.CaseClosed})
		if err != nil {
			return fmt.Errorf("trial: %w", err)
		}
		f, _ := m.Def.Function(t.Function)
		m.IntakeMinutes += f.CheckMinutes
		m.Intake = append(m.Intake, diagnosis.Check{Ref: fmt.Sprintf("check %d", i+1), Function: t.Function, Key: t.Key,
			Outcome: diagnosis.Outcome(c.Outcome), Symptom: diagnosis.Symptom(c.Symptom), Case: measure.CaseClosed, Seq: int64(i + 1)})
		if c.Outcome == sim.Works {
			continue
		}
		m.Complaint = append(m.Complaint, t)
		path, err := m.Def.Path(t.Function, t.Key)
		if err != nil {
			return fmt.Errorf("trial: %w", err)
		}
		for k := range m.Hidden {
			h := &m.Hidden[k]
			on := slices.ContainsFunc(path, func(in machine.Instance) bool { return in.Stage.ID == h.Stage && in.Key == h.Key })
			_, audible := sim.Audible(sim.Effect{LevelDB: h.LevelDB, TrebleDB: h.TrebleDB, BassDB: h.BassDB, NoiseDB: h.NoiseDB, Dead: h.Dead})
			h.Shows = h.Shows || on && audible
		}
	}
	return nil
}

// Fickle says whether one of the faults that show is intermittent, Mechanical whether
// one is of contact, dirt or alignment.
func (m *Machine) Fickle() bool {
	return slices.ContainsFunc(m.Hidden, func(h Hidden) bool { return h.Shows && h.Mode == machine.Intermittent })
}

// Mechanical is explained at [Machine.Fickle].
func (m *Machine) Mechanical() bool {
	return slices.ContainsFunc(m.Hidden, func(h Hidden) bool { return h.Shows && h.Fault.Mechanical })
}

// Mistold is a copy of a definition in which the prior of each stage is wrong by a
// factor of its own, log-uniform from 1/factor to factor and never above one half.
func Mistold(def *machine.Definition, factor float64, seed uint64) (*machine.Definition, error) {
	data, ok := machine.BuiltinSource(def.ID)
	if !ok {
		return nil, errors.New("trial: only the invented recorders can be told wrong")
	}
	out, err := machine.Load(def.ID+".yaml", data)
	if err != nil {
		return nil, fmt.Errorf("trial: %w", err)
	}
	r := generator("told", seed)
	for i := range out.Stages {
		s := &out.Stages[i]
		prior, _ := out.FaultModes(s)
		s.Prior = min(0.5, prior*math.Pow(factor, 2*r.Float64()-1))
	}
	return out, nil
}
