package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"headstack/machine"
)

// readingKey is what makes readings one piece of evidence: the same point, tone
// and instrument in one probe setting, under one condition and with no work done
// between. Where no setting is named all readings of the session at that point count as
// one setting.
type readingKey struct {
	point, key, instrument, session, setting, condition string
	works                                               int
	toneHz                                              float64
}

// setting is the repeats of one probe setting.
type setting struct {
	list   []Reading
	tp     *machine.TestPoint
	own    bool    // at the point's own tone
	toneHz float64 // the tone, the point's own where nothing is said
	family string  // of its offset
	alone  bool    // no other setting shares the offset
}

func (p *problem) addReadings(list []Reading) error {
	byKey := map[readingKey]int{}
	var settings []setting
	for _, r := range list {
		tp, ok := p.eng.def.TestPoint(r.TestPoint)
		if !ok {
			return fmt.Errorf("diagnosis: %s: machine %s has no test point %q", r.Ref, p.eng.def.ID, r.TestPoint)
		}
		if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
			return fmt.Errorf("diagnosis: %s: the value is not a number", r.Ref)
		}
		s := setting{tp: tp, toneHz: cmp.Or(r.ToneHz, tp.ToneHz)}
		s.own = s.toneHz == tp.ToneHz
		tone := r.ToneHz
		if s.own {
			tone = 0
		}
		s.family = fmt.Sprintf("%s|%s|%s|%g", r.Session, r.Instrument, tp.ID, tone)
		at := lookAt(r.Seq, r.Provoked, r.Case)
		k := readingKey{r.TestPoint, r.Key, r.Instrument, r.Session, r.Setting, at.condition, p.worksBefore(at), tone}
		g, ok := byKey[k]
		if !ok {
			g = len(settings)
			byKey[k] = g
			settings = append(settings, s)
		}
		settings[g].list = append(settings[g].list, r)
	}
	share := map[string]int{}
	for _, s := range settings {
		share[s.family]++
	}
	for _, s := range settings {
		s.alone = share[s.family] == 1
		r := s.list[0]
		p.look = lookAt(r.Seq, r.Provoked, r.Case)
		if err := p.addSetting(s); err != nil {
			return err
		}
	}
	return nil
}

// worksBefore counts the works that were done before a look.
func (p *problem) worksBefore(l look) int {
	n := 0
	for _, w := range p.works {
		if w.Seq < l.seq {
			n++
		}
	}
	return n
}

// addSetting books the readings of one probe setting.
func (p *problem) addSetting(s setting) error {
	def, tp, r := p.eng.def, s.tp, s.list[0]
	path, err := def.TestPointPath(tp, r.Key)
	if err != nil {
		return fmt.Errorf("diagnosis: %s: %w", r.Ref, err)
	}
	want := def.Expected(tp, r.Key)
	for _, x := range s.list {
		if x.Unit != "" && x.Unit != want.Unit {
			return fmt.Errorf("diagnosis: %s: value in %s, but %s is in %s", x.Ref, x.Unit, tp.ID, want.Unit)
		}
	}
	if len(path) == 0 || !want.Known {
		p.aside = append(p.aside, judge(def, tp, r, s.median(), want))
		return nil
	}
	in := p.instrument(r.Instrument)
	m, prior, stray := p.eng.settingModel(s, in)
	y := m.y
	if m.opposite {
		y = zeroDB // this is not that point, or the leads are exchanged
	}
	project := scalar(0, 0)
	if !s.own {
		project = scalar(toneShares(s.toneHz, def.Reference.ToneHz))
	}
	n := note{ref: refsOf(s.list), point: tp, key: r.Key, readings: s.list, function: tp.Function, toneHz: s.toneHz, wide: !s.own, y: y, model: &m}
	n.text = readingText(def, tp, r.Key, s.value(m, want, in), want, s.toneHz, s.own)
	if add, _, _ := in.correct(s.toneHz); add >= misleadsDB/10. {
		n.text += fmt.Sprintf(" (made up by %.1f dB for a bandwidth of %s)", add, tone(in.BandwidthHz))
	}
	if stray > 0 {
		n.text += fmt.Sprintf(" (%d of %d repeats left out: caught while ranging)", stray, len(s.list))
	}
	o := &observation{path: p.path(path), states: readStates, like: m.like, reading: &m, y: y, hasY: true, space: newSpace(project)}
	o.fam = p.offset(s.family, prior)
	p.add(o, n)
	return nil
}

// median is the middle one of the values.
func (s setting) median() float64 {
	var values []float64
	for _, x := range s.list {
		values = append(values, x.Value)
	}
	slices.Sort(values)
	return values[len(values)/2]
}

// value is the one of the setting's values that lies nearest to what they agree on.
func (s setting) value(m readingModel, want machine.Expected, in Instrument) float64 {
	add, _, _ := in.correct(s.toneHz)
	off := func(r Reading) float64 {
		y, signed := ratioDB(r.Value, want.Value)
		if (signed || y < signlessDB) == m.opposite {
			return math.Inf(1)
		}
		return math.Abs(y + add - m.y)
	}
	best := slices.MinFunc(s.list, func(a, b Reading) int { return cmp.Compare(off(a), off(b)) })
	return best.Value
}

