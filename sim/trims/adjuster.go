package trims

import (
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"

	"headstack/machine"
)

// Kind is what a technician sees of a trim before turning it.
type Kind string

// The kinds of trims.
const (
	SingleTurn Kind = "single-turn" // three quarters of a turn from stop to stop
	MultiTurn  Kind = "multi-turn"  // 15 turns
	Screw      Kind = "screw"       // 1.5 turns of use
	Core       Kind = "core"        // 4 turns, with an extreme somewhere
)

var travelOf = map[Kind]float64{SingleTurn: 0.75, MultiTurn: 15, Screw: 1.5, Core: 4}

// Facts of every adjuster; see the package comment.
const (
	backlash    = 0.03      // of a move against the last one
	handTurns   = 1.0 / 360 // r.m.s.
	typeSpread  = 0.25
	keySpread   = 0.05
	chanceRight = 0.25
	margin      = 0.06 // of the travel that the right position and the first one keep from the stops
)

// adjuster is one trim: what it does at a position.
type adjuster struct {
	trim   *machine.Trim
	key    string
	kind   Kind
	travel float64 // turns
	pos    float64 // turns from the anticlockwise stop
	way    float64 // of the last move: -1, 0, +1
	taper  float64 // 0: straight
	// anti and clock are what it does at the stops, fixed what the parts around it do;
	// all right is a sum of 0, in the unit of [unitOf].
	anti, clock, fixed float64
	best               float64 // of a core: where its extreme is
}

// shape is how far of the way the effect has gone at a share u of the travel.
func (a *adjuster) shape(u float64) float64 {
	if a.taper == 0 {
		return u
	}
	return math.Expm1(a.taper*u) / math.Expm1(a.taper)
}

// effect is what is off by this trim and what it trims; for a core the turns from its
// extreme.
func (a *adjuster) effect() float64 {
	if a.kind == Core {
		return a.pos - a.best
	}
	return a.fixed + a.anti + (a.clock-a.anti)*a.shape(a.pos/a.travel)
}

// slope is the effect of a turn from here, in units per turn.
func (a *adjuster) slope() float64 {
	if a.kind == Core {
		return 1
	}
	d := 1.0
	if a.taper != 0 {
		d = a.taper * math.Exp(a.taper*a.pos/a.travel) / math.Expm1(a.taper)
	}
	return (a.clock - a.anti) * d / a.travel
}

// put sets the position at which the effect is x, or the nearest that keeps the margin.
func (a *adjuster) put(x float64) {
	lo, hi := margin*a.travel, (1-margin)*a.travel
	up := a.clock > a.anti
	for range 60 {
		a.pos = (lo + hi) / 2
		if (a.effect() < x) == up {
			lo = a.pos
		} else {
			hi = a.pos
		}
	}
}

// turn moves it and returns how far the screwdriver went until it stopped.
func (a *adjuster) turn(by, slip float64) (went float64, stopped bool) {
	if by == 0 {
		return 0, false
	}
	way := math.Copysign(1, by)
	moves := by + slip
	if a.way != 0 && way != a.way {
		moves -= backlash * by
	}
	a.way = way
	to := min(max(a.pos+moves, 0), a.travel)
	stopped = to != a.pos+moves
	if stopped {
		by = to - a.pos
	}
	a.pos = to
	return by, stopped
}

// tuned says that what the trim sets has an extreme and no sign.
func tuned(t *machine.Trim) bool { return t.Sets == "trap_leak" || t.Sets == "erase" }

func kindOf(t *machine.Trim, r *rand.Rand) Kind {
	switch t.Sets {
	case "azimuth", "height", "rack", "brake_torque":
		return Screw
	case "trap_leak", "erase":
		return Core
	}
	if r.IntN(4) == 0 {
		return MultiTurn
	}
	return SingleTurn
}

// leftAlone are measures whose trims stand right and are there to be left.
func leftAlone(t *machine.Trim) bool {
	return t.Sets == "height" || t.Sets == "rack" || t.Sets == "azimuth" && t.At == "erase"
}

// drawTrim draws all replicas of a trim.
func (m *Recorder) drawTrim(t *machine.Trim) error {
	r := m.rng("trim", t.ID)
	kind := kindOf(t, r)
	lo, hi, err := span(t)
	if err != nil {
		return fmt.Errorf("trims: trim %s of machine %s: %w", t.ID, m.Def.ID, err)
	}
	factor := 1 + between(r, -typeSpread, typeSpread)
	taper := 0.0
	if kind == SingleTurn && r.IntN(2) == 0 {
		taper = sign(r) * between(r, 0.4, 1.1)
	}
	way := float64(t.Sign)
	if t.Sign == 0 {
		way = sign(r)
	}
	keys := m.Def.ReplicaKeys(t.Each)
	if t.Each == "" {
		keys = []string{""}
	}
	for _, key := range keys {
		r := m.rng("trim", t.ID, "/", key)
		f := factor * (1 + between(r, -keySpread, keySpread))
		a := &adjuster{trim: t, key: key, kind: kind, travel: travelOf[kind], taper: taper,
			anti: -way * (hi - lo) / 2 * f, clock: way * (hi - lo) / 2 * f,
			fixed: between(r, -0.15, 0.15) * (hi - lo) / 2}
		m.place(a, r)
		ref := Ref{t.ID, key}
		m.refs = append(m.refs, ref)
		m.at[ref] = a
		m.byUse[t.Sets] = append(m.byUse[t.Sets], a)
	}
	return nil
}

