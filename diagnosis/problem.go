package diagnosis

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"headstack/machine"
)

// problem is the model of one job with the way back from its numbers to stages
// and evidence.
type problem struct {
	eng    *Engine
	model  *model
	seen   []machine.Instance       // per component
	comp   map[machine.Instance]int // of those that some observation sees
	notes  []note                   // per observation
	aside  []aside                  // evidence that is only in or out of range
	fams   map[string]int           // by name
	priors []offsetPrior            // per family
	works  []Work                   // by Seq
	look   look                     // of the evidence that is being added

	instruments []Instrument // the register
}

// note says in words what an observation was.
type note struct {
	ref      string
	function string
	key      string
	point    *machine.TestPoint
	check    *Check
	readings []Reading // repeats in one probe setting
	model    *readingModel
	measure  string // level, treble, bass, noise or shape of a capture
	shape    *shapeFinding
	y        float64 // dB relative to what is expected
	toneHz   float64
	text     string // "98 mV at TP11-3, 100 mV expected"
	wide     bool   // only siblings say what it should be
}

// aside is a reading that is judged by its range alone.
type aside struct {
	ref, text string
	ok        bool
}

// atlas is what of a definition does not change with the evidence: the scope
// of every stage instance and its fault modes.
type atlas struct {
	def    *machine.Definition
	scopes []scopeDef
	scope  map[machine.Instance]int
	prior  map[machine.Instance]float64
	modes  map[*machine.Stage][]machine.FaultMode
	atoms  map[atomsKey][]atom
	all    []machine.Instance
}

// atomsKey is a stage as shared by all tracks or not.
type atomsKey struct {
	stage  *machine.Stage
	shared bool
}

// atomsOf is the atoms of a stage instance.
func (a *atlas) atomsOf(in machine.Instance) []atom {
	return a.atoms[atomsKey{in.Stage, a.scope[in] == 0}]
}

func newAtlas(def *machine.Definition) (*atlas, error) {
	a := &atlas{def: def, scope: map[machine.Instance]int{}, prior: map[machine.Instance]float64{},
		modes: map[*machine.Stage][]machine.FaultMode{}, atoms: map[atomsKey][]atom{}, all: def.Instances()}
	a.scopes = []scopeDef{{"shared", -1}}
	group := map[string]int{}
	for _, g := range def.Groups {
		group[g.ID] = len(a.scopes)
		a.scopes = append(a.scopes, scopeDef{"group " + g.Name, 0})
	}
	track := map[string]int{}
	for _, k := range def.ReplicaKeys(machine.EachTrack) {
		parent := 0
		if n, err := strconv.Atoi(k); err == nil {
			if g, ok := def.GroupOf(n); ok {
				parent = group[g.ID]
			}
		}
		track[k] = len(a.scopes)
		a.scopes = append(a.scopes, scopeDef{"track " + k, parent})
	}
	served, err := servedTracks(def)
	if err != nil {
		return nil, err
	}
	other := map[string]int{}
	for _, in := range a.all {
		switch in.Stage.Each {
		case "":
			a.scope[in] = 0
		case machine.EachGroup:
			a.scope[in] = group[in.Key]
		case machine.EachTrack:
			a.scope[in] = track[in.Key]
		default:
			a.scope[in] = a.otherScope(replica{in.Stage.Each, in.Key}, served, track, other)
		}
		a.describe(in)
	}
	return a, nil
}

// replica is one member of a replica set: strip 3.
type replica struct{ each, key string }

// otherScope places a member of a named replica set: with the one track it
// serves, with the shared stages when it serves several, else by itself.
func (a *atlas) otherScope(r replica, served map[replica][]string, track, other map[string]int) int {
	switch tracks := served[r]; len(tracks) {
	case 1:
		return track[tracks[0]]
	case 0:
		name := r.each + " " + r.key
		if _, ok := other[name]; !ok {
			other[name] = len(a.scopes)
			a.scopes = append(a.scopes, scopeDef{name, 0})
		}
		return other[name]
	}
	return 0
}

// describe notes prior and fault modes of an instance's stage.
func (a *atlas) describe(in machine.Instance) {
	if _, ok := a.modes[in.Stage]; !ok {
		_, modes := a.def.FaultModes(in.Stage)
		a.modes[in.Stage] = modes
	}
	key := atomsKey{in.Stage, a.scope[in] == 0}
	if _, ok := a.atoms[key]; !ok {
		a.atoms[key] = atomsOf(a.modes[in.Stage], key.shared, nil)
	}
	prior, _ := a.def.FaultModes(in.Stage)
	a.prior[in] = prior
}

