package web

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/teardown"
	"headstack/unit"
)

// visitView is a visit of a plan as the page lists it.
type visitView struct {
	teardown.Visit
	Number  int
	Title   string // "lid, then tape board" or "with everything closed"
	Minutes string // with its interval
	Steps   []visitStep
	Parts   []costPart
}

type visitStep struct {
	teardown.Step
	Mark shape
	Tap  *openingTap // recorded by one tap; nil where it cannot be done yet

	Spots []spotView // where its part is
}

type costPart struct {
	Name    string
	Minutes unit.Minutes
}

func costParts(c teardown.Cost) []costPart {
	return []costPart{{"opening", c.Opening}, {"work", c.Tasks}, {"closing", c.Closing}, {"realignment", c.Realignment}}
}

// stepMarks are shape and word of what is done in a visit.
var stepMarks = map[teardown.Do]shape{
	teardown.DoOpen: {"unknown", "▽", "open"}, teardown.DoClose: {"unknown", "△", "close"}, teardown.DoRealign: {"unproven", "↻", "set again"},
	teardown.DoTask: {"proved", "■", "do"}, teardown.DoPowerOn: {"retake", "●", "power on"}, teardown.DoPowerOff: {"retake", "○", "power off"},
}

func visitViews(def *machine.Definition, plan *teardown.Plan) []visitView {
	var out []visitView
	for i, v := range plan.Visits {
		v.Preparation = once(plan, v)
		w := visitView{Visit: v, Number: i + 1, Title: "with everything closed", Minutes: visitEstimate(v.Steps).Figure().String(), Parts: costParts(v.Cost)}
		if len(v.Openings) > 0 {
			w.Title = strings.Join(openingNames(def, v.Openings), ", then ")
		}
		for j, s := range v.Steps {
			x := visitStep{Step: s, Mark: stepMarks[s.Do]}
			// Only what is first can be recorded: the rest is a plan.
			if i == 0 && j == 0 && (s.Do == teardown.DoOpen || s.Do == teardown.DoClose) {
				if o, ok := def.Opening(s.Opening); ok {
					tap := tapOf(o, s.Do == teardown.DoClose)
					x.Tap = &tap
				}
			}
			w.Steps = append(w.Steps, x)
		}
		out = append(out, w)
	}
	return out
}

// once leaves out of a preparation what stands at the head of the plan or at the step or
// connector that it is about: a caution that is repeated is not read.
func once(plan *teardown.Plan, v teardown.Visit) teardown.Preparation {
	p := v.Preparation
	said := [][]string{plan.Cautions}
	for _, s := range v.Steps {
		said = append(said, s.Cautions)
	}
	p.Connectors = slices.Clone(p.Connectors)
	for i := range p.Connectors {
		p.Connectors[i].Cautions = beside(p.Connectors[i].Cautions, said...)
		said = append(said, p.Connectors[i].Cautions)
	}
	p.Cautions = beside(p.Cautions, said...)
	p.Power = slices.Clone(p.Power)
	for i := range p.Power {
		if strings.Contains(p.Power[i].Text, p.Power[i].Expect) {
			p.Power[i].Expect = ""
		}
	}
	return p
}

// visitEstimate adds up the steps of one visit: each time is taken to be within its
// spread, independently of the others.
func visitEstimate(steps []teardown.Step) teardown.Estimate {
	sum, squares := 0.0, 0.0
	for _, s := range steps {
		sum += float64(s.Minutes)
		squares += math.Pow(s.Spread*float64(s.Minutes), 2)
	}
	half := math.Sqrt(squares)
	return teardown.Estimate{Minutes: unit.Minutes(sum), Low: unit.Minutes(max(0, sum-half)), High: unit.Minutes(sum + half)}
}

// openingNames are openings in words: "extender/3" is "Card on extender, 3".
func openingNames(def *machine.Definition, ids []string) []string {
	var out []string
	for _, id := range ids {
		base, key, _ := strings.Cut(id, "/")
		name := id
		if o, ok := def.Opening(base); ok {
			name = o.Name
			if key != "" {
				name += ", " + key
			}
		}
		out = append(out, name)
	}
	return out
}

// decisionMark is shape and word of a decision.
func decisionMark(d teardown.Decision) shape {
	if d.Now {
		return shape{"proved", "■", "do it now"}
	}
	return shape{"unknown", "○", "leave it"}
}

// decisionRows is the arithmetic of a decision, one line a term.
func decisionRows(d teardown.Decision) [][2]string {
	if d.For != "" {
		return [][2]string{{"needed for", d.For}}
	}
	rows := [][2]string{{"its work now", minutesText(d.NowMinutes)}}
	for _, x := range d.Extra {
		name := "opening made for it, " + x.Opening
		if len(x.With) > 0 {
			name += " (shared with " + strings.Join(x.With, ", ") + ")"
		}
		rows = append(rows, [2]string{name, minutesText(x.Minutes)})
	}
	rows = append(rows, [2]string{"chance that it is needed later", unit.Probability(d.Chance)},
		[2]string{"a visit of its own later", minutesText(d.LaterVisit.Total())},
		[2]string{"so later, on average", minutesText(d.LaterExpected)})
	if d.OtherWay != nil {
		rows = append(rows, [2]string{"expected in all if decided the other way", minutesText(*d.OtherWay)})
	}
	if d.Margin != nil {
		rows = append(rows, [2]string{"which costs more by", minutesText(*d.Margin)})
	}
	return rows
}

// sideText is a connector from one side, pin 1 first.
func sideText(s teardown.Side) string {
	var pins []string
	for i, p := range s.Pins {
		pins = append(pins, fmt.Sprintf("%d %s", i+1, p))
	}
	return strings.Join(pins, " · ")
}

// markSteps shows at each step of the plan where its part is, and once.
func (m *openingsModel) markSteps() {
	for i := range m.Visits {
		shown := map[string]bool{}
		for j := range m.Visits[i].Steps {
			st := &m.Visits[i].Steps[j]
			if st.Do != teardown.DoTask || shown[st.Task] {
				continue
			}
			shown[st.Task] = true
			st.Spots = m.SpotsOf(taskPart(m.View.Def, st.Task))
		}
	}
}

// taskPart is the designator that a task of a plan is about: "fix C31-a" names it, "set
// level/VRa/3" its trim and key. Of other tasks it is empty.
func taskPart(def *machine.Definition, task string) string {
	what, of, _ := strings.Cut(task, " ")
	switch what {
	case "fix":
		return of
	case "set":
		words := strings.Split(of, "/")
		for _, t := range def.Trims {
			if i := slices.Index(words, t.ID); i >= 0 {
				return def.Designator(t.Part, t.Each, strings.Join(words[i+1:], "/"))
			}
		}
	}
	return ""
}
