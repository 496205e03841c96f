package sim

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
)

// Slip is a way in which a reading goes wrong.
type Slip string

// The slips. NoSlip leaves it to Bench.SlipRate.
const (
	NoSlip     Slip = ""
	UnitSlip   Slip = "x1000"      // millivolts taken for volts, or the range misread
	RangeSlip  Slip = "/1000"      // volts taken for millivolts
	Neighbour  Slip = "neighbour"  // the probe sits on the neighbouring replica
	WrongTrack Slip = "track"      // another replica's value is read
	LeadOff    Slip = "lead off"   // the probe or its ground makes no contact
	NextPin    Slip = "next pin"   // the neighbouring pin of the connector
	OtherSide  Slip = "other side" // the pin as counted on the other side
	ShieldPin  Slip = "shield"     // the shield or ground pin of the connector
	Digit      Slip = "digit"      // one digit mistyped
	Point      Slip = "point"      // the decimal point one place off
	Narrow     Slip = "bandwidth"  // a meter too slow for the tone
)

// narrowHz is the bandwidth of an ordinary multimeter on a.c.
const narrowHz = 20000

// slips are the ways in which a reading there can go wrong, with weights: wrong pin or
// track 5 % of readings, typing 1 to 2 %, autorange (common practice, no source); the
// split within these is an estimate.
func (b *Bench) slips(p Probe) (list []Slip, weights []float64) {
	add := func(s Slip, w float64) { list, weights = append(list, s), append(weights, w) }
	tp, ok := b.Def.TestPoint(p.TestPoint)
	if !ok {
		return nil, nil
	}
	add(UnitSlip, 0.5)
	add(RangeSlip, 0.5)
	add(LeadOff, 2)
	add(Digit, 0.75)
	add(Point, 0.75)
	if len(b.Def.ReplicaKeys(tp.Each)) > 1 {
		add(Neighbour, 2)
		add(WrongTrack, 3)
	}
	if _, pins, at := b.pin(tp, p.Key); at >= 0 {
		add(NextPin, 3)
		if c, _ := b.Def.Connector(tp.Connector); c.Mirrored {
			add(OtherSide, 2)
		}
		if ground(pins) >= 0 {
			add(ShieldPin, 1)
		}
	}
	if max(p.ToneHz, tp.ToneHz) > narrowHz {
		add(Narrow, 3)
	}
	return list, weights
}

// slip decides whether a reading goes wrong by itself.
func (b *Bench) slip(p Probe) Slip {
	r := b.random("slip", p.Instrument, p.Session, p.Setting, p.TestPoint, p.Key, strconv.Itoa(p.Repeat))
	if r.Float64() >= b.SlipRate {
		return NoSlip
	}
	list, weights := b.slips(p)
	return list[pick(r, weights)]
}

