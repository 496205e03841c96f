package handout

import (
	"fmt"
	"strings"

	"headstack/job"
	"headstack/machine"
	"headstack/teardown"
	"headstack/testtape"
	"headstack/unit"
)

// day is how a label and a hand-over write a date.
const day = "2006-01-02"

func footOf(v *job.View) string {
	return join(", ", v.Job.ID, join(" ", "serial", v.Job.Serial))
}

// FaultLabels are labels for the faults that stand.
func FaultLabels(v *job.View) []Label {
	var out []Label
	for _, f := range Faults(v) {
		l := Label{Mark: f.Mark(), Title: f.What, Foot: join(", ", footOf(v), f.Entry.At.UTC().Format(day))}
		if f.Track != "" {
			l.Title += ", track " + f.Track
		}
		l.Lines = []string{f.Symptom}
		if f.Remark != "" {
			l.Lines = append(l.Lines, f.Remark)
		}
		out = append(out, l)
	}
	return out
}

// CupLabels are labels for the cups that take the screws, one for each opening. Of a plan
// they are those of its visits; without one those of the definition.
func CupLabels(v *job.View, plan *teardown.Plan) []Label {
	names := map[string]string{}
	var order []string
	add := func(id, name string) {
		if _, seen := names[id]; !seen {
			names[id] = name
			order = append(order, id)
		}
	}
	if plan != nil {
		for _, visit := range plan.Visits {
			for _, o := range visit.Openings {
				add(o, openingName(v.Def, o))
			}
		}
	} else {
		for i := range v.Def.Openings {
			o := &v.Def.Openings[i]
			add(o.ID, o.Name)
		}
	}
	var out []Label
	for _, id := range order {
		out = append(out, Label{Mark: id, Title: "screws of one cup", Lines: []string{names[id], "length ____ mm, how many ____", "place ____________"}, Foot: footOf(v)})
	}
	return out
}

// openingName is the name of an opening or of one replica of it: "strip/3".
func openingName(def *machine.Definition, name string) string {
	id, key, _ := strings.Cut(name, "/")
	if o, ok := def.Opening(id); ok {
		return join(" ", o.Name, key)
	}
	return name
}

// ConnectorLabels are two labels for each connector, one for either side with the same
// mark: of a plan those that it parts, without one those of the definition.
func ConnectorLabels(v *job.View, plan *teardown.Plan) []Label {
	var plugs []teardown.Plug
	if plan != nil {
		seen := map[string]bool{}
		for _, visit := range plan.Visits {
			for _, p := range visit.Preparation.Connectors {
				if !seen[p.Connector] {
					seen[p.Connector] = true
					plugs = append(plugs, p)
				}
			}
		}
	} else {
		plugs = plugsOf(v.Def)
	}
	var out []Label
	for _, p := range plugs {
		for i, side := range p.Sides {
			other := p.Sides[1-i]
			l := Label{Mark: p.Connector, Title: "on " + boardText(side), Lines: []string{"to " + boardText(other)}, Foot: footOf(v)}
			if len(side.Pins) > 0 {
				l.Lines = append(l.Lines, fmt.Sprintf("pin 1 is %s; mark it", side.Pins[0]))
			}
			var traps []string
			if !p.Keyed {
				traps = append(traps, "not keyed: goes in both ways")
			}
			if p.Mirrored {
				traps = append(traps, "mirrored: the pins run the other way on the other side")
			}
			if len(traps) > 0 {
				l.Lines = append(l.Lines, strings.Join(traps, "; "))
			}
			out = append(out, l)
		}
	}
	return out
}

func boardText(s teardown.Side) string {
	if s.Name == "" {
		return s.Board
	}
	return s.Name
}

// plugsOf are all connectors of a recorder, each replica by itself.
func plugsOf(def *machine.Definition) []teardown.Plug {
	side := func(s machine.ConnectorSide) teardown.Side {
		out := teardown.Side{Board: s.Board, Pins: s.Pins}
		if b, ok := def.Board(s.Board); ok {
			out.Name = b.Name
		}
		return out
	}
	var out []teardown.Plug
	for i := range def.Connectors {
		c := &def.Connectors[i]
		for _, key := range def.ReplicaKeys(c.Each) {
			name := c.ID
			if key != "" {
				name += "/" + key
			}
			out = append(out, teardown.Plug{Connector: name, Kind: c.Kind, Keyed: c.Keyed, Mirrored: c.Mirrored, Sides: [2]teardown.Side{side(c.A), side(c.B)}})
		}
	}
	return out
}

// TapeLabels are labels for test tapes. passes says how often each was played in this job,
// by name, as far as the record knows.
func TapeLabels(v *job.View, tapes []*testtape.Tape, passes map[string]int) []Label {
	var out []Label
	for _, t := range tapes {
		eq := fmt.Sprintf("%g%sµs", t.EqualisationUs.High, unit.ThinSpace)
		if t.EqualisationUs.Low > 0 {
			eq = fmt.Sprintf("%g + %g%sµs", t.EqualisationUs.Low, t.EqualisationUs.High, unit.ThinSpace)
		}
		out = append(out, Label{Title: t.Name, Lines: []string{
			fmt.Sprintf("0%sdB: %g%snWb/m, %s, at %s", unit.ThinSpace, t.Reference.FluxivityNWbM, unit.ThinSpace, t.Reference.Convention, unit.Frequency(unit.Hertz(t.Reference.ToneHz))),
			fmt.Sprintf("%g%scm/s; equalisation %s; %s", t.SpeedCmS, unit.ThinSpace, eq, strings.ReplaceAll(string(t.TrackLayout), "-", " ")),
			fmt.Sprintf("passes: %d in %s; before it ____", passes[t.Name], v.Job.ID),
			"keep 1.5 m from any demagnetiser"}})
	}
	return out
}