// place sets where an adjuster stands as it came in.
func (m *Recorder) place(a *adjuster, r *rand.Rand) {
	least, most := offBy(m.Def, a.trim)
	off := sign(r) * between(r, least, most)
	if r.Float64() < chanceRight || leftAlone(a.trim) {
		off = 0.1 * least * r.NormFloat64()
	}
	if a.kind == Core {
		a.best = a.travel * between(r, 0.35, 0.65)
		a.pos = min(max(a.best+off, 0), a.travel)
		return
	}
	a.put(off)
}

// offBy is how far trims are off that are off.
func offBy(d *machine.Definition, t *machine.Trim) (least, most float64) {
	switch t.Sets {
	case "azimuth":
		return 2, 20
	case "bias":
		return 1, 4
	case "speed_error":
		v, _ := d.Speed(t.SpeedCmS)
		return 1.2 * v.TolerancePercent, 2.2 * max(v.TolerancePercent, 0.7)
	case "bias_frequency":
		return 2, 5 // kHz
	case "trap_leak", "erase":
		return 0.8, 1.3 // turns
	case "offset":
		return 8, 35 // mV
	case "tension":
		return 0.12, 0.4 // N
	case "brake_torque":
		return 8, 20 // %
	case "height", "rack":
		return 0.05, 0.1 // mm
	}
	return 1, 6
}

// Unit is the unit of what a measure of a trim is off by.
func Unit(sets string) string {
	switch sets {
	case "azimuth":
		return "arcmin"
	case "speed_error", "brake_torque":
		return "%"
	case "bias_frequency":
		return "kHz"
	case "trap_leak", "erase":
		return "turns"
	case "offset":
		return "mV"
	case "tension":
		return "N"
	case "height", "rack":
		return "mm"
	}
	return "dB"
}

var (
	plusMinus = regexp.MustCompile(`^±([0-9.]+)`)
	fromTo    = regexp.MustCompile(`^([0-9.]+) to ([0-9.]+)`)
)

// span is what a trim does from stop to stop, about what is right; of bias in dB about
// the geometric middle.
func span(t *machine.Trim) (lo, hi float64, err error) {
	if tuned(t) {
		return -1, 1, nil
	}
	if f := plusMinus.FindStringSubmatch(t.Range); f != nil {
		x, err := strconv.ParseFloat(f[1], 64)
		return -x, x, err
	}
	f := fromTo.FindStringSubmatch(t.Range)
	if f == nil {
		return 0, 0, fmt.Errorf("the range %q is neither ± something nor from one value to another", t.Range)
	}
	lo, _ = strconv.ParseFloat(f[1], 64)
	hi, _ = strconv.ParseFloat(f[2], 64)
	if !(0 < lo && lo < hi) {
		return 0, 0, fmt.Errorf("the range %q does not rise", t.Range)
	}
	if t.Sets == "bias" {
		half := 10 * math.Log10(hi/lo)
		return -half, half, nil
	}
	half := (hi - lo) / 2
	return -half, half, nil
}

// Turn turns a trim by so many turns, clockwise positive, as far as its stop, and returns
// how far it went. Several turns, as past a mark and back up to it, are one move. The
// error says that it cannot be reached as the recorder is open, or that there is no such
// trim.
func (m *Recorder) Turn(ref Ref, by ...float64) (went float64, err error) {
	a, err := m.reach(ref)
	if err != nil {
		return 0, err
	}
	for _, x := range by {
		went += m.turn(ref, a, x)
	}
	m.count.Moves++
	m.moved[ref]++
	m.count.Minutes += turnMinutes
	return went, nil
}

func (m *Recorder) turn(ref Ref, a *adjuster, by float64) float64 {
	if by == 0 {
		return 0
	}
	went, stopped := a.turn(by, m.noise(handTurns, "hand", ref))
	m.count.Turns += math.Abs(went)
	if stopped {
		m.count.EndStops++
	}
	return went
}

// KindOf is what is seen of a trim before it is turned.
func (m *Recorder) KindOf(ref Ref) (kind Kind, travelTurns float64, ok bool) {
	a, ok := m.at[ref]
	if !ok {
		return "", 0, false
	}
	return a.kind, a.travel, true
}

// Nominal is what a turn would do if range and travel were right, in the unit of what the
// trim sets: with its sign where the definition has one, else without; 1 of a tuned core.
func (m *Recorder) Nominal(ref Ref) (perTurn float64, ok bool) {
	a, ok := m.at[ref]
	if !ok {
		return 0, false
	}
	if a.kind == Core {
		return 1, true
	}
	lo, hi, _ := span(a.trim)
	perTurn = (hi - lo) / a.travel
	if a.trim.Sign < 0 {
		perTurn = -perTurn
	}
	return perTurn, true
}

// Seen is where the slot of a trim that can be reached points, in turns from its
// anticlockwise stop, read to 2 degrees r.m.s.; ok is false where more than one turn is
// possible, and the slot does not tell.
func (m *Recorder) Seen(ref Ref) (turns float64, ok bool, err error) {
	a, err := m.reach(ref)
	if err != nil || a.kind != SingleTurn {
		return 0, false, err
	}
	return min(max(a.pos+m.noise(2.0/360, "seen", ref), 0), a.travel), true, nil
}
