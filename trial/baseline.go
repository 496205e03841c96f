package trial

import (
	"cmp"
	"math"
	"slices"

	"headstack/diagnosis"
	"headstack/machine"
)

// Maker makes the policy for one recorder; a policy may remember what it did.
type Maker struct {
	Name string
	// Ask is how the advisor is asked: a policy that only wants to know what is suspect
	// asks for no long plan.
	Ask diagnosis.Situation
	New func() Policy
}

// Advised does what the advice says.
func Advised() Maker {
	return Maker{"advice", diagnosis.Situation{Brief: true}, func() Policy { return advised{} }}
}

// brief asks for what is known.
var brief = diagnosis.Situation{Brief: true, Fast: true}

type advised struct{}

func (advised) Next(v *View) (diagnosis.Step, bool) {
	if len(v.Advice.Actions) == 0 || v.Advice.Actions[0].Kind == diagnosis.StepClose {
		return diagnosis.Step{}, true
	}
	return v.Advice.Actions[0], false
}

// Clairvoyant knows the faults: it opens, cleans once what cleaning probably cures in
// less time, repairs, and tries. Nobody needs less time on average.
func Clairvoyant() Maker {
	return Maker{"clairvoyant", brief, func() Policy { return clairvoyant{} }}
}

type clairvoyant struct{}

func (clairvoyant) Next(v *View) (diagnosis.Step, bool) {
	if len(v.left) == 0 {
		return diagnosis.Step{}, true
	}
	h := v.left[0]
	step := diagnosis.Step{Kind: diagnosis.StepRepair, Stage: h.Stage, Key: h.Key}
	stage, _ := v.Def.Stage(h.Stage)
	_, modes := v.Def.FaultModes(stage)
	for _, m := range modes {
		cleaned := slices.ContainsFunc(v.Evidence.Works, func(w diagnosis.Work) bool {
			return w.Kind == diagnosis.WorkClean && w.Stage == h.Stage && w.Key == h.Key
		})
		if m.Cause == h.Cause && cleanMinutes < m.CureChance(string(diagnosis.WorkClean))*m.CureMin && !cleaned {
			step.Kind = diagnosis.StepClean
		}
	}
	return step, false
}

// HalfSplit reads next the test point on the failing path that divides the probability
// of the suspects most evenly, whatever it costs, and repairs a stage when its
// probability reaches the threshold or no reading divides any further.
func HalfSplit(threshold float64) Maker {
	return Maker{"half split", brief, func() Policy { return &classic{threshold: threshold, reading: halfSplit, left: (*focus).whole} }}
}

// AlongPath reads the test points of the failing path in signal order up to the first
// bad one, then repairs the stages between it and the last good one, most probable
// first; or a stage whose probability reaches the threshold.
func AlongPath(threshold float64) Maker {
	return Maker{"along the path", brief, func() Policy { return &classic{threshold: threshold, reading: alongPath, left: (*focus).between} }}
}

// When the two baselines take an observation again, and when they call it a day.
const (
	doubtful     = 0.25 // probability of being wrong
	mostRetakes  = 2
	suspectLeast = 0.02 // suspects below it are not reckoned with
	stillSuspect = 0.20 // after a repair, a suspect on the way of an untried complaint
)

// classic is a technician of the trade's rules with the engine's reading of the
// evidence: doubted observations again, the failing function first, a reading as the rule
// says, a repair when the rule has none, and the function tried after each repair.
type classic struct {
	threshold float64
	reading   func(*focus) (diagnosis.Step, bool)
	left      func(*focus) []machine.Instance // what the readings leave to be repaired
	retaken   map[Task]int
	// since is what readings are reckoned from, for each function that was looked into.
	since map[Task]int64
}

