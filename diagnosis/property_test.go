package diagnosis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"headstack/machine"
)

// smallRecorder is a three-track recorder of ten stages, small enough to be
// diagnosed hundreds of times.
func smallRecorder() *machine.Definition {
	stage := func(id, part, kind, each string) machine.Stage {
		return machine.Stage{ID: id, Name: id, Part: part, Kind: kind, Each: each, Board: "B"}
	}
	point := func(id, each, function, after string, mV float64) machine.TestPoint {
		part := id
		if each != "" {
			part += "-{" + each + "}"
		}
		return machine.TestPoint{ID: id, Name: id, Part: part, Each: each, Function: function, After: after, ToneHz: 315,
			Expect: machine.Quantity{Value: mV, Unit: "mV", SpreadDB: 1}, Board: "B"}
	}
	return &machine.Definition{
		ID: "small", Reference: machine.Reference{ToneHz: 315}, Tracks: machine.Tracks{Count: 3},
		Groups: []machine.Group{{ID: "a", Name: "Ash", Tracks: []int{1, 3}}, {ID: "b", Name: "Birch", Tracks: []int{2}}},
		Boards: []machine.Board{{ID: "B", Opening: machine.Closed}},
		Stages: []machine.Stage{
			stage("H", "H-{track}", "head", "track"), stage("U3", "U3-{track}", "amplifier", "track"),
			stage("C11", "C11-{track}", "coupling-capacitor", "track"), stage("U30", "U30", "amplifier", ""),
			stage("U11", "U11-{group}", "amplifier", "group"), stage("C31", "C31-{group}", "coupling-capacitor", "group"),
		},
		Functions: []machine.Function{
			{ID: "play", Name: "play", Each: "track", Through: []string{"H", "U3", "C11", "U30"}, CheckMinutes: 1},
			{ID: "record-play", Name: "record and play", Each: "track", Through: []string{"U11", "C31", "@play"}, CheckMinutes: 3},
		},
		TestPoints: []machine.TestPoint{point("TP10", "track", "play", "U3", 38), point("TP11", "track", "play", "C11", 100),
			point("TP20", "group", "record-play", "U11", 245)},
	}
}

// drawEvidence is a random job on the small recorder.
func drawEvidence(t *rapid.T) Evidence {
	b := &bench{}
	outcomes := []Outcome{Works, Works, Works, Faulty, Intermittent}
	symptoms := []Symptom{SymptomUnknown, SymptomDead, SymptomWeak, SymptomDull, SymptomThin, SymptomNoisy}
	for range rapid.IntRange(0, 4).Draw(t, "checks") {
		c := Check{Ref: b.ref("check"), Function: rapid.SampledFrom([]string{"play", "record-play"}).Draw(t, "function"),
			Key: rapid.SampledFrom([]string{"1", "2", "3"}).Draw(t, "key"), Outcome: rapid.SampledFrom(outcomes).Draw(t, "outcome")}
		if c.Outcome == Faulty {
			c.Symptom = rapid.SampledFrom(symptoms).Draw(t, "symptom")
		}
		b.ev.Checks = append(b.ev.Checks, c)
	}
	for range rapid.IntRange(0, 4).Draw(t, "readings") {
		point := rapid.SampledFrom([]string{"TP10", "TP11", "TP20"}).Draw(t, "point")
		keys, want := []string{"1", "2", "3"}, map[string]float64{"TP10": 0.038, "TP11": 0.1, "TP20": 0.245}[point]
		if point == "TP20" {
			keys = []string{"a", "b"}
		}
		off := rapid.SampledFrom([]float64{0, 0.5, -0.7, -3, -11, -40, 60}).Draw(t, "off")
		b.read(point, rapid.SampledFrom(keys).Draw(t, "key"), want*math.Pow(10, off/20), rapid.SampledFrom([]float64{0, 0, 10000}).Draw(t, "tone"))
	}
	return b.ev
}

func posteriorOf(t interface{ Fatal(...any) }, e *Engine, ev Evidence) (*problem, *posterior) {
	p, err := e.build(ev)
	if err != nil {
		t.Fatal(err)
	}
	post, err := solve(p.model)
	if err != nil {
		t.Fatal(err)
	}
	return p, post
}

