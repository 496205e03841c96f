package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"headstack/machine"
	"headstack/signature"
)

// judges says whether the shape of the loss is known on a track.
func (m *Measured) judges(track int) bool {
	return m.Shapes != nil && track > 0 && track <= len(m.Shapes.Track) && m.Shapes.Track[track-1] != nil
}

// shapeTracks are the tracks of this capture on which the shape is known.
func (m *Measured) shapeTracks() []int {
	var out []int
	for _, r := range m.Results {
		if (r.Name == "level" || r.Name == "response") && r.Refused == "" && m.judges(r.Track) && !slices.Contains(out, r.Track) {
			out = append(out, r.Track)
		}
	}
	slices.Sort(out)
	return out
}

// addShapes books what the shapes of the losses say: one observation for each track of
// each capture, and one of the shared stages for all captures that were weighed together.
// What a group of tracks has lost together is in their level figures.
func (p *problem) addShapes(list []Measured) error {
	type together struct {
		shapes *signature.Evidence
		of     []*Measured
	}
	var sets []together
	for i := range list {
		m := &list[i]
		if len(m.shapeTracks()) == 0 {
			continue
		}
		k := slices.IndexFunc(sets, func(s together) bool { return s.shapes == m.Shapes && s.of[0].Function == m.Function })
		if k < 0 {
			k = len(sets)
			sets = append(sets, together{shapes: m.Shapes})
		}
		sets[k].of = append(sets[k].of, m)
	}
	for _, s := range sets {
		if err := p.addShared(s.of); err != nil {
			return err
		}
		for _, m := range s.of {
			if err := p.addTrackShapes(m); err != nil {
				return err
			}
		}
	}
	return nil
}

// judgedShared are the shapes that were looked for on all tracks together.
func judgedShared(ev *signature.Evidence) shapes {
	var out shapes
	for c := range ev.Shared {
		out |= shapeOf(c)
	}
	return out
}

// addShared books what the captures say of the stages that all tracks share.
func (p *problem) addShared(of []*Measured) error {
	ev := of[0].Shapes
	if len(ev.Shared) == 0 {
		return nil
	}
	f, _ := p.eng.def.Function(of[0].Function)
	var path []machine.Instance
	var refs, keys []string
	for _, m := range of {
		refs = append(refs, m.Ref)
		for _, t := range m.shapeTracks() {
			key := strconv.Itoa(t)
			keys = append(keys, key)
			all, err := p.eng.def.Path(f.ID, key)
			if err != nil {
				return fmt.Errorf("diagnosis: %s: %w", m.Ref, err)
			}
			for _, in := range all {
				if p.eng.atlas.scope[in] == 0 && !slices.Contains(path, in) {
					path = append(path, in)
				}
			}
		}
	}
	if len(path) == 0 {
		return nil
	}
	m := shapeModel{shared: true, table: newShapeTable(ev.Shared, ev.SharedBoth)}
	found := m.table.finding()
	found.keys = keys
	n := note{ref: listed(refs), function: f.ID, measure: "shape", shape: found}
	n.text = fmt.Sprintf("%s, all tracks together: %s", f.ID, found.text("the loss that they share has"))
	if found.cause != "" {
		found.amount = "the loss that they share has the shape of " + shapeWords[found.cause]
	}
	p.add(&observation{path: p.path(path), fam: -1, states: 2, space: newSpace(m.seen(judgedShared(ev))), like: m.like}, n)
	return nil
}

// addTrackShapes books what a capture says of each of its tracks.
func (p *problem) addTrackShapes(m *Measured) error {
	f, _ := p.eng.def.Function(m.Function)
	low := p.lowTreble(m)
	for _, t := range m.shapeTracks() {
		key := strconv.Itoa(t)
		path, err := p.eng.def.Path(f.ID, key)
		if err != nil {
			return fmt.Errorf("diagnosis: %s: %w", m.Ref, err)
		}
		model := trackModel(m.Shapes, t)
		found := model.table.finding()
		found.keys = []string{key}
		if found.cause != "" {
			found.amount = fmt.Sprintf("the shape of %s on %s", shapeWords[found.cause], item(f, key))
			if low[t] != "" && found.kind == isDull {
				found.amount = low[t] + " on " + item(f, key)
			}
		}
		n := note{ref: m.Ref, function: f.ID, key: key, measure: "shape", shape: found}
		n.text = fmt.Sprintf("%s, %s: %s", f.ID, item(f, key), found.text("the loss has"))
		p.add(&observation{path: p.path(path), fam: -1, states: 2, space: newSpace(model.seen(judgedShared(m.Shapes))), like: model.like}, n)
	}
	return nil
}

// trackModel is the model of one track.
func trackModel(ev *signature.Evidence, track int) shapeModel {
	own := ev.Track[track-1]
	var both map[signature.Pair]float64
	if track <= len(ev.Both) {
		both = ev.Both[track-1]
	}
	m := shapeModel{table: newShapeTable(own, both)}
	var causes []signature.Cause
	for c, list := range ev.GivenShared {
		if shapeOf(c) != 0 && track <= len(list) && list[track-1] != nil {
			causes = append(causes, c)
		}
	}
	slices.SortFunc(causes, func(a, b signature.Cause) int {
		return cmp.Or(cmp.Compare(ev.Shared[b], ev.Shared[a]), cmp.Compare(a, b))
	})
	for _, c := range causes {
		m.given = append(m.given, givenTable{shapeOf(c), given(ev.GivenShared[c][track-1], own, both)})
	}
	return m
}