func (c *classic) Next(v *View) (diagnosis.Step, bool) {
	if c.retaken == nil {
		c.retaken, c.since = map[Task]int{}, map[Task]int64{}
	}
	if s, ok := c.again(v); ok {
		return s, false
	}
	if s, ok := c.afterRepair(v); ok {
		return s, false
	}
	f := c.focus(v)
	if f == nil {
		return diagnosis.Step{}, true
	}
	top, p := f.top(f.path)
	if p >= c.threshold {
		return repair(top), false
	}
	if s, ok := c.reading(f); ok {
		return s, false
	}
	return repair(c.candidate(f)), false
}

func repair(in machine.Instance) diagnosis.Step {
	return diagnosis.Step{Kind: diagnosis.StepRepair, Stage: in.Stage.ID, Key: in.Key}
}

// again takes a doubted observation again.
func (c *classic) again(v *View) (diagnosis.Step, bool) {
	for _, d := range v.Advice.Recheck {
		if d.ProbabilityWrong < doubtful {
			continue
		}
		for _, r := range v.Evidence.Readings {
			if at := (Task{r.TestPoint, r.Key}); r.Ref == d.Reading && r.Seq > lastWork(v) && c.retaken[at] < mostRetakes {
				c.retaken[at]++
				return diagnosis.Step{Kind: diagnosis.StepReading, TestPoint: r.TestPoint, Key: r.Key, ToneHz: r.ToneHz, Again: true}, true
			}
		}
		for _, x := range v.Evidence.Checks {
			if at := (Task{x.Function, x.Key}); x.Ref == d.Reading && x.Seq > lastWork(v) && c.retaken[at] < mostRetakes {
				c.retaken[at]++
				return diagnosis.Step{Kind: diagnosis.StepCheck, Function: x.Function, Key: x.Key, Again: true}, true
			}
		}
	}
	return diagnosis.Step{}, false
}

func lastWork(v *View) int64 {
	if n := len(v.Evidence.Works); n > 0 {
		return v.Evidence.Works[n-1].Seq
	}
	return 0
}

// since looks at the tries of a function after the last work.
func since(v *View, t Task) (works, fails int) {
	for _, c := range v.Evidence.Checks {
		switch {
		case c.Function != t.Function || c.Key != t.Key || c.Seq < lastWork(v):
		case c.Outcome == diagnosis.Works:
			works++
		default:
			fails++
		}
	}
	return works, fails
}

// afterRepair tries, of the functions of the complaint that pass the repaired stage, the
// one that is tried fastest, as often as it must work.
func (c *classic) afterRepair(v *View) (diagnosis.Step, bool) {
	n := len(v.Evidence.Works)
	if n == 0 {
		return diagnosis.Step{}, false
	}
	w := v.Evidence.Works[n-1]
	var best Task
	least := math.Inf(1)
	for _, t := range v.Complaint {
		if !slices.ContainsFunc(pathOf(v.Def, t), func(in machine.Instance) bool { return in.Stage.ID == w.Stage && in.Key == w.Key }) {
			continue
		}
		if works, fails := since(v, t); works+fails > 0 {
			return diagnosis.Step{Kind: diagnosis.StepCheck, Function: t.Function, Key: t.Key}, fails == 0 && works < v.needs(t)
		}
		if f, _ := v.Def.Function(t.Function); f.CheckMinutes < least {
			best, least = t, f.CheckMinutes
		}
	}
	return diagnosis.Step{Kind: diagnosis.StepCheck, Function: best.Function, Key: best.Key}, !math.IsInf(least, 1)
}

func pathOf(def *machine.Definition, t Task) []machine.Instance {
	path, err := def.Path(t.Function, t.Key)
	if err != nil {
		panic("trial: " + err.Error()) // Load has resolved every function
	}
	return path
}

// focus is a failing function that is looked into.
type focus struct {
	v       *View
	task    Task
	path    []machine.Instance
	symptom diagnosis.Symptom
	p       map[machine.Instance]float64 // of each suspect
	since   int64
}

