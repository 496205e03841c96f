package handout

import (
	"strconv"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
)

// Fault is a control or function that did not do what it should when it was last tried.
type Fault struct {
	Number  int
	What    string // "fader 3", "record here, rewind, play here"
	Track   string // "5"; empty where it is of none
	Symptom string // "dull", "intermittent"
	Remark  string
	Entry   job.Entry // the last that says so
}

// place of a check: what of the entry says where, not how.
func place(c *job.Check) job.Check {
	return job.Check{Item: c.Item, Function: c.Function, Key: c.Key}
}

func faulty(c *job.Check) bool {
	return c != nil && (c.Outcome == diagnosis.Faulty || c.Outcome == diagnosis.Intermittent)
}

// faultNumber is the number kept with the entry. Of records from before there was one, faults
// are numbered by the order in which each place was first found faulty, from 1.
// What was corrected or taken back keeps its number, so that the others keep theirs: a label
// that sticks on a recorder cannot be renumbered.
func faultNumber(v *job.View) func(e job.Entry) int {
	number := map[job.Check]int{}
	for _, e := range v.Entries {
		if faulty(e.Check) && number[place(e.Check)] == 0 {
			number[place(e.Check)] = len(number) + 1
		}
	}
	return func(e job.Entry) int {
		if e.Check.Fault > 0 {
			return e.Check.Fault
		}
		return number[place(e.Check)]
	}
}

// Faults are those that stand: what was last found faulty or intermittent and not found
// working since, in the order of the check sheet.
func Faults(v *job.View) []Fault {
	number := faultNumber(v)
	var out []Fault
	add := func(what, track string, e *job.Entry) {
		if e == nil || !faulty(e.Check) {
			return
		}
		f := Fault{Number: number(*e), What: what, Track: track, Symptom: string(e.Check.Symptom), Remark: e.Remark, Entry: *e}
		if e.Check.Outcome == diagnosis.Intermittent {
			f.Symptom = join(", ", "comes and goes", f.Symptom)
		}
		if f.Symptom == "" {
			f.Symptom = string(e.Check.Outcome)
		}
		out = append(out, f)
	}
	for _, it := range v.Sheet {
		add(it.Name, "", it.Latest)
	}
	for _, fn := range v.Functions {
		track := ""
		if def, ok := v.Def.Function(fn.Function); ok && def.Each == machine.EachTrack {
			track = fn.Key
		}
		name := fn.Name
		if track == "" && fn.Key != "" {
			name += " " + fn.Key
		}
		add(name, track, fn.Latest)
	}
	return out
}

// Mark is the number of a fault as its label has it: "F3".
func (f Fault) Mark() string { return "F" + strconv.Itoa(f.Number) }

// join puts together what is not empty.
func join(sep string, parts ...string) string {
	s := ""
	for _, p := range parts {
		switch {
		case p == "":
		case s == "":
			s = p
		default:
			s += sep + p
		}
	}
	return s
}