func smallEngine(t testing.TB) *Engine {
	t.Helper()
	e, err := New(smallRecorder(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// byPart is P(faulty) by designator.
func byPart(p *problem, post *posterior) map[string]float64 {
	out := map[string]float64{}
	for c, in := range p.seen {
		out[in.Part()] = post.faulty(c)
	}
	return out
}

// TestProbabilities: every distribution sums to 1 and lies in range.
func TestProbabilities(t *testing.T) {
	t.Parallel()
	e := smallEngine(t)
	rapid.Check(t, func(t *rapid.T) {
		p, post := posteriorOf(t, e, drawEvidence(t))
		for c := range p.seen {
			if f := post.faulty(c); f < -1e-12 || f > 1+1e-9 {
				t.Fatalf("P(%s) = %v", p.seen[c].Part(), f)
			}
		}
		for o, states := range post.wrong {
			if math.Abs(sumOf(states)-1) > 1e-9 {
				t.Fatalf("states of %s sum to %v", p.notes[o].ref, sumOf(states))
			}
		}
		rows := 0.0
		for _, w := range post.row[0][post.s.root()] {
			rows += w
		}
		if math.Abs(rows/post.z-1) > 1e-9 {
			t.Fatalf("shared fault sets sum to %v", rows/post.z)
		}
		if f := post.faultFree(); f < 0 || f > 1+1e-9 {
			t.Fatalf("P(fault free) = %v", f)
		}
	})
}

// TestOrderOfEvidence: shuffled evidence gives the same verdict.
func TestOrderOfEvidence(t *testing.T) {
	t.Parallel()
	e := smallEngine(t)
	rapid.Check(t, func(t *rapid.T) {
		ev := drawEvidence(t)
		seed := rapid.Uint64().Draw(t, "shuffle")
		rng := rand.New(rand.NewPCG(seed, 1))
		other := Evidence{Checks: slices.Clone(ev.Checks), Readings: slices.Clone(ev.Readings)}
		rng.Shuffle(len(other.Checks), func(i, j int) {
			other.Checks[i], other.Checks[j] = other.Checks[j], other.Checks[i]
		})
		rng.Shuffle(len(other.Readings), func(i, j int) {
			other.Readings[i], other.Readings[j] = other.Readings[j], other.Readings[i]
		})
		p1, q1 := posteriorOf(t, e, ev)
		p2, q2 := posteriorOf(t, e, other)
		a, b := byPart(p1, q1), byPart(p2, q2)
		for part := range a {
			if math.Abs(a[part]-b[part]) > 1e-9 {
				t.Fatalf("%s: %v in one order, %v in another", part, a[part], b[part])
			}
		}
	})
}

// TestRepeatsInOneSetting: the same reading again without moving the probe
// changes next to nothing, once a display caught while ranging and a slip of typing are
// out of the question; with a fresh setting it does.
func TestRepeatsInOneSetting(t *testing.T) {
	t.Parallel()
	e := smallEngine(t)
	rapid.Check(t, func(t *rapid.T) {
		ev := drawEvidence(t)
		if len(ev.Readings) == 0 {
			return
		}
		again := ev
		r := ev.Readings[rapid.IntRange(0, len(ev.Readings)-1).Draw(t, "which")]
		r.Ref = "reading again"
		ev.Readings = append(slices.Clone(ev.Readings), r)
		again.Readings = append(slices.Clone(ev.Readings), r, r, r)
		p1, q1 := posteriorOf(t, e, ev)
		p2, q2 := posteriorOf(t, e, again)
		a, b := byPart(p1, q1), byPart(p2, q2)
		for part := range a {
			// Five readings have a mean that is better known than that of two, by 4 % of
			// the scale of one at most.
			if bits := bitsOf(b[part], a[part]); math.Abs(bits) > 0.15 {
				t.Fatalf("%s: %v twice, %v five times without moving the probe, %.2f bit", part, a[part], b[part], bits)
			}
		}
	})
	b := &bench{}
	b.read("TP11", "1", 0.03, 0)
	p1, q1 := posteriorOf(t, e, b.ev)
	b.read("TP11", "1", 0.03, 0)
	p2, q2 := posteriorOf(t, e, b.ev)
	if once, twice := byPart(p1, q1)["U3-1"], byPart(p2, q2)["U3-1"]; twice < 1.5*once {
		t.Errorf("a low reading confirmed with a fresh probe: %.4f after one, %.4f after two", once, twice)
	}
}

// upstream is the probability that something on the path changes the level:
// the share of the evidence that goes when an indicator of an unchanged level
// is added.
func upstream(t interface{ Fatal(...any) }, p *problem, post *posterior, path []machine.Instance) float64 {
	m := *p.model
	o := &observation{path: p.path(path), fam: -1, states: 1, space: newSpace(scalar(0, 0))}
	m.components = p.model.components
	o.like = func(arrive []total, _ float64, out []float64) {
		out[0] = 0
		if len(arrive) == 1 && !arrive[0].dead && arrive[0].db[qLevel] == 0 {
			out[0] = 1
		}
	}
	m.obs = append(slices.Clone(m.obs), o)
	m.scopes = slices.Clone(m.scopes)
	with, err := solve(&m)
	if err != nil {
		t.Fatal(err)
	}
	return 1 - math.Exp(with.logEvidence()-post.logEvidence())
}

// TestCleanReadingClears: a reading that is exactly right, taken by itself in a
// session of its own, never makes it likelier that something before it is
// wrong. (Of two suspects before it one may well gain what the other loses.)
func TestCleanReadingClears(t *testing.T) {
	t.Parallel()
	e := smallEngine(t)
	rapid.Check(t, func(t *rapid.T) {
		ev := drawEvidence(t)
		key := rapid.SampledFrom([]string{"1", "2", "3"}).Draw(t, "clean key")
		tp, _ := e.def.TestPoint("TP11")
		path, err := e.def.TestPointPath(tp, key)
		if err != nil {
			t.Fatal(err)
		}
		p1, err := e.build(ev)
		if err != nil {
			t.Fatal(err)
		}
		p1.path(path)
		q1, err := solve(p1.model)
		if err != nil {
			t.Fatal(err)
		}
		before := upstream(t, p1, q1, path)
		ev.Readings = append(slices.Clone(ev.Readings), Reading{Ref: "clean", TestPoint: "TP11", Key: key, Value: 0.1, Unit: "V", Session: "other", Setting: "fresh"})
		p2, q2 := posteriorOf(t, e, ev)
		after := upstream(t, p2, q2, path)
		if after > before+1e-9 {
			t.Fatalf("something before TP11-%s is wrong with %v before a right reading, %v after", key, before, after)
		}
	})
}

// TestCalibration draws machines and evidence from the model itself and sorts
// the posteriors into classes: in each class the share of faulty stages must be
// what the posterior said.
func TestCalibration(t *testing.T) {
	t.Parallel()
	e := smallEngine(t)
	rng := rand.New(rand.NewPCG(8, 8))
	edges := []float64{0, 0.02, 0.1, 0.3, 0.7, 1.01}
	said := make([]float64, len(edges))
	spread := make([]float64, len(edges))
	was := make([]float64, len(edges))
	runs := 250
	if testing.Short() {
		runs = 80
	}
	for range runs {
		faulty, ev := drawJob(rng, e)
		p, post := posteriorOf(t, e, ev)
		for c, in := range p.seen {
			f := post.faulty(c)
			k := 0
			for f >= edges[k+1] {
				k++
			}
			said[k] += f
			spread[k] += f * (1 - f)
			if faulty[in] {
				was[k]++
			}
		}
	}
	for k := range edges[:len(edges)-1] {
		sd := math.Sqrt(spread[k])
		t.Logf("posterior %.2f to %.2f: %.1f expected, %.0f faulty, standard deviation %.1f", edges[k], edges[k+1], said[k], was[k], sd)
		// Stages of one machine are not independent, hence the wide limit.
		if math.Abs(was[k]-said[k]) > 4*sd+1 {
			t.Errorf("seed 8, 8: of posteriors from %.2f to %.2f %.1f should be faulty, %.0f are", edges[k], edges[k+1], said[k], was[k])
		}
	}
}

// drawJob draws a faulty machine from the priors and evidence from the model's
// own likelihoods: six checks and six readings.
func drawJob(rng *rand.Rand, e *Engine) (map[machine.Instance]bool, Evidence) {
	state := map[machine.Instance]*effect{}
	faulty := map[machine.Instance]bool{}
	for _, in := range e.atlas.all {
		if rng.Float64() >= e.atlas.prior[in] {
			continue
		}
		u := rng.Float64()
		for _, at := range e.atlas.atomsOf(in) {
			if u -= at.weight; u < 0 || at.weight == 1 {
				eff := at.effect
				state[in], faulty[in] = &eff, true
				break
			}
		}
	}
	arrive := func(path []machine.Instance, project func(effect) effect) total {
		sp := newSpace(project)
		id := int32(0)
		for k, in := range path {
			if eff := state[in]; eff != nil {
				id = sp.merge(id, sp.single(k, *eff))
			}
		}
		cases := sp.totals(id)
		u := rng.Float64()
		for _, c := range cases {
			if u -= c.p; u < 0 {
				return c
			}
		}
		return cases[len(cases)-1]
	}
	b := &bench{}
	for k := 1; k <= 3; k++ {
		for _, f := range []string{"play", "record-play"} {
			path, _ := e.def.Path(f, fmt.Sprint(k))
			sp := newSpace(everything)
			id := int32(0)
			for i, in := range path {
				if eff := state[in]; eff != nil {
					id = sp.merge(id, sp.single(i, *eff))
				}
			}
			drawCheck(rng, b, f, fmt.Sprint(k), sp.totals(id))
		}
		for _, id := range []string{"TP10", "TP11"} {
			tp, _ := e.def.TestPoint(id)
			path, _ := e.def.TestPointPath(tp, fmt.Sprint(k))
			drawReading(rng, b, e, tp, fmt.Sprint(k), arrive(path, scalar(0, 0)))
		}
	}
	return faulty, b.ev
}

func drawCheck(rng *rand.Rand, b *bench, function, key string, arrive []total) {
	verdicts := []Check{{Outcome: Works}, {Outcome: Faulty, Symptom: SymptomDead}, {Outcome: Faulty, Symptom: SymptomWeak},
		{Outcome: Faulty, Symptom: SymptomDull}, {Outcome: Faulty, Symptom: SymptomThin}, {Outcome: Faulty, Symptom: SymptomNoisy},
		{Outcome: Intermittent}, {Outcome: Faulty}}
	u := rng.Float64()
	for k, c := range verdicts {
		var pr [2]float64
		checkModel{k}.like(arrive, 0, pr[:])
		if u -= pr[0] + pr[1]; u < 0 || k == len(verdicts)-1 {
			b.check(function, key, c.Outcome, c.Symptom)
			return
		}
	}
}

// drawReading draws a reading in a session of its own, so that its offset is
// its own too.
func drawReading(rng *rand.Rand, b *bench, e *Engine, tp *machine.TestPoint, key string, t total) {
	m := e.reading(tp, 0)
	m.ways = e.readingWays(tp, key, Instrument{})
	prior := e.ownPrior(tp, key)
	fam := gridOf(prior, nil)
	offset := 0.0
	u := rng.Float64()
	for k, p := range fam.p {
		if u -= p; u < 0 {
			offset = fam.nodes[k]
			break
		}
	}
	at := func(scale float64) float64 { // Student's t with 4 degrees of freedom
		chi2 := -2 * math.Log((1-rng.Float64())*(1-rng.Float64()))
		return scale * rng.NormFloat64() / math.Sqrt(chi2/4)
	}
	right := func(sd float64) float64 {
		mean := t.db[qLevel]
		if t.dead || mean < floorDB {
			return offset + floorDB + math.Hypot(math.Hypot(m.sd, sd), floorSDDB)*rng.NormFloat64()
		}
		return offset + mean + at(math.Hypot(math.Hypot(m.sd, sd), t.sd[qLevel]))
	}
	y := right(0)
	u = rng.Float64()
	for _, w := range m.ways {
		if u -= w.p; u >= 0 {
			continue
		}
		switch w.shows {
		case anything:
			y = -90 + spotRangeDB*rng.Float64()
		case through:
			y = w.db + right(w.sd)
		case sound:
			y = offset + w.db + at(math.Hypot(m.sd, w.sd))
		case floor:
			y = floorDB + floorSDDB*rng.NormFloat64()
		default:
			panic("the small recorder has no connector")
		}
		break
	}
	want := e.def.Expected(tp, key)
	ref := b.ref("reading")
	b.ev.Readings = append(b.ev.Readings, Reading{Ref: ref, TestPoint: tp.ID, Key: key, Unit: "V",
		Value: want.Value * math.Pow(10, math.Max(y, zeroDB+0.1)/20), Session: ref, Setting: ref})
}
