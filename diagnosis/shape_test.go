package diagnosis

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"headstack/machine"
	"headstack/measure"
	"headstack/signature"
)

// The words of a definition are the causes that captures are explained by.
func TestSignatureWords(t *testing.T) {
	alone := []signature.Cause{signature.None, signature.Gain, signature.GroupGain} // of the level alone
	for _, w := range machine.Signatures() {
		c := signature.Cause(w)
		if c.Words() == w && c != signature.Gain && c != signature.Spacing && c != signature.Azimuth && c != signature.Height && c != signature.Equalisation {
			t.Errorf("%q is no cause", w)
		}
		if s := shapeOf(c); (s == 0) != slices.Contains(alone, c) {
			t.Errorf("%q has the shape %b", w, s)
		}
		if shapeOf(c) != 0 && shapeWords[c] == "" {
			t.Errorf("no words for %q", w)
		}
	}
	if n := len(machine.Signatures()); n != len(shapeCauses)+len(alone) {
		t.Errorf("%d words for %d causes", n, len(shapeCauses)+len(alone))
	}
}

func bitsBetween(t *shapeTable, a, b shapes) float64 {
	return math.Log2(t.trusted(a) / t.trusted(b))
}

func TestShapeTable(t *testing.T) {
	sp, hi, lo := shapeOf(signature.Spacing), shapeOf(signature.HighCorner), shapeOf(signature.LowCorner)
	type single = map[signature.Cause]float64
	type both = map[signature.Pair]float64
	for name, c := range map[string]struct {
		single single
		both   both
		a, b   shapes
		lo, hi float64 // bits of a over b
	}{
		"a clear shape is worth the cap and no more": {single{signature.Spacing: 5000, signature.HighCorner: 4000}, nil, sp, hi, 8.5, 9.25},
		// e³ = 20 = 4.3 bits, where no floor is near.
		"a slight preference is worth itself": {single{signature.Spacing: 3, signature.HighCorner: 0}, nil, sp, hi, 4, 4.33},
		// The level figure has the gain already.
		"a loss of level has no shape":              {single{signature.Gain: 300, signature.Spacing: -10}, nil, 0, sp, 8, 9},
		"gain and spacing together speak for it":    {single{signature.Gain: 300, signature.Spacing: 100}, both{signature.PairOf(signature.Gain, signature.Spacing): 900}, sp, 0, 8, 9},
		"nothing is known of spacing by itself":     {single{signature.HighCorner: 300}, nil, sp, hi, 0, 0},
		"both where both are seen":                  {single{signature.LowCorner: 200, signature.HighCorner: 300}, both{signature.PairOf(signature.LowCorner, signature.HighCorner): 500}, lo | hi, hi, 8, 9.25},
		"no second cause for a slightly better fit": {single{signature.LowCorner: 0, signature.HighCorner: 300}, both{signature.PairOf(signature.LowCorner, signature.HighCorner): 304}, lo | hi, hi, 0, 0},
		"a second cause that does not fit":          {single{signature.LowCorner: -20, signature.HighCorner: 300}, nil, hi, lo | hi, 8, 9.25},
	} {
		tab := newShapeTable(c.single, c.both)
		if got := bitsBetween(tab, c.a, c.b); got < c.lo-1e-9 || got > c.hi+1e-9 {
			t.Errorf("%s: %.2f bits, want %g to %g", name, got, c.lo, c.hi)
		}
	}
}

// Whatever a fit says, one capture is worth no more than the stated bits.
func TestShapeCap(t *testing.T) {
	tab := newShapeTable(map[signature.Cause]float64{}, nil)
	for i, c := range shapeCauses {
		tab.single[shapeOf(c)] = float64(-10000 * i)
	}
	tab.single[shapeOf(signature.Spacing)], tab.best = 1e300, 1e300
	limit := math.Log2(1 + tab.labels()*(1-wrongFit)/wrongFit)
	if limit < 11 || limit > 11.5 {
		t.Errorf("the cap is %.2f bits, the documentation says 11", limit)
	}
	for _, c := range shapeCauses {
		if b := math.Abs(bitsBetween(tab, shapeOf(signature.Spacing), shapeOf(c))); b > limit+1e-9 || math.IsNaN(b) {
			t.Errorf("%s: %.3f bits, over the cap of %.3f", c, b, limit)
		}
	}
}

