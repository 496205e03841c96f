package trial

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"

	"headstack/machine"
)

// Trial is a series of recorders of one definition and the policies that mend each.
type Trial struct {
	Def       *machine.Definition
	Machines  int
	FirstSeed uint64 // recorder i has seed FirstSeed + i
	// PriorFactor is the greatest factor by which the priors that the advisor is told
	// are wrong; 1: they are right.
	PriorFactor float64
	Policies    []Maker
	Advisor     func(told *machine.Definition) (Advisor, error)
	// Have are recorders of this series that were mended before, and not again.
	Have []Row
	// Keep, if set, gets each recorder that is ready, one at a time, in no order.
	Keep func(r Row, done, of int) error
}

// Row is one recorder and how each policy fared on it.
type Row struct {
	Seed          uint64            `json:"seed"`
	Hidden        []Was             `json:"hidden"`
	Draws         int               `json:"draws"`
	Complaints    int               `json:"complaints"`
	Fickle        bool              `json:"intermittent"`
	Mechanical    bool              `json:"mechanical"`
	IntakeMinutes float64           `json:"intake_minutes"`
	Results       map[string]Result `json:"results"`
}

// Was is a hidden fault as a report has it.
type Was struct {
	Stage      string       `json:"stage"`
	Track      string       `json:"track"`
	Mode       machine.Mode `json:"mode"`
	Cause      string       `json:"cause"`
	Mechanical bool         `json:"mechanical,omitempty"`
	Shows      bool         `json:"shows"`
}

// Report is the outcome of a trial.
type Report struct {
	Machine     string   `json:"machine"`
	FirstSeed   uint64   `json:"first_seed"`
	PriorFactor float64  `json:"prior_factor"`
	Policies    []string `json:"policies"`
	Rows        []Row    `json:"rows"`
}

// Run mends every recorder with every policy. Recorders are shared out over the
// processors; the report does not depend on how many there are. The error is the first
// recorder's that could not be carried through, or the context's.
func (t Trial) Run(ctx context.Context) (*Report, error) {
	out := &Report{Machine: t.Def.ID, FirstSeed: t.FirstSeed, PriorFactor: max(1, t.PriorFactor), Rows: make([]Row, t.Machines)}
	for _, p := range t.Policies {
		out.Policies = append(out.Policies, p.Name)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	errs := make([]error, t.Machines)
	next := make(chan int)
	var all sync.WaitGroup
	var mu sync.Mutex
	done := 0
	for range min(t.Machines, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for i := range next {
				out.Rows[i], errs[i] = t.row(ctx, t.FirstSeed+uint64(i))
				mu.Lock()
				done++
				if t.Keep != nil && errs[i] == nil {
					errs[i] = t.Keep(out.Rows[i], done, t.Machines)
				}
				mu.Unlock()
				if errs[i] != nil {
					cancel()
				}
			}
		})
	}
	for i := range t.Machines {
		next <- i
	}
	close(next)
	all.Wait()
	for _, err := range errs {
		if err != nil && !errors.Is(err, context.Canceled) {
			return nil, err
		}
	}
	return out, ctx.Err()
}

func (t Trial) row(ctx context.Context, seed uint64) (Row, error) {
	if err := ctx.Err(); err != nil {
		return Row{}, err
	}
	if i := slices.IndexFunc(t.Have, func(r Row) bool { return r.Seed == seed }); i >= 0 {
		return t.Have[i], nil
	}
	m, told, a, err := t.prepare(seed)
	if err != nil {
		return Row{}, err
	}
	row := Row{Seed: seed, Draws: m.Draws, Complaints: len(m.Complaint), Fickle: m.Fickle(), Mechanical: m.Mechanical(),
		IntakeMinutes: m.IntakeMinutes, Results: map[string]Result{}}
	for _, h := range m.Hidden {
		row.Hidden = append(row.Hidden, Was{h.Stage, h.Key, h.Mode, h.Cause, h.Fault.Mechanical, h.Shows})
	}
	for _, p := range t.Policies {
		r, err := mend(ctx, m, told, a, p.New(), p.Ask, func(string, ...any) {})
		if err != nil {
			return row, err
		}
		row.Results[p.Name] = r
	}
	return row, nil
}

// prepare draws a recorder and makes the advisor that is told of its type.
func (t Trial) prepare(seed uint64) (*Machine, *machine.Definition, Advisor, error) {
	m, err := Draw(t.Def, seed)
	if err != nil {
		return nil, nil, nil, err
	}
	told := t.Def
	if t.PriorFactor > 1 {
		if told, err = Mistold(t.Def, t.PriorFactor, seed); err != nil {
			return nil, nil, nil, err
		}
	}
	a, err := t.Advisor(told)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("trial: %w", err)
	}
	return m, told, a, nil
}