// instrument finds an instrument in the register; one that is not in it is an ordinary
// meter that nothing is known of.
func (p *problem) instrument(id string) Instrument {
	for _, in := range p.instruments {
		if in.ID == id {
			return in
		}
	}
	return Instrument{ID: id}
}

// settingModel is the error model of a probe setting and the prior of its offset; stray
// is how many of its repeats were left out.
//
// The offset is one for each test point, tone, session and instrument. What an
// instrument reads too high everywhere in a session is part of it, taken as independent
// between points: an offset of the instrument beside that of the point would tie the
// points of a session together by at most its accuracy, a few tenths of a decibel beside
// the 1 dB and more by which points differ, at the price of one more dimension in every
// sum. What is lost is on the careful side.
func (e *Engine) settingModel(s setting, in Instrument) (m readingModel, prior offsetPrior, stray int) {
	key := s.list[0].Key
	want := e.def.Expected(s.tp, key)
	m = e.reading(s.tp, 0)
	m.ways = e.readingWays(s.tp, key, in)
	noise := acRepeatDB
	if dc(s.tp) {
		noise = dcRepeatDB
	}
	add, addSD, falls := in.correct(s.toneHz)
	var same, other []float64
	for _, r := range s.list {
		if y, signed := ratioDB(r.Value, want.Value); signed || y < signlessDB {
			same = append(same, y+add)
		} else {
			other = append(other, y+add)
		}
	}
	all := same
	if m.opposite = len(other) > len(same); m.opposite {
		all = other
	}
	y, others, n, _ := settle(all, noise)
	m.y, m.others = y, others
	stray = len(s.list) - n*(1+len(others))
	if n > 1 { // no display is caught twice, and nobody mistypes alike
		m.noise = noise / math.Sqrt(float64(n))
		m.sd = math.Sqrt(m.sd*m.sd - noise*noise)
		m.ways = slices.DeleteFunc(m.ways, func(w wrongWay) bool {
			return w.state == readRanging || w.state == readPoint || w.state == readDigits
		})
	}
	if !s.own {
		return m, offsetPrior{sd: wideOffsetDB, look: siblingSDDB, wide: true}, stray
	}
	prior = e.ownPriorWith(s.tp, key, in)
	prior.sd = math.Hypot(prior.sd, addSD)
	if prior.falls = falls; falls != nil && s.alone {
		m.droop = misleadsDB + 2*prior.sd
	}
	return m, prior, stray
}

// reading is the error model of a reading yet to be taken: of the ways in which it may
// go wrong only another track and anything at all are told apart.
func (e *Engine) reading(tp *machine.TestPoint, y float64) readingModel {
	m := readingModel{y: y, sd: siblingSDDB, nu: readingTails}
	if dc(tp) {
		m.sd = dcSpreadDB
	}
	spot := wrongSpot
	if tp.Connector != "" {
		spot = wrongPin
	}
	m.ways = []wrongWay{broad(readSpot, spot+leadOpen+ranging+typingSlip+2*unitSlip)}
	if tp.Each != "" {
		m.ways = append(m.ways, trackWay())
	}
	return m
}

// readingWays are the ways in which a reading at a test point goes wrong.
func (e *Engine) readingWays(tp *machine.TestPoint, key string, in Instrument) []wrongWay {
	want := e.def.Expected(tp, key)
	out := slipWays()
	if tp.Connector == "" {
		out = append(out, broad(readSpot, wrongSpot))
	} else {
		out = append(out, e.pinWays(tp, key, want)...)
	}
	out = append(out, broad(readRanging, ranging))
	if tp.Each != "" {
		out = append(out, trackWay())
	}
	if want.Unit != "V" && want.Unit != "A" {
		return out
	}
	out = append(out, wrongWay{state: readLead, p: leadOpen, shows: floor}, wrongWay{state: readMode, p: wrongMode, shows: floor})
	if dc(tp) {
		for i := range out {
			out[i].density /= 2 // it shows either sign
		}
		return append(out, wrongWay{state: readLeads, p: leadsSwap, shows: through, opposite: true})
	}
	if p := in.averages(); p > 0 {
		out = append(out, wrongWay{state: readAverage, p: p, shows: through, db: averageDB, sd: averageSDDB})
	}
	return out
}

// dc says that a point carries a steady voltage.
func dc(tp *machine.TestPoint) bool { return tp.ToneHz == 0 }

// ownPrior is the offset of a reading at the point's own tone with an instrument that
// nothing is known of.
func (e *Engine) ownPrior(tp *machine.TestPoint, key string) offsetPrior {
	return e.ownPriorWith(tp, key, Instrument{})
}

// ownPriorWith is the offset of a reading at the point's own tone: the spread that
// the definition states plus the instrument.
func (e *Engine) ownPriorWith(tp *machine.TestPoint, key string, in Instrument) offsetPrior {
	sd := math.Hypot(e.def.Expected(tp, key).SDDB(), in.absoluteDB(dc(tp)))
	if dc(tp) {
		return offsetPrior{sd: sd, slip: sd, look: dcSpreadDB} // a steady voltage hardly misleads
	}
	return offsetPrior{sd: sd, slip: 2*sd + misleadingDB, look: siblingSDDB}
}