// focus is the failing function that has the most probable suspect on its way, and the
// shortest of these; nil when none is left to look into.
func (c *classic) focus(v *View) *focus {
	p := map[machine.Instance]float64{}
	for _, s := range v.Advice.Suspects {
		if stage, ok := v.Def.Stage(s.Stage); ok && s.Probability >= suspectLeast {
			p[machine.Instance{Stage: stage, Key: s.Track}] = s.Probability
		}
	}
	var best *focus
	most := 0.0
	for _, t := range v.Complaint {
		works, fails := since(v, t)
		f := &focus{v: v, task: t, path: pathOf(v.Def, t), p: p, since: c.since[t], symptom: symptomOf(v, t)}
		_, x := f.top(f.path)
		if works > 0 && fails == 0 || works+fails == 0 && len(v.Evidence.Works) > 0 && x < stillSuspect {
			continue
		}
		if best == nil || x > most+1e-9 || x > most-1e-9 && len(f.path) < len(best.path) {
			best, most = f, x
		}
	}
	return best
}

// symptomOf is how a function failed last.
func symptomOf(v *View, t Task) diagnosis.Symptom {
	for i := len(v.Evidence.Checks) - 1; i >= 0; i-- {
		if c := v.Evidence.Checks[i]; c.Function == t.Function && c.Key == t.Key && c.Outcome != diagnosis.Works {
			return c.Symptom
		}
	}
	return diagnosis.SymptomUnknown
}

// top is the most probable of some stages; where none is suspected, the one that fails
// most often.
func (f *focus) top(path []machine.Instance) (best machine.Instance, p float64) {
	usual := 0.0
	for _, in := range path {
		prior, _ := f.v.Def.FaultModes(in.Stage)
		if best.Stage == nil || f.p[in] > p || f.p[in] == p && prior > usual {
			best, p, usual = in, f.p[in], prior
		}
	}
	return best, p
}

// candidate is what is repaired when no reading tells more: the most probable stage of
// those left that was not repaired yet. When all were, everything is read afresh.
func (c *classic) candidate(f *focus) machine.Instance {
	left := slices.DeleteFunc(c.left(f), func(in machine.Instance) bool {
		return slices.ContainsFunc(f.v.Evidence.Works, func(w diagnosis.Work) bool {
			return w.Stage == in.Stage.ID && w.Key == in.Key && w.Seq > f.since
		})
	})
	if len(left) == 0 {
		c.since[f.task] = lastWork(f.v)
		left = f.path
	}
	in, _ := f.top(left)
	return in
}

// whole is the failing path.
func (f *focus) whole() []machine.Instance { return slices.Clone(f.path) }

// A point that can be read on the way of the failing function.
type point struct {
	tp     *machine.TestPoint
	key    string
	path   []machine.Instance
	toneHz float64 // 0: its own
	at     int     // place along the function's path of the last stage that it sees
}

// points are the test points on the failing path, in signal order. A dull or thin sound
// is looked for with a high or a low tone, where the point is read with a tone of the
// programme; hiss is not seen by a meter.
func (f *focus) points() []point {
	var out []point
	if f.symptom == diagnosis.SymptomNoisy {
		return nil
	}
	for i := range f.v.Def.TestPoints {
		tp := &f.v.Def.TestPoints[i]
		for _, key := range f.v.Def.ReplicaKeys(tp.Each) {
			path, err := f.v.Def.TestPointPath(tp, key)
			if err != nil || len(path) == 0 || !f.v.Def.Expected(tp, key).Known {
				continue
			}
			at := slices.Index(f.path, path[len(path)-1])
			if at < 0 {
				continue
			}
			x := point{tp: tp, key: key, path: path, at: at}
			if tp.ToneHz == f.v.Def.Reference.ToneHz && len(f.v.Def.ReplicaKeys(tp.Each)) > 1 {
				switch f.symptom {
				case diagnosis.SymptomDull:
					x.toneHz = 10000
				case diagnosis.SymptomThin:
					x.toneHz = 63
				}
			}
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b point) int { return cmp.Compare(a.at, b.at) })
	return out
}

