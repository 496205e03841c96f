package lining

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"sync"

	"headstack/machine"
	"headstack/sim/trims"
)

// Policy is a way of lining a recorder up.
type Policy struct {
	Name string
	Do   func(m *trims.Recorder) (Result, error)
	// Every makes only each so many recorders of a series be lined up so; 0: each.
	Every uint64
}

// Policies are the planned technician, the same without regard to the case, and the plain
// procedure in three ways of looking.
func Policies() []Policy {
	return []Policy{
		{Name: "planned", Do: func(m *trims.Recorder) (Result, error) { return Planned(m, Way{}, nil) }},
		{Name: "planned, case ignored", Do: func(m *trims.Recorder) (Result, error) { return Planned(m, Way{NoCase: true}, nil) }},
		{Name: "plain", Do: func(m *trims.Recorder) (Result, error) { return Plain(m, EachTurn) }},
		{Name: "plain, by rows", Do: func(m *trims.Recorder) (Result, error) { return Plain(m, Rows) }},
		{Name: "plain, watching", Do: func(m *trims.Recorder) (Result, error) { return Plain(m, Watching) }},
	}
}

// Trial is a series of recorders of one definition.
type Trial struct {
	Def       *machine.Definition
	Machines  int
	FirstSeed uint64 // recorder i has seed FirstSeed + i
	Policies  []Policy
	// Have are recorders of this series that were lined up before, and not again by the
	// policies that are in them.
	Have []Row
	// Keep, if set, gets each recorder that is ready, one at a time, in no order.
	Keep func(Row) error
}

// Row is one recorder under every policy.
type Row struct {
	Seed    uint64            `json:"seed"`
	Results map[string]Result `json:"results"`
}

// Report is the outcome of a trial.
type Report struct {
	Machine   string
	FirstSeed uint64
	Policies  []string
	Rows      []Row
}

// Run lines every recorder up under every policy. Recorders are shared out over the
// processors; the report does not depend on how many there are.
func (t Trial) Run(ctx context.Context) (*Report, error) {
	out := &Report{Machine: t.Def.ID, FirstSeed: t.FirstSeed, Rows: make([]Row, t.Machines)}
	for _, p := range t.Policies {
		out.Policies = append(out.Policies, p.Name)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	errs := make([]error, t.Machines)
	next := make(chan int)
	var all sync.WaitGroup
	var keep sync.Mutex
	for range min(t.Machines, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for i := range next {
				out.Rows[i], errs[i] = t.row(ctx, t.FirstSeed+uint64(i))
				if t.Keep != nil && errs[i] == nil {
					keep.Lock()
					errs[i] = t.Keep(out.Rows[i])
					keep.Unlock()
				}
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
	row := Row{Seed: seed, Results: map[string]Result{}}
	if i := slices.IndexFunc(t.Have, func(r Row) bool { return r.Seed == seed }); i >= 0 {
		maps.Copy(row.Results, t.Have[i].Results)
	}
	for _, p := range t.Policies {
		if _, ok := row.Results[p.Name]; ok {
			continue
		}
		if err := ctx.Err(); err != nil {
			return row, err
		}
		if p.Every > 1 && seed%p.Every != 0 {
			continue
		}
		m, err := trims.New(t.Def, seed)
		if err != nil {
			return row, err
		}
		r, err := p.Do(m)
		if err != nil {
			return row, fmt.Errorf("lining: machine %s, seed %d, %s: %w", t.Def.ID, seed, p.Name, err)
		}
		row.Results[p.Name] = r
	}
	return row, nil
}
