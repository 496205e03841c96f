package plan

import (
	"errors"
	"fmt"
	"math"
)

// None stands for no cover and no state.
const None = -1

// Problem is a machine with an unknown fault and all that can be done about it.
type Problem struct {
	// P are the probabilities of the states before anything was done; they sum to 1.
	// A state is a set of faults, or any hypothesis that excludes the others.
	P []float64
	// Sound is the state with nothing wrong, None if there is none. Repairs lead
	// towards it.
	Sound int
	// Goal says when the problem is over.
	Goal Goal
	// Class is the class of each state, for Identify; nil: each state is its own.
	Class   []int
	Covers  []Cover
	Actions []Action
	// EndCost is what it costs when the problem ends in each state: the return of a
	// machine whose fault only hid. nil: nothing.
	EndCost []float64
	// Reassemble adds the Close cost of every open cover to each end.
	Reassemble bool
	// Stuck is the cost of a situation in which no action is left that could change
	// anything. 0 means that it cannot happen; where it does, costs become infinite.
	Stuck float64
	// Discount is the worth of a cost one action later; 0 means 1. Below 1 the horizon
	// is infinite, and only then may an action renew the problem.
	Discount float64
}

// Goal says when a problem is over.
type Goal int

// The goals.
const (
	End      Goal = iota // when an outcome of an action ends it
	Identify             // when one class of states is certain
)

// Cover is what must be opened on the way to a place. It stays open until it is
// closed for an action that wants it shut.
type Cover struct {
	Open, Close float64 // costs, at least 0
	Behind      int     // the cover that must be open before, None if none
}

// Action is a test, a repair, a way to end, or any mixture. It first moves the
// state (To), then shows an outcome with the chances of the state it led to
// (Like).
type Action struct {
	ID   string
	Cost float64 // without covers
	// CostIn is added in each state, before the move; negative is a gain. nil: nothing.
	CostIn []float64
	Cover  int   // must be open, with all before it; None if none
	Shut   []int // covers that must be closed, with all behind them
	// Like are the chances of the outcomes in each state; each row sums to 1. nil: one
	// outcome that tells nothing. Wrong outcomes are part of it.
	Like [][]float64
	// To are the states that each state moves to; a nil or empty row stays. nil: nothing moves.
	To [][]Move
	// Ends says which outcomes end the problem; nil: none.
	Ends []bool
	// Renews says that the problem starts again from P after the action.
	Renews bool
	// Once says that to do it again without moving anything tells nothing: a test is
	// open again after an action with To, a repair is not.
	Once bool
}

// Move is a next state with its probability.
type Move struct {
	State int
	P     float64
}

// Situation is what is known and what is open now.
type Situation struct {
	Belief []float64 // probabilities of the states; nil: Problem.P
	Open   []int     // covers, with all before them
	Used   []int     // indices of actions with Once that would tell nothing new
}

// Errors of this package.
var (
	ErrTooLarge = errors.New("plan: more situations can be reached than allowed")
	ErrDiverges = errors.New("plan: no plan of finite cost was found")
)

const (
	maxCovers   = 64
	maxOutcomes = 64
	maxOnce     = 512
)

func (p *Problem) check() error {
	if len(p.P) == 0 {
		return errors.New("plan: no states")
	}
	if err := checkChances("P", p.P); err != nil {
		return err
	}
	if p.Sound < None || p.Sound >= len(p.P) {
		return fmt.Errorf("plan: sound state %d of %d", p.Sound, len(p.P))
	}
	for _, v := range []struct {
		name string
		n    int
	}{{"Class", len(p.Class)}, {"EndCost", len(p.EndCost)}} {
		if v.n != 0 && v.n != len(p.P) {
			return fmt.Errorf("plan: %s has %d entries for %d states", v.name, v.n, len(p.P))
		}
	}
	if p.Discount < 0 || p.Discount > 1 || math.IsNaN(p.Discount) {
		return fmt.Errorf("plan: discount %v", p.Discount)
	}
	if err := p.checkCovers(); err != nil {
		return err
	}
	once := 0
	for i := range p.Actions {
		if err := p.checkAction(&p.Actions[i]); err != nil {
			return fmt.Errorf("plan: action %d %q: %w", i, p.Actions[i].ID, err)
		}
		if p.Actions[i].Once {
			once++
		}
	}
	if once > maxOnce {
		return fmt.Errorf("plan: %d actions that tell nothing twice, at most %d", once, maxOnce)
	}
	return nil
}

