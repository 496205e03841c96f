package teardown

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"headstack/machine"
	"headstack/unit"
)

// Task is one piece of work that is known to be done, or that is worth doing while
// the recorder is open.
type Task struct {
	ID   string `json:"id"`
	Text string `json:"text"`
	Kind Kind   `json:"kind"`
	// Needs are the openings that must be open, each with all before it: "lid", and
	// with its replica where the opening repeats: "extender/3".
	Needs []string `json:"needs,omitempty"`
	// Shut are the openings that must be shut; one that repeats may be named without
	// its replica and then means all of them.
	Shut []string `json:"shut,omitempty"`
	// Case is the case state it wants: closed, propped, open; empty: any.
	Case string `json:"case,omitempty"`
	// Power is on, off, or empty for work that does not mind. Work with power on is
	// not done while another opening leaves a connector parted that it passes (see
	// Function) or parts on the mains bare, nor during an opening.
	Power Power `json:"power,omitempty"`
	// Function is what is tried or lined up, and Key its replica. It says which
	// connectors must be joined; where it is empty and power is on, all must be.
	Function string `json:"function,omitempty"`
	Key      string `json:"key,omitempty"`
	// Minutes of bench work once it is reached, above 0 or 0, and Spread the half
	// width of its 95 % interval as a fraction of it; 0 takes [UsualSpread].
	Minutes unit.Minutes `json:"minutes"`
	Spread  float64      `json:"spread,omitempty"`
	// Follows are the tasks that must be done before it.
	Follows []string `json:"follows,omitempty"`
	// Parts are exchanged, Materials are used up on it: isopropanol, swabs, solder.
	Parts     []string `json:"parts,omitempty"`
	Materials []string `json:"materials,omitempty"`
	Tools     []string `json:"tools,omitempty"`
	// Boards are those that the work touches; empty: those whose parts are reached at
	// its innermost openings.
	Boards []string `json:"boards,omitempty"`
	// Cautions belong to this work, beside those of its openings.
	Cautions []string `json:"cautions,omitempty"`
	// Optional is work that can be left. Chance is then the probability that it will
	// be needed in a later visit of its own, which takes LaterMinutes of work (0: as
	// now) beside the openings.
	Optional     bool         `json:"optional,omitempty"`
	Chance       float64      `json:"chance,omitempty"`
	LaterMinutes unit.Minutes `json:"later_minutes,omitempty"`
}

// Kind says why a task is done. It is for the reader of a plan; the plan does not
// depend on it.
type Kind string

// The kinds of tasks.
const (
	Fix        Kind = "fix"
	Settle     Kind = "settle" // tell whether a suspect is at fault
	LineUp     Kind = "line-up"
	Preventive Kind = "preventive"
	Test       Kind = "test"
)

// Power is the state of the supply that a task wants.
type Power string

// The states of the supply.
const (
	AnyPower Power = ""
	On       Power = "on"
	Off      Power = "off"
)

// Options are what the definition does not say.
type Options struct {
	// Open are the openings that are open now, each with all before it.
	Open []string
	// Together names openings that repeat and of which several may be open at once.
	// Else one replica is opened at a time, as with a single extender (common
	// practice, no source), unless a task needs two.
	Together []string
	// Insertions are how often each flat cable was plugged in so far, by connector id,
	// or "CE/3" where it repeats.
	Insertions map[string]int
	// Spreads are half widths as [Task].Spread has them for the minutes of making and
	// closing an opening, by its id; 0 and what is missing take [UsualSpread].
	Spreads map[string]Spread
	// Nodes bounds the situations that one search looks at; 0: [DefaultNodes].
	Nodes int
}

// Spread is how far the minutes of an opening may be off, as fractions of them (95 %).
type Spread struct{ Down, Up float64 }

// Problem is a set of tasks on one recorder, checked and ready to be planned.
type Problem struct {
	def     *machine.Definition
	tasks   []Task
	opts    Options
	tree    []opening
	at      map[string]int // place of an opening in tree
	cables  []string       // flat cables that an opening of the tree parts
	start   set
	demands []demand
	warn    []string
}

// New checks the tasks against the definition's teardown tree. The definition is kept
// and must not change. The error joins a [TaskError] for each thing that is wrong.
func New(def *machine.Definition, tasks []Task, opts Options) (*Problem, error) {
	if opts.Nodes <= 0 {
		opts.Nodes = DefaultNodes
	}
	p := &Problem{def: def, tasks: slices.Clone(tasks), opts: opts, at: map[string]int{}}
	c := &checker{p: p}
	c.tasks()
	c.plant()
	if len(c.errs) == 0 {
		c.demands()
	}
	if len(c.errs) == 0 {
		c.order()
	}
	if len(c.errs) == 0 && len(p.model(nil, true).class) > most {
		c.bad("", "tasks", fmt.Sprintf("they want more than %d different states", most), "plan fewer at a time")
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	return p, nil
}

// Plan is the cheapest way to do all that must be done and what is worth doing beside
// it. The plan is the same on every computer. The only error is that of the context.
func (p *Problem) Plan(ctx context.Context) (*Plan, error) {
	chosen, err := p.solve(ctx, nil)
	if err != nil {
		return nil, err
	}
	plan := p.report(chosen)
	if err := p.decide(ctx, plan, chosen); err != nil {
		return nil, err
	}
	return plan, nil
}

// task returns a task by its id.
func (p *Problem) task(id string) (int, bool) {
	i := slices.IndexFunc(p.tasks, func(t Task) bool { return t.ID == id })
	return i, i >= 0
}

// sorted returns the keys of a map in order.
func sorted[K cmp.Ordered, V any](m map[K]V) []K {
	var out []K
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// minutes writes bench time for a sentence: "8 min", "2.5 min".
func minutes(m unit.Minutes) string { return fmt.Sprintf("%.4g min", float64(m)) }