// A dead stage hides what another would do; an open winding does not.
func TestShapeOfADeadTrack(t *testing.T) {
	m := shapeModel{table: newShapeTable(map[signature.Cause]float64{signature.Gain: 50, signature.HeadOpen: 60, signature.Spacing: -30}, nil)}
	like := func(x total) float64 {
		out := make([]float64, 2)
		x.p = 1
		m.like([]total{x}, 0, out)
		return out[0] + out[1]
	}
	dead := like(total{dead: true})
	if got := like(total{dead: true, own: shapeOf(signature.Spacing)}); got != dead {
		t.Errorf("spacing before a dead stage: %g, dead alone %g", got, dead)
	}
	if got := like(total{dead: true, own: shapeOf(signature.HeadOpen)}); got <= dead {
		t.Errorf("an open winding: %g, dead %g", got, dead)
	}
	m.deaf()
	if a, b := like(total{dead: true, own: shapeOf(signature.HeadOpen)}), like(total{dead: true}); a != b {
		t.Errorf("without hiss an open winding has %g, a dead stage %g", a, b)
	}
}

// Shape observations enter the sums like any other: the engine equals plain exact
// inference on 100 random machines whose faults have shapes.
func TestShapesEqualExactInference(t *testing.T) {
	t.Parallel()
	for i := range 100 {
		rng := rand.New(rand.NewPCG(23, uint64(i)))
		m := smallMachine(rng)
		for c := range m.components {
			comp := &m.components[c]
			for k := range comp.atoms {
				s := shapes(1) << rng.IntN(len(shapeCauses))
				if comp.scope == 0 {
					comp.atoms[k].effect.common = s
				} else if rng.IntN(3) > 0 {
					comp.atoms[k].effect.own = s
				}
			}
		}
		for range 2 {
			m.obs = append(m.obs, randomShape(rng, m))
		}
		p, err := solve(m)
		if err != nil {
			t.Fatalf("machine %d (seed 23, %d): %v", i, i, err)
		}
		a := graphOf(m)
		for c := range m.components {
			want, err := a.g.Posterior(a.comp[c], nil)
			if err != nil {
				t.Fatal(err)
			}
			for k, got := range p.fault[c] {
				if math.Abs(got-want[1+k]) > 1e-9 {
					t.Errorf("machine %d (seed 23, %d): component %d atom %d = %.12g, exact inference %.12g", i, i, c, k, got, want[1+k])
				}
			}
		}
	}
}

func randomShape(rng *rand.Rand, m *model) *observation {
	table := func() *shapeTable {
		single, both := map[signature.Cause]float64{}, map[signature.Pair]float64{}
		for _, c := range append(slices.Clone(shapeCauses), signature.Gain) {
			single[c] = 12*rng.Float64() - 8
		}
		for range 5 {
			both[signature.PairOf(shapeCauses[rng.IntN(6)], shapeCauses[6+rng.IntN(6)])] = 16*rng.Float64() - 8
		}
		return newShapeTable(single, both)
	}
	like := shapeModel{table: table(), shared: rng.IntN(3) == 0}
	for _, c := range shapeCauses[:3] {
		like.given = append(like.given, givenTable{shapeOf(c), table()})
	}
	track := len(m.scopes) - 1
	o := &observation{fam: -1, states: 2, space: newSpace(like.seen(0x3ff)), like: like.like}
	for s := track; s >= 0; s = m.scopes[s].parent {
		for c := range m.components {
			if m.components[c].scope == s && (s == 0 || !like.shared) {
				o.path = append(o.path, c)
			}
		}
	}
	return o
}

// shapedJob is captures of the small recorder: the level of three tracks, treble and bass.
func shapedJob(shapes *signature.Evidence) Evidence {
	var ev Evidence
	for i, tracks := range [][]int{{1, 2}, {3}} {
		m := Measured{Ref: []string{"capture 1", "capture 2"}[i], Function: "play", Shapes: shapes}
		for _, tr := range tracks {
			add := func(name string, hz, v float64) {
				m.Results = append(m.Results, measure.Result{Name: name, Track: tr, ToneHz: hz, Value: v, Lo: v - 0.2, Hi: v + 0.2, Unit: "dB"})
			}
			low := 0.0
			if tr == 3 {
				low = 9
			}
			add("level", 315, -20)
			add("response", 10000, -low)
			add("response", 63, 0)
		}
		ev.Measures = append(ev.Measures, m)
	}
	ev.Checks = []Check{{Ref: "check 1", Function: "play", Key: "1", Outcome: Works}, {Ref: "check 2", Function: "play", Key: "3", Outcome: Faulty, Symptom: SymptomDull}}
	return ev
}