// pick draws an index in proportion to the weights.
func pick(r *rand.Rand, weights []float64) int {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	x := r.Float64() * sum
	for i, w := range weights {
		if x -= w; x < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// touched is what the meter meets, before its own errors: right, where the probe sits
// where it should.
func (b *Bench) touched(p Probe, slip Slip, right float64) float64 {
	tp, _ := b.Def.TestPoint(p.TestPoint)
	at := p
	switch slip {
	case Neighbour:
		at.Key = b.neighbour(p)
	case WrongTrack:
		at.Key = b.another(b.Def.ReplicaKeys(tp.Each), p.Key, "track", p.TestPoint, p.Setting)
	case NextPin, OtherSide, ShieldPin:
		return b.onPin(tp, p, b.wrongPin(tp, p, slip), right)
	case LeadOff:
		return right * math.Pow(10, floorDB/20)
	case Narrow:
		return right / math.Hypot(1, max(p.ToneHz, tp.ToneHz)/narrowHz)
	default:
		return right
	}
	if v, _, err := b.right(at); err == nil {
		return v
	}
	return right
}

// written is what is put down for a value.
func (b *Bench) written(p Probe, slip Slip, v float64) float64 {
	r := b.random("typed", p.TestPoint, p.Key, p.Session, p.Setting)
	switch slip {
	case UnitSlip:
		return v * 1000
	case RangeSlip:
		return v / 1000
	case Point:
		if r.IntN(2) == 0 {
			return v * 10
		}
		return v / 10
	case Digit:
		return mistyped(v, r)
	}
	return v
}

// mistyped is a value of three digits with one of them another one.
func mistyped(v float64, r *rand.Rand) float64 {
	text := []byte(strconv.FormatFloat(v, 'e', 2, 64)) // "-1.23e-01"
	at := strings.IndexByte(string(text), '.') + []int{-1, 1, 2}[r.IntN(3)]
	was := text[at] - '0'
	low := 0
	if at < 2 && text[at+1] == '.' {
		low = 1 // a first digit is not nought
	}
	now := byte(low + r.IntN(9-low))
	if now >= was {
		now++
	}
	text[at] = '0' + now
	out, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		return v
	}
	return out
}

// neighbour is the key of the next replica, or of the one before the last.
func (b *Bench) neighbour(p Probe) string {
	tp, ok := b.Def.TestPoint(p.TestPoint)
	if !ok {
		return p.Key
	}
	keys := b.Def.ReplicaKeys(tp.Each)
	switch i := slices.Index(keys, p.Key); {
	case i < 0 || len(keys) < 2:
		return p.Key
	case i+1 < len(keys):
		return keys[i+1]
	default:
		return keys[i-1]
	}
}

// another draws one of the other keys.
func (b *Bench) another(keys []string, key string, about ...string) string {
	others := slices.DeleteFunc(slices.Clone(keys), func(k string) bool { return k == key })
	if len(others) == 0 {
		return key
	}
	return others[b.random(append(about, key)...).IntN(len(others))]
}

// pin is the connector side that a test point is touched at, and the index of its pin
// there; -1 where it is on no connector.
func (b *Bench) pin(tp *machine.TestPoint, key string) (other, pins []string, at int) {
	c, ok := b.Def.Connector(tp.Connector)
	if !ok {
		return nil, nil, -1
	}
	pins, other = c.A.Pins, c.B.Pins
	if c.B.Board == tp.Board {
		pins, other = other, pins
	}
	return other, pins, slices.Index(pins, b.Def.Designator(tp.Pin, tp.Each, key))
}

// ground is the index of the pin that a ground clip belongs on, or -1.
func ground(pins []string) int {
	return slices.IndexFunc(pins, func(name string) bool {
		return name == "shield" || name == "chassis" || strings.HasPrefix(name, "0")
	})
}

// wrongPin is the name of the pin that is touched in place of the right one.
func (b *Bench) wrongPin(tp *machine.TestPoint, p Probe, slip Slip) string {
	other, pins, at := b.pin(tp, p.Key)
	if at < 0 {
		return ""
	}
	switch slip {
	case OtherSide:
		return pins[max(0, slices.Index(other, pins[at]))]
	case ShieldPin:
		if g := ground(pins); g >= 0 {
			return pins[g]
		}
		return ""
	}
	if b.random("pin", p.TestPoint, p.Key, p.Setting).IntN(2) == 0 && at > 0 || at+1 == len(pins) {
		return pins[max(0, at-1)]
	}
	return pins[at+1]
}

// onPin is what the meter of a test point meets on another pin: the value of the test
// point that is there; the rail that its name states, which a meter for a.c. does not
// see; else what leaks over.
func (b *Bench) onPin(tp *machine.TestPoint, p Probe, name string, right float64) float64 {
	leak := right * math.Pow(10, floorDB/20)
	for i := range b.Def.TestPoints {
		x := &b.Def.TestPoints[i]
		if x.Connector != tp.Connector || (x.ToneHz == 0) != (tp.ToneHz == 0) || x.Expect.Unit != tp.Expect.Unit {
			continue
		}
		for _, key := range b.Def.ReplicaKeys(x.Each) {
			if b.Def.Designator(x.Pin, x.Each, key) != name {
				continue
			}
			at := p
			at.TestPoint, at.Key = x.ID, key
			if v, _, err := b.right(at); err == nil {
				return v
			}
		}
	}
	rail, err := strconv.ParseFloat(strings.Fields(name + " ")[0], 64)
	if err == nil && tp.ToneHz == 0 {
		return rail + leak
	}
	return leak
}
