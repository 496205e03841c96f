package teardown

import (
	"fmt"

	"headstack/unit"
)

// Plan is what to do, visit by visit.
type Plan struct {
	Visits []Visit `json:"visits"`
	// Total is the bench time of all visits with its 95 % interval, Cost what it is
	// made of.
	Total Estimate `json:"total"`
	Cost  Cost     `json:"cost"`
	// Openings, Insertions and Swaps count openings made, flat cables plugged in and
	// changes of the supply between on and off. Of equally long plans this one has the
	// fewest openings, then insertions, then swaps.
	Openings   int `json:"openings"`
	Insertions int `json:"insertions"`
	Swaps      int `json:"swaps"`
	// Decisions say of each optional task whether it is done now, and why. Later is
	// the expected time of what is left, Expected that and the total together: the
	// figure that the plan makes least.
	Decisions []Decision   `json:"decisions,omitempty"`
	Later     unit.Minutes `json:"later_minutes"`
	Expected  unit.Minutes `json:"expected_minutes"`
	// Proved says that no plan has fewer expected minutes, nor as many with fewer
	// openings or insertions; SwapsProved that none of these has fewer swaps either.
	// Where Proved is false the plan is the best found, and LeastMinutes, below
	// Expected, is what no plan can undercut.
	Proved       bool         `json:"proved"`
	SwapsProved  bool         `json:"swaps_proved"`
	LeastMinutes unit.Minutes `json:"least_minutes"`
	// Verdict says in a sentence whether the plan is proved least.
	Verdict string `json:"verdict"`
	// Looked is how many situations the searches for it looked at.
	Looked   int      `json:"looked"`
	Warnings []string `json:"warnings,omitempty"`
	// Cautions belong before any work on this type of recorder.
	Cautions []string `json:"cautions"`
}

// Visit goes from the closed recorder, or from what is open now, until it is closed
// again. Work on the closed recorder between is a visit without openings.
type Visit struct {
	Steps       []Step      `json:"steps"`
	Openings    []string    `json:"openings,omitempty"` // in the order in which they are made
	Tasks       []string    `json:"tasks,omitempty"`    // in the order in which they are done
	Cost        Cost        `json:"cost"`
	Preparation Preparation `json:"preparation"`
}

// Step is one thing to do.
type Step struct {
	Do      Do           `json:"do"`
	Opening string       `json:"opening,omitempty"` // that is opened, closed or realigned after
	Task    string       `json:"task,omitempty"`
	Text    string       `json:"text"`
	Minutes unit.Minutes `json:"minutes"`
	// Spread is the half width of the 95 % interval of Minutes, as a fraction of them.
	Spread float64 `json:"spread"`
	// Open is what stands open after the step.
	Open     []string `json:"open,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
}

// Do is the kind of a step.
type Do string

// The kinds of steps.
const (
	DoOpen     Do = "open"
	DoClose    Do = "close"
	DoRealign  Do = "realign" // what a closing costs afterwards
	DoTask     Do = "task"
	DoPowerOn  Do = "power-on"
	DoPowerOff Do = "power-off"
)

// Cost is bench time by what it goes into.
type Cost struct {
	Opening     unit.Minutes `json:"opening_minutes"`
	Tasks       unit.Minutes `json:"task_minutes"`
	Closing     unit.Minutes `json:"closing_minutes"`
	Realignment unit.Minutes `json:"realignment_minutes"`
}

// Total is the sum of the parts.
func (c Cost) Total() unit.Minutes { return c.Opening + c.Tasks + c.Closing + c.Realignment }

func (c Cost) plus(d Cost) Cost {
	return Cost{c.Opening + d.Opening, c.Tasks + d.Tasks, c.Closing + d.Closing, c.Realignment + d.Realignment}
}

// Estimate is a time with its 95 % interval.
type Estimate struct {
	Minutes unit.Minutes `json:"minutes"`
	Low     unit.Minutes `json:"low_minutes"`
	High    unit.Minutes `json:"high_minutes"`
}

// Figure is the estimate to be written for a person.
func (e Estimate) Figure() unit.Figure {
	return unit.Figure{Value: float64(e.Minutes), Lo: float64(e.Low), Hi: float64(e.High), Unit: "min"}
}

// Decision says of one optional task whether it is done now, with the figures that
// decide.
type Decision struct {
	Task string `json:"task"`
	Now  bool   `json:"now"`
	// For names a task that cannot be done without it; then there is nothing to decide.
	For    string  `json:"for,omitempty"`
	Chance float64 `json:"chance"` // that it is needed later
	// LaterVisit is what a visit of its own would cost, LaterExpected that times the
	// chance.
	LaterVisit    Cost         `json:"later_visit"`
	LaterExpected unit.Minutes `json:"later_expected_minutes"`
	// NowMinutes is its work now. Extra are the openings that only optional work asks
	// for, each with its whole cost and the other optional work that shares it.
	NowMinutes unit.Minutes `json:"now_minutes"`
	Extra      []Extra      `json:"extra,omitempty"`
	// OtherWay is the expected total if this one were decided the other way and all
	// the rest anew; missing where it was not found with proof. Margin is what that
	// would cost more.
	OtherWay *unit.Minutes `json:"other_way_minutes,omitempty"`
	Margin   *unit.Minutes `json:"margin_minutes,omitempty"`
	Text     string        `json:"text"`
}

// Extra is an opening made for optional work only.
type Extra struct {
	Opening string       `json:"opening"`
	Minutes unit.Minutes `json:"minutes"` // down, up and what follows
	With    []string     `json:"with,omitempty"`
}

// SpreadText says where the intervals of the times are from.
func (p *Plan) SpreadText() string {
	known, usual := 0, 0
	for _, v := range p.Visits {
		for _, s := range v.Steps {
			switch {
			case s.Minutes == 0:
			case s.Spread != UsualSpread:
				known++
			default:
				usual++
			}
		}
	}
	rest := fmt.Sprintf("within ±%.0f %% (95 %%; common practice, no source: nobody counted)", 100*UsualSpread)
	switch {
	case known == 0:
		return "Each time is taken to be " + rest + "."
	case usual == 0:
		return "Times and their intervals are by what was counted."
	}
	return fmt.Sprintf("%d of %d times and their intervals are by what was counted; the others are taken to be %s.", known, known+usual, rest)
}
