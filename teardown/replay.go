package teardown

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"headstack/unit"
)

// UsualSpread is the half width of the 95 % interval of a time at the bench, as a
// fraction of it, where nobody said better. Common practice, no source.
const UsualSpread = 0.3

// player goes through the acts of a plan and writes down the steps.
type player struct {
	p     *Problem
	m     *model
	s     state
	steps []Step
}

// replay writes the steps of an answer.
func (p *Problem) replay(a *answer) []Step {
	r := &player{p: p, m: a.model, s: state{open: p.start}}
	r.settle()
	for _, t := range a.acts {
		switch t.do {
		case open:
			r.power(false)
			r.open(t.i)
		case shut:
			r.power(false)
			r.shut(t.i)
		case perform:
			r.perform(t.i)
		case swap:
			r.power(!r.s.on)
		case end:
			r.power(false)
			for _, i := range r.m.priority {
				if r.s.open.has(i) {
					r.shut(i)
				}
			}
			return r.steps
		}
		r.settle()
	}
	return r.steps
}

// settle does what the state allows, as the search did. Where the search did not look
// at power it is switched here, as seldom as one state allows.
func (r *player) settle() {
	for {
		other := false
		for again := true; again; {
			again, other = false, false
			for k := range r.m.class {
				if r.s.done.has(k) || !r.m.fits(&r.s, k) || !r.m.worth(k) {
					continue
				}
				if !r.suits(k) {
					other = true
					continue
				}
				r.perform(k)
				again = true
			}
		}
		if !other || r.m.powered {
			return
		}
		r.power(!r.s.on)
	}
}

// suits tells whether the supply is as a class wants it. A class made without regard
// to power may have tasks of one kind only, as its members ask for the same state.
func (r *player) suits(k int) bool {
	w := r.p.tasks[r.m.class[k].tasks[0]].Power
	return w == AnyPower || (w == On) == r.s.on
}

func (r *player) perform(k int) {
	if !r.suits(k) {
		r.power(!r.s.on)
	}
	r.s.done.add(k)
	for _, i := range r.m.class[k].tasks {
		t := &r.p.tasks[i]
		r.add(Step{Do: DoTask, Task: t.ID, Text: t.Text, Minutes: t.Minutes, Cautions: t.Cautions})
	}
}

func (r *player) open(i int) {
	o := &r.m.tree[i]
	r.s.open.add(i)
	r.add(Step{Do: DoOpen, Opening: o.name, Text: r.p.openingText(o), Minutes: minutesOf(o.of.DownMin), Cautions: o.of.Cautions})
}

func (r *player) shut(i int) {
	o := &r.m.tree[i]
	r.s.open.drop(i)
	r.add(Step{Do: DoClose, Opening: o.name, Text: "put back: " + r.p.openingText(o), Minutes: minutesOf(o.of.UpMin)})
	if o.of.AfterMin > 0 {
		r.add(Step{Do: DoRealign, Opening: o.name, Text: o.of.AfterWhy, Minutes: minutesOf(o.of.AfterMin)})
	}
}

func (r *player) power(on bool) {
	if r.s.on == on {
		return
	}
	r.s.on = on
	s := Step{Do: DoPowerOff, Text: "switch off, pull the plug or adaptor"}
	if on {
		s = Step{Do: DoPowerOn, Text: "power on, after the checks before power"}
	}
	r.add(s)
}

func (r *player) add(s Step) {
	s.Spread = r.p.spreadOf(&s)
	for i := range r.s.open.all {
		s.Open = append(s.Open, r.m.tree[i].name)
	}
	r.steps = append(r.steps, s)
}

// openingText is the name of an opening with its replica.
func (p *Problem) openingText(o *opening) string {
	if o.key == "" {
		return o.of.Name
	}
	return fmt.Sprintf("%s, %s %s", o.of.Name, o.of.Each, o.key)
}

// expectedLater is what leaving the task costs on average.
func (t *Task) expectedLater(visit Cost) unit.Minutes {
	return unit.Minutes(t.Chance) * visit.Total()
}

// count adds the time of a step to the estimate that it rests on: an opening made
// twice errs twice in the same way, and so do its replicas.
func (p *Problem) count(times map[string]unit.Minutes, s Step) {
	if s.Do == DoTask {
		times["task "+s.Task] += s.Minutes
		return
	}
	if i, ok := p.at[s.Opening]; ok {
		times[string(s.Do)+" "+p.tree[i].of.ID] += s.Minutes
	}
}

// estimate sums estimates that err independently: half widths add in squares.
func (p *Problem) estimate(times map[string]unit.Minutes) Estimate {
	spread := map[string]float64{}
	for _, t := range p.tasks {
		spread["task "+t.ID] = t.Spread
	}
	for id, s := range p.opts.Spreads {
		spread[string(DoOpen)+" "+id], spread[string(DoClose)+" "+id] = s.Down, s.Up
	}
	var sum, squares float64
	for _, k := range sorted(times) {
		w := cmp.Or(spread[k], UsualSpread)
		sum += float64(times[k])
		squares += math.Pow(w*float64(times[k]), 2)
	}
	half := math.Sqrt(squares)
	return Estimate{unit.Minutes(sum), unit.Minutes(max(0, sum-half)), unit.Minutes(sum + half)}
}

// spreadOf is how far the minutes of a step may be off.
func (p *Problem) spreadOf(s *Step) float64 {
	own := 0.0
	switch i := p.at[s.Opening]; s.Do {
	case DoTask:
		k, _ := p.task(s.Task)
		own = p.tasks[k].Spread
	case DoOpen:
		own = p.opts.Spreads[p.tree[i].of.ID].Down
	case DoClose:
		own = p.opts.Spreads[p.tree[i].of.ID].Up
	}
	return cmp.Or(own, UsualSpread)
}

// innermost are the openings of a task behind which it needs no other.
func (p *Problem) innermost(i int) []int {
	need := p.demands[i].need
	var out []int
	for o := range need.all {
		if p.tree[o].behind.and(need).count() == 1 {
			out = append(out, o)
		}
	}
	slices.Sort(out)
	return out
}