// spacingOn3 is a fit that found spacing on track 3.
func spacingOn3() *signature.Evidence {
	sound := func() map[signature.Cause]float64 {
		return map[signature.Cause]float64{signature.Gain: -4, signature.Spacing: -4, signature.HighCorner: -6, signature.LowCorner: -8, signature.GapWear: -2}
	}
	ev := &signature.Evidence{Shared: map[signature.Cause]float64{signature.Azimuth: -3, signature.Spacing: -2, signature.SpacingRamp: -5},
		Track: []map[signature.Cause]float64{sound(), sound(), sound()}, Group: []float64{math.Inf(-1), math.Inf(-1)}}
	ev.Track[2][signature.Spacing], ev.Track[2][signature.HighCorner] = 90, 40
	return ev
}

func verdictFor(t *testing.T, ev Evidence) *Verdict {
	t.Helper()
	v, err := smallEngine(t).Diagnose(ev)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestShapesDoNotDependOnOrder(t *testing.T) {
	t.Parallel()
	ev := shapedJob(spacingOn3())
	want := verdictFor(t, ev)
	slices.Reverse(ev.Measures)
	slices.Reverse(ev.Checks)
	for _, m := range ev.Measures {
		slices.Reverse(m.Results)
	}
	if got := verdictFor(t, ev); !reflect.DeepEqual(got, want) {
		t.Errorf("in another order the verdict is\n%v\nnot\n%v", got.Sentences, want.Sentences)
	}
}

// Shapes of no track leave all as it is without; shapes of a track replace its treble
// figure and nothing else.
func TestShapesReplaceFigures(t *testing.T) {
	t.Parallel()
	e := smallEngine(t)
	count := func(shapes *signature.Evidence) map[string]int {
		p, err := e.build(shapedJob(shapes))
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]int{}
		for _, n := range p.notes {
			out[n.measure+" "+n.ref+" "+n.key]++
		}
		return out
	}
	plain := count(nil)
	if got := count(&signature.Evidence{Track: make([]map[signature.Cause]float64, 3)}); !reflect.DeepEqual(got, plain) {
		t.Errorf("shapes of no track: %v, without %v", got, plain)
	}
	if a, b := verdictFor(t, shapedJob(nil)), verdictFor(t, shapedJob(&signature.Evidence{Track: make([]map[signature.Cause]float64, 3)})); !reflect.DeepEqual(a, b) {
		t.Error("shapes of no track change the verdict")
	}
	one := spacingOn3()
	one.Track[0], one.Track[1] = nil, nil
	want := map[string]int{}
	for k, n := range plain {
		want[k] = n
	}
	delete(want, "treble capture 2 3")
	delete(want, "bass capture 2 3")
	want["shape capture 2 3"], want["shape capture 2 "] = 1, 1
	if got := count(one); !reflect.DeepEqual(got, want) {
		t.Errorf("shapes of track 3: %v, want %v", got, want)
	}
	all := count(spacingOn3())
	if all["shape capture 1 and capture 2 "] != 1 || all["shape capture 1 1"] != 1 || all["shape capture 2 3"] != 1 {
		t.Errorf("captures weighed together: %v", all)
	}
}

// The shape stands among what accuses and clears, with its bits, and without it they are
// gone: taking the capture away moves the odds by about as much as is stated.
func TestShapesAreReasonsLikeOthers(t *testing.T) {
	t.Parallel()
	v := verdictFor(t, shapedJob(spacingOn3()))
	stage := func(v *Verdict, part string) StageState {
		return v.Stages[slices.IndexFunc(v.Stages, func(s StageState) bool { return s.Part == part })]
	}
	reason := func(list []Because) Because {
		i := slices.IndexFunc(list, func(b Because) bool {
			return strings.Contains(b.Text, "the loss has the shape of spacing (tape off the head), not of a treble corner in the electronics (10 bits)")
		})
		if i < 0 {
			return Because{}
		}
		return list[i]
	}
	head := stage(v, "H-3")
	b := reason(head.AccusedBy)
	if b.Bits < 4 || b.Ref != "capture 2" || head.Status != Suspect {
		t.Errorf("H-3 is %s, accused by %v", head.Status, head.AccusedBy)
	}
	// Without what the capture says of track 3 the odds are those that the bits lead from.
	less := spacingOn3()
	less.Track[2] = map[signature.Cause]float64{}
	for c := range spacingOn3().Track[2] {
		less.Track[2][c] = 0
	}
	without := stage(verdictFor(t, shapedJob(less)), "H-3")
	if got := bitsOf(head.P, without.P); math.Abs(got-b.Bits) > 0.1 {
		t.Errorf("stated %.3f bits, without the shape the odds differ by %.3f", b.Bits, got)
	}
	if c := stage(v, "C11-3"); reason(c.ClearedBy).Bits > -0.5 {
		t.Errorf("C11-3 is cleared by %v", c.ClearedBy)
	}
}