// servedTracks lists, for each member of a replica set, the tracks whose
// functions pass it.
func servedTracks(def *machine.Definition) (map[replica][]string, error) {
	out := map[replica][]string{}
	for _, f := range def.Functions {
		if f.Each != machine.EachTrack {
			continue
		}
		for _, k := range def.ReplicaKeys(f.Each) {
			path, err := def.Path(f.ID, k)
			if err != nil {
				return nil, fmt.Errorf("diagnosis: %w", err)
			}
			for _, in := range path {
				r := replica{in.Stage.Each, in.Key}
				if !slices.Contains(out[r], k) {
					out[r] = append(out[r], k)
				}
			}
		}
	}
	return out, nil
}

// build makes the model of the evidence.
func (e *Engine) build(ev Evidence) (*problem, error) {
	p := &problem{eng: e, instruments: ev.Instruments, comp: map[machine.Instance]int{}, fams: map[string]int{},
		model: &model{scopes: slices.Clone(e.atlas.scopes), maxFaults: e.opt.MaxFaults}}
	ev = ev.sorted()
	if err := p.addWorks(ev.Works); err != nil {
		return nil, err
	}
	for i := range ev.Checks {
		c := &ev.Checks[i]
		p.look = lookAt(c.Seq, c.Provoked, c.Case)
		if err := p.addCheck(&ev.Checks[i]); err != nil {
			return nil, err
		}
	}
	if err := p.addReadings(ev.Readings); err != nil {
		return nil, err
	}
	for i := range ev.Measures {
		p.look = look{seq: ev.Measures[i].Seq}
		if err := p.addMeasured(&ev.Measures[i]); err != nil {
			return nil, err
		}
	}
	if err := p.addShapes(ev.Measures); err != nil {
		return nil, err
	}
	p.refine()
	p.makeFamilies()
	return p, nil
}

// sorted is the evidence in an order that depends on what it says only, so that
// verdicts do not depend on the order in which it was given, not even in their
// last digits.
func (ev Evidence) sorted() Evidence {
	out := Evidence{slices.Clone(ev.Checks), slices.Clone(ev.Readings), slices.Clone(ev.Measures), slices.Clone(ev.Works), ev.Instruments}
	slices.SortStableFunc(out.Checks, func(a, b Check) int {
		return cmp.Or(cmp.Compare(a.Function, b.Function), compareKeys(a.Key, b.Key), cmp.Compare(a.Outcome, b.Outcome),
			cmp.Compare(a.Symptom, b.Symptom), cmp.Compare(a.Ref, b.Ref))
	})
	slices.SortStableFunc(out.Readings, func(a, b Reading) int {
		return cmp.Or(cmp.Compare(a.TestPoint, b.TestPoint), compareKeys(a.Key, b.Key), cmp.Compare(a.ToneHz, b.ToneHz),
			cmp.Compare(a.Session, b.Session), cmp.Compare(a.Instrument, b.Instrument), cmp.Compare(a.Setting, b.Setting),
			cmp.Compare(a.Value, b.Value), cmp.Compare(a.Ref, b.Ref))
	})
	slices.SortStableFunc(out.Measures, func(a, b Measured) int {
		return cmp.Or(cmp.Compare(a.Function, b.Function), cmp.Compare(a.Ref, b.Ref))
	})
	return out
}

// path numbers the components of a path, adding those not met before.
func (p *problem) path(list []machine.Instance) []int {
	out := make([]int, len(list))
	for i, in := range list {
		in = p.placed(in)
		c, ok := p.comp[in]
		if !ok {
			c = len(p.seen)
			p.comp[in] = c
			p.seen = append(p.seen, in)
			a := p.eng.atlas
			p.model.components = append(p.model.components, component{scope: a.scope[in], prior: a.prior[in], atoms: p.outcomes(in, a.atomsOf(in))})
		}
		out[i] = c
	}
	return out
}

// add books an observation.
func (p *problem) add(o *observation, n note) {
	o.ref = n.ref
	o.space.look = p.look
	p.model.obs = append(p.model.obs, o)
	p.notes = append(p.notes, n)
}

// compareKeys sorts replica keys by number where they are numbers.
func compareKeys(a, b string) int {
	x, errX := strconv.Atoi(a)
	y, errY := strconv.Atoi(b)
	if errX == nil && errY == nil {
		return cmp.Compare(x, y)
	}
	return cmp.Compare(a, b)
}