func (p *Problem) checkCovers() error {
	if len(p.Covers) > maxCovers {
		return fmt.Errorf("plan: %d covers, at most %d", len(p.Covers), maxCovers)
	}
	for i, c := range p.Covers {
		if !(c.Open >= 0) || !(c.Close >= 0) {
			return fmt.Errorf("plan: cover %d costs %v to open and %v to close", i, c.Open, c.Close)
		}
		steps := 0
		for at := c.Behind; at != None; at = p.Covers[at].Behind {
			if at < 0 || at >= len(p.Covers) {
				return fmt.Errorf("plan: cover %d is behind %d", i, at)
			}
			if steps++; steps > len(p.Covers) {
				return fmt.Errorf("plan: cover %d is behind itself", i)
			}
		}
	}
	return nil
}

func (p *Problem) checkAction(a *Action) error {
	n := len(p.P)
	switch {
	case math.IsNaN(a.Cost) || math.IsInf(a.Cost, 0):
		return fmt.Errorf("cost %v", a.Cost)
	case a.Cover < None || a.Cover >= len(p.Covers):
		return fmt.Errorf("cover %d of %d", a.Cover, len(p.Covers))
	case a.CostIn != nil && len(a.CostIn) != n:
		return fmt.Errorf("costs in %d states of %d", len(a.CostIn), n)
	case a.Like != nil && len(a.Like) != n:
		return fmt.Errorf("chances in %d states of %d", len(a.Like), n)
	case a.To != nil && len(a.To) != n:
		return fmt.Errorf("moves from %d states of %d", len(a.To), n)
	case a.Renews && (p.Discount == 0 || p.Discount == 1):
		return errors.New("renews a problem without discount")
	}
	outcomes := 1
	if a.Like != nil {
		outcomes = len(a.Like[0])
	}
	if outcomes == 0 || outcomes > maxOutcomes {
		return fmt.Errorf("%d outcomes, at most %d", outcomes, maxOutcomes)
	}
	if a.Ends != nil && len(a.Ends) != outcomes {
		return fmt.Errorf("ends for %d outcomes of %d", len(a.Ends), outcomes)
	}
	for s, row := range a.Like {
		if len(row) != outcomes {
			return fmt.Errorf("%d outcomes in state %d, %d before", len(row), s, outcomes)
		}
		if err := checkChances("Like", row); err != nil {
			return fmt.Errorf("state %d: %w", s, err)
		}
	}
	for s, row := range a.To {
		sum := 0.0
		for _, m := range row {
			if m.State < 0 || m.State >= n || !(m.P >= 0) {
				return fmt.Errorf("state %d moves to %d with %v", s, m.State, m.P)
			}
			sum += m.P
		}
		if len(row) > 0 && math.Abs(sum-1) > 1e-6 {
			return fmt.Errorf("moves from state %d sum to %v", s, sum)
		}
	}
	for _, c := range a.Shut {
		if c < 0 || c >= len(p.Covers) {
			return fmt.Errorf("shut cover %d of %d", c, len(p.Covers))
		}
		for at := a.Cover; at != None; at = p.Covers[at].Behind {
			if at == c {
				return fmt.Errorf("cover %d must be open and shut", c)
			}
		}
	}
	return nil
}

// checkChances checks that p are probabilities that sum to 1 within 1e-6.
func checkChances(name string, p []float64) error {
	sum := 0.0
	for i, x := range p {
		if !(x >= 0) || math.IsInf(x, 1) {
			return fmt.Errorf("plan: %s[%d] is %v", name, i, x)
		}
		sum += x
	}
	if math.Abs(sum-1) > 1e-6 {
		return fmt.Errorf("plan: %s sums to %v", name, sum)
	}
	return nil
}
