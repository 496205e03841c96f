package diagnosis

// model is the abstract problem: components in scopes that form a tree, and
// observations that each see a set of components. It knows no recorder; the
// adapter builds it from a definition and the evidence.
type model struct {
	scopes     []scopeDef // parents before children; scope 0 is the shared one
	components []component
	families   []family
	obs        []*observation
	maxFaults  int // per scope
}

// scopeDef is one place where faults are counted: shared, a group, a track.
type scopeDef struct {
	name   string
	parent int // -1 for scope 0
}

// component can be good or faulty in one of its atoms.
type component struct {
	scope int
	prior float64 // probability that it is faulty
	atoms []atom
}

// atom is one fault mode, or one bin of a fault mode whose effect is a range.
type atom struct {
	mode   int     // the fault mode it belongs to, an index of the adapter
	weight float64 // share of the component's prior; sums to 1 over its atoms
	effect effect
}

// family is an unknown offset that several observations share, on a grid.
type family struct {
	nodes []float64 // dB, ascending
	p     []float64 // prior, sums to 1
	wide  bool      // nothing is known of the offset but its siblings
}

// observation is one piece of evidence.
type observation struct {
	ref   string
	space *space
	path  []int // components it sees, in signal order
	fam   int   // family, -1 none
	// states is the number of ways in which it may have come about; 0 is right,
	// the others are wrong readings of some kind.
	states int
	// like writes for each state its probability times the likelihood of what
	// was observed, given what arrives and the offset.
	like func(arrive []total, offset float64, out []float64)
	// reading is what like is the likelihood of where that is one reading or figure, nil
	// else: the sums then go about it faster.
	reading *readingModel
	// y is the observed value in dB and hasY says that there is one: a start
	// for the search over offsets.
	y    float64
	hasY bool
}

// scopeOf is the deepest scope among those of the observation's components.
func (m *model) scopeOf(o *observation) int {
	deepest := 0
	for _, c := range o.path {
		if s := m.components[c].scope; m.depth(s) > m.depth(deepest) {
			deepest = s
		}
	}
	return deepest
}

func (m *model) depth(s int) int {
	d := 0
	for s > 0 {
		s = m.scopes[s].parent
		d++
	}
	return d
}

// above says whether a is b or an ancestor of b.
func (m *model) above(a, b int) bool {
	for b != a && b > 0 {
		b = m.scopes[b].parent
	}
	return a == b
}

// straighten moves components into a common ancestor until every observation
// sees scopes of one line of descent only, which the sums rely on.
func (m *model) straighten() {
	for changed := true; changed; {
		changed = false
		for _, o := range m.obs {
			deep := m.scopeOf(o)
			for _, c := range o.path {
				s := m.components[c].scope
				if m.above(s, deep) {
					continue
				}
				for !m.above(s, deep) {
					s = m.scopes[s].parent
				}
				m.components[c].scope = s
				changed = true
			}
		}
	}
}