// sibling is the replica of a point least suspected of anything.
func (f *focus) sibling(x point) string {
	best, least := "", math.Inf(1)
	for _, key := range f.v.Def.ReplicaKeys(x.tp.Each) {
		if key == x.key {
			continue
		}
		path, err := f.v.Def.TestPointPath(x.tp, key)
		if err != nil {
			continue
		}
		p := 0.0
		for _, in := range path {
			p += f.p[in]
		}
		if p < least {
			best, least = key, p
		}
	}
	return best
}

// read is the last reading taken at a point.
func (f *focus) read(x point, key string) (diagnosis.Reading, bool) {
	for i := len(f.v.Evidence.Readings) - 1; i >= 0; i-- {
		r := f.v.Evidence.Readings[i]
		if r.TestPoint == x.tp.ID && r.Key == key && r.ToneHz == cmp.Or(x.toneHz, x.tp.ToneHz) && r.Seq > f.since {
			return r, true
		}
	}
	return diagnosis.Reading{}, false
}

// step is the reading of a point, with a sibling where only that says what is normal.
func (f *focus) step(x point) diagnosis.Step {
	s := diagnosis.Step{Kind: diagnosis.StepReading, TestPoint: x.tp.ID, Key: x.key, ToneHz: x.toneHz}
	if x.toneHz != 0 {
		if sib := f.sibling(x); sib != "" {
			if _, ok := f.read(x, sib); !ok {
				s.Siblings = []string{sib}
			}
		}
	}
	return s
}

// halfSplit reads where the suspects are divided most evenly.
func halfSplit(f *focus) (diagnosis.Step, bool) {
	total := 0.0
	for _, in := range f.path {
		total += f.p[in]
	}
	var best point
	nearest := 0.5 - suspectLeast
	for _, x := range f.points() {
		if _, ok := f.read(x, x.key); ok {
			continue
		}
		before := 0.0
		for _, in := range x.path {
			if slices.Contains(f.path, in) {
				before += f.p[in]
			}
		}
		if off := math.Abs(before/total - 0.5); off < nearest-1e-9 {
			best, nearest = x, off
		}
	}
	if best.tp == nil {
		return diagnosis.Step{}, false
	}
	return f.step(best), true
}

// alongPath reads the next point up to the first bad one.
func alongPath(f *focus) (diagnosis.Step, bool) {
	for _, x := range f.points() {
		r, ok := f.read(x, x.key)
		if !ok {
			return f.step(x), true
		}
		if f.bad(x, r) {
			break
		}
	}
	return diagnosis.Step{}, false
}

// Limits of a good reading: two standard deviations of good recorders and the ear's
// threshold of 3 dB at most.
const (
	badDB        = 3.0
	badSiblingDB = 2.0
)

// bad says whether a reading is.
func (f *focus) bad(x point, r diagnosis.Reading) bool {
	want, limit := f.v.Def.Expected(x.tp, x.key).Value, badDB
	if x.toneHz != 0 {
		s, ok := f.read(x, f.sibling(x))
		if !ok {
			return false
		}
		want, limit = s.Value, badSiblingDB
	}
	ratio := r.Value / want
	return !(ratio > 0) || math.Abs(20*math.Log10(ratio)) > limit
}

// between are the stages between the last good point and the first bad one.
func (f *focus) between() []machine.Instance {
	from := 0
	for _, x := range f.points() {
		r, ok := f.read(x, x.key)
		if !ok {
			continue
		}
		if f.bad(x, r) {
			if x.at >= from {
				return slices.Clone(f.path[from : x.at+1])
			}
			return slices.Clone(f.path)
		}
		from = max(from, x.at+1)
	}
	if from == len(f.path) {
		return slices.Clone(f.path)
	}
	return slices.Clone(f.path[from:])
}
