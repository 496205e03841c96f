package diagnosis

import (
	"cmp"
	"fmt"
	"maps"
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
		p.look = look{seq: s.of[0].Seq}
		if err := p.addShared(s.of); err != nil {
			return err
		}
		for _, m := range s.of {
			p.look = look{seq: m.Seq}
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
	m.table.wrong = wrongShared
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
	low := map[string]map[int]string{isDull: p.low(m, "treble"), isThin: p.low(m, "bass")}
	for _, t := range m.shapeTracks() {
		key := strconv.Itoa(t)
		path, err := p.eng.def.Path(f.ID, key)
		if err != nil {
			return fmt.Errorf("diagnosis: %s: %w", m.Ref, err)
		}
		model := trackModel(m.Shapes, t)
		if !m.hisses(t) {
			model.deaf()
		}
		found := model.table.finding()
		found.keys = []string{key}
		if found.cause != "" {
			found.amount = fmt.Sprintf("the loss on %s has the shape of %s", item(f, key), shapeWords[found.cause])
			if x := low[found.kind][t]; x != "" {
				found.amount = fmt.Sprintf("%s on %s, with the shape of %s", x, item(f, key), shapeWords[found.cause])
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
	// What a track shows alone is known beside the shared shapes that fit best, and for
	// each other one instead of them.
	top := newShapeTable(ev.Shared, ev.SharedBoth).top
	var causes []signature.Cause
	for c, list := range ev.GivenShared {
		if s := shapeOf(c); s != 0 && s&top == 0 && track <= len(list) && list[track-1] != nil {
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

// hisses says whether the noise of a track stands out from that of the others, or is
// not known.
func (m *Measured) hisses(track int) bool {
	var own, others []float64
	for _, r := range m.Results {
		switch {
		case r.Name != "noise_floor" || r.Refused != "":
		case r.Track == track:
			own = append(own, r.Value)
		default:
			others = append(others, r.Value)
		}
	}
	if len(own) == 0 || len(others) == 0 {
		return true
	}
	slices.Sort(others)
	return own[0] > others[len(others)/2]+hissDB
}

// hissDB is the rise of the noise from which an open winding is believed: with nothing
// but the winding's own resistance gone the input hisses, a stage that is dead is
// silent. The fit of a lost track looks at little else. Common practice, no source.
const hissDB = 3

// low says by how much a figure of each track is below the middle one of the capture,
// where that is worth a word: "10 kHz is 9 dB low".
func (p *problem) low(m *Measured, name string) map[int]string {
	var of figure
	for _, fig := range p.eng.figures(m) {
		if fig.name == name {
			of = fig
		}
	}
	var values []float64
	for _, r := range of.results {
		values = append(values, r.Value)
	}
	out := map[int]string{}
	if len(values) < 2 {
		return out
	}
	slices.Sort(values)
	middle := values[len(values)/2]
	for _, r := range of.results {
		if off := r.Value - middle; off < -noticeDB {
			out[r.Track] = tone(of.toneHz) + " is " + decibels(off) + " low"
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
	wrong  float64 // probability beforehand that the fit is wrong
	keys   []string
}

// finding is the best shape of a table and what speaks most against it.
func (t *shapeTable) finding() *shapeFinding {
	x := &shapeFinding{wrong: t.wrong}
	set := t.found
	for _, s := range split(set) {
		c := causeOf(s)
		if x.cause == "" || t.one(s) > t.one(shapeOf(x.cause)) {
			x.cause, x.also = c, x.cause
		} else {
			x.also = c
		}
	}
	rival, most := shapes(0), math.Inf(-1)
	for _, c := range shapeCauses {
		s := shapeOf(c)
		apart := set == 0 || signature.NatureOf(c) != signature.NatureOf(x.cause)
		if l, ok := t.single[s]; ok && set&s == 0 && apart && l > most {
			rival, most, x.other = s, l, c
		}
	}
	if set != 0 && t.trusted(0) > 1.01*t.trusted(rival) {
		rival, x.other = 0, ""
	}
	x.bits = math.Log2(t.trusted(set) / t.trusted(rival))
	if set != 0 && math.Log2(t.trusted(set)/t.trusted(0)) >= leastShapeBits {
		x.kind = shapeTrouble(x.cause)
	}
	return x
}

// trusted is the likelihood of a set of shapes with the chance that the fit is wrong.
func (t *shapeTable) trusted(set shapes) float64 { return (1-t.wrong)*t.p(set) + t.slip(set) }

// bestSet is the shape or the pair that fits best, the simpler one where two are alike.
func (t *shapeTable) bestSet() shapes {
	best, most := shapes(0), t.flat
	for _, list := range []map[shapes]float64{t.single, t.both} { // both last: only if better
		for _, s := range slices.Sorted(maps.Keys(list)) {
			if list[s] > most {
				best, most = s, list[s]
			}
		}
	}
	return best
}

// leastShapeBits is how much better than no shape a shape must be before a trouble is
// made of it.
const leastShapeBits = 4

func causeOf(s shapes) signature.Cause {
	for k, c := range shapeCauses {
		if s == 1<<k {
			return c
		}
	}
	return ""
}

// text is the finding after "track 4: ". has is "the loss has" or longer.
func (x *shapeFinding) text(has string) string {
	if x.cause == "" {
		out := "neither treble, bass nor steadiness has the shape of a fault"
		if x.other != "" {
			out += fmt.Sprintf("; %s would be the nearest (%s less likely)", shapeWords[x.other], bitsText(x.bits))
		}
		return out
	}
	what := has + " the shape of " + shapeWords[x.cause]
	if x.also != "" {
		what += " with " + shapeWords[x.also]
	}
	rival := "nothing at all"
	if x.other != "" {
		rival = shapeWords[x.other]
	}
	if x.bits < 1 {
		return what + ", or of " + rival
	}
	return fmt.Sprintf("%s, not of %s (%s)", what, rival, bitsText(x.bits))
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
