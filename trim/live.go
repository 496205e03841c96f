package trim

import (
	"math"

	"headstack/unit"
)

// Direction is what the large display says while a trim is turned.
type Direction string

// Directions.
const (
	Clockwise     Direction = "turn clockwise"
	Anticlockwise Direction = "turn anticlockwise"
	Stop          Direction = "stop"
	Unsteady      Direction = "too unsteady to say"
)

// Sign is one state of the large display.
type Sign struct {
	Direction Direction
	Distance  Figure // target − value, in the quantity's unit: what is still to come
	Turn      Figure // how far still to turn, clockwise positive, in the trim's unit
	Why       string // where Direction is Unsteady
}

// Live smooths readings while a trim is turned, about 10 a second, and says which way.
// Two models run side by side and are weighed by what they foretell: a trim that rests,
// whose figure is averaged, and one that is being turned at a speed (interacting multiple
// models: H. A. P. Blom, Y. Bar-Shalom, IEEE Trans. Autom. Control 33(8), 1988). It is a
// pure state machine: the same readings give the same signs.
type Live struct {
	target Target
	unit   string
	trim   Trim
	sens   Figure
	known  bool // the direction

	still, moving track
	moves         float64 // chance that it is being turned
	t             float64
	n             int
	excess        float64 // how much more readings scatter than they say, as a variance
	shown         Direction
}

// track is one model: figure and speed with covariance.
type track struct{ x, v, xx, xv, vv float64 }

const (
	hand      = 0.25 // s from display to hand: common practice, no source
	gap       = 0.5  // s without a reading, after which nothing is known
	sureTurn  = 0.9  // chance from which a direction or a stop is shown
	keepStop  = 0.5  // and below which a stop is taken back
	drift     = 0.02 // tolerances/√s: how a trim at rest wanders
	jerk      = 8.0  // tolerances/s^1.5: how a turned one changes speed
	startTurn = 0.3  // 1/s: how often turning begins
	endTurn   = 0.7  // 1/s: how often it ends
)

// LiveFor is the display for one trim and target, at what the bench knows of its
// sensitivity. ok is false where trim or quantity are not of the model or the tolerance
// is not above 0.
func (b *Bench) LiveFor(id ID, target Target) (l *Live, ok bool) {
	t, okTrim := b.m.Trim(id)
	v, okVar := b.m.varAt[target.Quantity]
	if !okTrim || !okVar || !(target.Tolerance > 0) {
		return nil, false
	}
	s, _ := b.Sensitivity(id)
	if t.Sets != target.Quantity {
		pl := &planner{b: b, real: b}
		k := pl.slope(b.eval(b.fit.z, b.here(), nil, false), b.m.varAt[t.Sets], v)
		s = Figure{s.Value * k, min(s.Lo*k, s.Hi*k), max(s.Lo*k, s.Hi*k), ""}
	}
	return NewLive(t, s, b.SignChance(id) > sureTurn, target, b.m.vars[v].Unit), true
}

// NewLive is the display for a trim of which one unit of travel does sens to a target's
// quantity; known is whether the sign of sens is.
func NewLive(t Trim, sens Figure, known bool, target Target, quantityUnit string) *Live {
	return &Live{target: target, unit: quantityUnit, trim: t, sens: sens, known: known, moves: 0.3, excess: 1, shown: Unsteady}
}

// Feed takes one reading at a time in seconds, later than the one before, and returns the
// sign. A reading that is no number, has no spread above 0 or comes from the past is left out.
func (l *Live) Feed(seconds, value, sd float64) Sign {
	dt := seconds - l.t
	if math.IsNaN(value) || math.IsInf(value, 0) || !(sd > 0) || math.IsInf(sd, 0) || math.IsNaN(seconds) || l.n > 0 && dt <= 0 {
		return l.At(seconds)
	}
	if l.n == 0 || dt > gap {
		l.start(value, sd)
	} else {
		l.step(dt, value, sd)
	}
	l.t = seconds
	l.n++
	return l.At(seconds)
}

func (l *Live) start(value, sd float64) {
	tol := l.target.Tolerance
	l.still = track{x: value, xx: sd * sd}
	l.moving = track{x: value, xx: sd * sd, vv: 16 * tol * tol}
	l.n, l.moves, l.excess, l.shown = 0, 0.3, 1, Unsteady
}

// mix is a weighted mixture of two tracks as one normal.
func mix(a, b track, wb float64) track {
	wa := 1 - wb
	m := track{x: wa*a.x + wb*b.x, v: wa*a.v + wb*b.v}
	for _, k := range []struct {
		track
		w float64
	}{{a, wa}, {b, wb}} {
		dx, dv := k.x-m.x, k.v-m.v
		m.xx += k.w * (k.xx + dx*dx)
		m.xv += k.w * (k.xv + dx*dv)
		m.vv += k.w * (k.vv + dv*dv)
	}
	return m
}

