package diagnosis

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
)

// side is the connector of a test point as it is probed: the connector and its pins on
// the board of the point; ok is false where the point is no connector pin.
func (e *Engine) side(tp *machine.TestPoint) (c *machine.Connector, at, other *machine.ConnectorSide, ok bool) {
	c, ok = e.def.Connector(tp.Connector)
	if !ok {
		return nil, nil, nil, false
	}
	if c.B.Board == tp.Board {
		return c, &c.B, &c.A, true
	}
	return c, &c.A, &c.B, true
}

// pinWays are the ways in which a probe sits on another pin of the connector: on the
// next one, on the one that has its number when counted from the other end, or on a
// shield or common pin. Each shows what the definition says of that pin.
func (e *Engine) pinWays(tp *machine.TestPoint, key string, want machine.Expected) []wrongWay {
	c, at, _, ok := e.side(tp)
	if !ok {
		return nil
	}
	pin := e.def.Designator(tp.Pin, tp.Each, key)
	n := slices.Index(at.Pins, pin)
	if n < 0 {
		return []wrongWay{broad(readSpot, wrongPin)}
	}
	shares := straightPins
	if c.Mirrored {
		shares = mirroredPins
	}
	m := pinMeter{e, tp, key, pin, want}
	var out []wrongWay
	left := wrongPin
	book := func(state int, share float64, pins ...string) {
		for _, s := range pins {
			p := wrongPin * share / float64(len(pins))
			left -= p
			out = append(out, m.shows(state, s, p)...)
		}
	}
	book(readPin, shares.neighbour, next(at.Pins, n)...)
	if mirror := len(at.Pins) - 1 - n; mirror != n {
		book(readSide, shares.side, at.Pins[mirror])
	}
	if slices.ContainsFunc(at.Pins, common) && !common(pin) {
		book(readShield, shares.common, at.Pins[slices.IndexFunc(at.Pins, common)])
	}
	return append(out, broad(readSpot, left))
}

// next are the pins beside pin n.
func next(pins []string, n int) []string {
	var out []string
	if n > 0 {
		out = append(out, pins[n-1])
	}
	if n+1 < len(pins) {
		out = append(out, pins[n+1])
	}
	return out
}

// common says that a pin's name is one of a shield, chassis or zero-volt pin: "0",
// "0 A", "0D", "shield".
func common(pin string) bool {
	switch strings.ToLower(pin) {
	case "shield", "common", "chassis", "guard", "ground", "earth":
		return true
	}
	return strings.HasPrefix(pin, "0")
}

// namedVolts is the voltage that a pin is named after: "+11.5", "-18 A", "+11.5 sense".
func namedVolts(pin string) (float64, bool) {
	if !strings.HasPrefix(pin, "+") && !strings.HasPrefix(pin, "-") {
		return 0, false
	}
	number, _, _ := strings.Cut(pin, " ")
	v, err := strconv.ParseFloat(number, 64)
	return v, err == nil && v != 0
}

// pinMeter predicts what a meter set up for one test point shows on another pin.
type pinMeter struct {
	e    *Engine
	tp   *machine.TestPoint
	key  string
	pin  string
	want machine.Expected
}

// shows are the readings that the pin named signal may give, of probability p together.
func (m pinMeter) shows(state int, signal string, p float64) []wrongWay {
	way := wrongWay{state: state, p: p}
	if key, ok := m.sibling(signal); ok {
		way.shows, way.sd = sound, otherTrackDB
		way.db, _ = ratioDB(m.e.def.Expected(m.tp, key).Value, m.want.Value)
		return []wrongWay{way}
	}
	volts, steady, sd, ok := m.known(signal)
	switch {
	case common(signal), ok && dc(m.tp) && !steady:
		way.shows = floor
		return []wrongWay{way}
	case !ok || m.want.Unit != "V":
		return []wrongWay{broad(readSpot, p)} // nobody knows what is there
	}
	var signed bool
	way.shows, way.sd = fixed, sd
	way.db, signed = ratioDB(volts, m.want.Value)
	way.opposite = dc(m.tp) && !signed
	if steady && !dc(m.tp) {
		way.p = p / 2
		return []wrongWay{way, {state: state, p: p / 2, shows: floor}}
	}
	return []wrongWay{way}
}

// sibling is the replica whose test point is the pin named signal.
func (m pinMeter) sibling(signal string) (key string, ok bool) {
	if signal == m.pin {
		return "", false
	}
	for _, k := range m.e.def.ReplicaKeys(m.tp.Each) {
		if k != m.key && m.e.def.Designator(m.tp.Pin, m.tp.Each, k) == signal {
			return k, true
		}
	}
	return "", false
}

// known is the voltage of a pin: of a test point that is a pin of that name, on this
// connector before any other, or else the one it is named after.
func (m pinMeter) known(signal string) (volts float64, steady bool, sd float64, ok bool) {
	var found *machine.TestPoint
	var foundKey string
	for i := range m.e.def.TestPoints {
		tp := &m.e.def.TestPoints[i]
		if tp.Pin == "" || found != nil && tp.Connector != m.tp.Connector {
			continue
		}
		for _, k := range m.e.def.ReplicaKeys(tp.Each) {
			if x := m.e.def.Expected(tp, k); m.e.def.Designator(tp.Pin, tp.Each, k) == signal && x.Known && x.Unit == "V" {
				found, foundKey = tp, k
			}
		}
	}
	if found != nil {
		x := m.e.def.Expected(found, foundKey)
		if dc(found) {
			return x.Value, true, math.Hypot(x.SDDB(), railSDDB), true
		}
		return x.Value, false, math.Hypot(x.SDDB(), otherPinSDDB), true
	}
	v, ok := namedVolts(signal)
	return v, true, railSDDB, ok
}