// lowTreble says by how much the treble of each track is below the middle one of the
// capture, where that is worth a word: "10 kHz is 9 dB low".
func (p *problem) lowTreble(m *Measured) map[int]string {
	var treble figure
	for _, fig := range p.eng.figures(m) {
		if fig.name == "treble" {
			treble = fig
		}
	}
	var values []float64
	for _, r := range treble.results {
		values = append(values, r.Value)
	}
	out := map[int]string{}
	if len(values) < 2 {
		return out
	}
	slices.Sort(values)
	middle := values[len(values)/2]
	for _, r := range treble.results {
		if off := r.Value - middle; off < -noticeDB {
			out[r.Track] = tone(treble.toneHz) + " is " + decibels(off) + " low"
		}
	}
	return out
}

// shapeFinding is what a shape says, in words.
type shapeFinding struct {
	cause  signature.Cause // the best one; empty: the loss has no shape
	also   signature.Cause // that acts with it; empty: none
	other  signature.Cause // the best of another nature; empty: no loss with a shape
	bits   float64         // by which the best beats that
	kind   string          // of trouble; empty: none
	amount string
	keys   []string
}

// finding is the best shape of a table and what speaks most against it.
func (t *shapeTable) finding() *shapeFinding {
	score := func(set shapes) float64 { return (1-wrongFit)*t.p(set) + wrongFit/t.labels() }
	best, most := shapes(0), score(0)
	consider := func(set shapes) {
		if v := score(set); v > most {
			best, most = set, v
		}
	}
	for k := range shapeCauses {
		if s := shapes(1) << k; hasKey(t.single, s) {
			consider(s)
		}
	}
	one := split(best)
	for _, set := range sortedShapes(t.both) {
		consider(set)
	}
	x := &shapeFinding{}
	var nature signature.Nature
	if best != 0 {
		list := split(best)
		if len(list) == 2 && len(one) == 1 && best&one[0] != 0 { // the greater one first
			list = []shapes{one[0], best &^ one[0]}
		}
		x.cause = causeOf(list[0])
		nature = signature.NatureOf(x.cause)
		x.kind = shapeTrouble(x.cause)
		if len(list) > 1 {
			x.also = causeOf(list[1])
		}
	}
	against := 0.0
	if best != 0 {
		against = score(0)
	}
	for k, c := range shapeCauses {
		s := shapes(1) << k
		if v := score(s); best&s == 0 && hasKey(t.single, s) && v > against && (best == 0 || signature.NatureOf(c) != nature) {
			against, x.other = v, c
		}
	}
	if against > 0 {
		x.bits = math.Log2(most / against)
	}
	if x.cause != "" && math.Log2(most/score(0)) < leastShapeBits {
		x.kind = ""
	}
	return x
}

// leastShapeBits is how much better than no shape a shape must be before a trouble is
// made of it.
const leastShapeBits = 4

func hasKey(m map[shapes]float64, s shapes) bool { _, ok := m[s]; return ok }

func sortedShapes(m map[shapes]float64) []shapes {
	out := make([]shapes, 0, len(m))
	for s := range m {
		out = append(out, s)
	}
	slices.Sort(out)
	return out
}

func causeOf(s shapes) signature.Cause {
	for k, c := range shapeCauses {
		if s == 1<<k {
			return c
		}
	}
	return ""
}

// text is the finding after "track 4: ".
func (x *shapeFinding) text(has string) string {
	if x.cause == "" {
		if x.other == "" {
			return "treble and bass show no shape of a fault"
		}
		return fmt.Sprintf("treble and bass show no shape of a fault; nearest is %s, less likely by %s", shapeWords[x.other], bitsText(x.bits))
	}
	what := shapeWords[x.cause]
	if x.also != "" {
		what += " with " + shapeWords[x.also]
	}
	against := "not of none"
	if x.other != "" {
		against = "not of " + shapeWords[x.other]
	}
	if x.bits < 1 {
		against = "or of " + shapeWords[x.other]
		if x.other == "" {
			against = "if any"
		}
		return fmt.Sprintf("%s the shape of %s, %s", has, what, against)
	}
	return fmt.Sprintf("%s the shape of %s, %s (%s)", has, what, against, bitsText(x.bits))
}

func bitsText(b float64) string { return fmt.Sprintf("%.0f bits", b) }

// shapeWords name the shapes as a bench does.
var shapeWords = map[signature.Cause]string{
	signature.Spacing:          "spacing (tape off the head)",
	signature.SpacingRamp:      "spacing that grows across the head",
	signature.Azimuth:          "an azimuth error",
	signature.GapWear:          "a worn gap",
	signature.Height:           "a head at the wrong height",
	signature.Equalisation:     "another replay equalisation",
	signature.LowCorner:        "a bass corner (coupling capacitor)",
	signature.HighCorner:       "a treble corner in the electronics",
	signature.HeadOpen:         "an open winding or lead",
	signature.NoiseReductionOn: "noise reduction left on",
	signature.UnsteadyContact:  "unsteady tape contact",
	signature.UnsteadyJoint:    "an unsteady joint",
}

// shapeTrouble is the kind of trouble that a shape makes.
func shapeTrouble(c signature.Cause) string {
	switch c {
	case signature.LowCorner:
		return isThin
	case signature.HeadOpen:
		return isDead
	case signature.Height:
		return isWeak
	case signature.UnsteadyJoint:
		return isFick
	case signature.NoiseReductionOn:
		return isOff
	}
	return isDull
}