// observe takes a reading of variance r and returns its log density and its squared
// deviation over the variance expected.
func (k *track) observe(value, r float64) (log, d2 float64) {
	s, e := k.xx+r, value-k.x
	gx, gv := k.xx/s, k.xv/s
	k.x += gx * e
	k.v += gv * e
	k.vv -= gv * k.xv
	k.xv *= 1 - gx
	k.xx *= 1 - gx
	d2 = e * e / s
	return -(d2 + math.Log(s)) / 2, d2
}

func (l *Live) step(dt, value, sd float64) {
	begin, end := 1-math.Exp(-startTurn*dt), 1-math.Exp(-endTurn*dt)
	toMoving := (1-l.moves)*begin + l.moves*(1-end)
	still := mix(l.still, l.moving, l.moves*end/(1-toMoving))
	moving := mix(l.still, l.moving, l.moves*(1-end)/toMoving)
	still.v, still.xv, still.vv = 0, 0, 0 // what rests has no speed
	tol := l.target.Tolerance
	still.xx += drift * drift * tol * tol * dt
	q := jerk * jerk * tol * tol
	moving.x += moving.v * dt
	moving.xx += 2*dt*moving.xv + dt*dt*moving.vv + q*dt*dt*dt/3
	moving.xv += dt*moving.vv + q*dt*dt/2
	moving.vv += q * dt
	r := sd * sd * l.excess
	ls, ds := still.observe(value, r)
	lm, dm := moving.observe(value, r)
	odds := toMoving / (1 - toMoving) * math.Exp(lm-ls)
	l.moves = min(max(odds/(1+odds), 1e-4), 1-1e-4)
	if math.IsInf(odds, 1) || math.IsNaN(odds) {
		l.moves = 1 - 1e-4
	}
	l.still, l.moving = still, moving
	// Readings that scatter more than they say are believed less, over about a second.
	a := 1 - math.Exp(-dt)
	d2 := (1-l.moves)*ds + l.moves*dm
	l.excess = min(max(l.excess*(1-a+a*min(d2, 16)), 1), 25)
}

// At is the sign at a time without a new reading; after half a second it is unsteady.
func (l *Live) At(seconds float64) Sign {
	if l.n < 3 || !(seconds-l.t <= gap) {
		l.shown = Unsteady
		why := "no steady reading yet"
		if l.n > 0 && !(seconds-l.t <= gap) {
			why = "no reading for half a second"
		}
		return Sign{Direction: Unsteady, Distance: l.distance(track{xx: math.Inf(1)}), Turn: l.turn(track{xx: math.Inf(1)}), Why: why}
	}
	now := mix(l.still, l.moving, l.moves)
	s := Sign{Distance: l.distance(now), Turn: l.turn(now)}
	s.Direction, s.Why = l.decide(now)
	l.shown = s.Direction
	return s
}

// decide shows where the hand will have brought it by the time it obeys.
func (l *Live) decide(now track) (Direction, string) {
	inside := l.inside(now.x, now.xx)
	if l.shown == Stop && inside >= keepStop {
		return Stop, ""
	}
	x := now.x + hand*now.v
	xx := now.xx + 2*hand*now.xv + hand*hand*now.vv
	if inside >= sureTurn && l.inside(x, xx) >= keepStop || l.inside(x, xx) >= sureTurn {
		return Stop, ""
	}
	below := phi((l.target.Value - now.x) / math.Sqrt(now.xx))
	up := below >= sureTurn
	if !up && below > 1-sureTurn {
		return Unsteady, "the reading scatters by " + plain(2*z95*math.Sqrt(now.xx), l.unit) + unit.ThinSpace + "about the target"
	}
	if !l.known {
		return Unsteady, "which way it goes is not known yet: turn a little and read"
	}
	if up == (l.sens.Value > 0) {
		return Clockwise, ""
	}
	return Anticlockwise, ""
}

func (l *Live) inside(x, xx float64) float64 {
	sd := math.Sqrt(xx)
	t := l.target
	return phi((t.Value+t.Tolerance-x)/sd) - phi((t.Value-t.Tolerance-x)/sd)
}

func (l *Live) distance(k track) Figure {
	d, h := l.target.Value-k.x, z95*math.Sqrt(k.xx)
	return Figure{d, d - h, d + h, l.unit}
}

// turn is the distance over the sensitivity, with the spreads of both.
func (l *Live) turn(k track) Figure {
	d := l.target.Value - k.x
	by := d / l.sens.Value
	logSD := math.Abs(math.Log(l.sens.Hi/l.sens.Lo)) / (2 * z95)
	if !(logSD >= 0) || !l.known {
		return Figure{by, math.Inf(-1), math.Inf(1), string(l.trim.Unit)}
	}
	h := z95 * math.Hypot(math.Sqrt(k.xx)/l.sens.Value, by*logSD)
	return Figure{by, by - h, by + h, string(l.trim.Unit)}
}
