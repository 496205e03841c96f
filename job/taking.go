package job

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"headstack/diagnosis"
	"headstack/instrument"
	"headstack/machine"
	"headstack/unit"
)

// Taking is a reading that an instrument is to be asked for.
type Taking struct {
	// Instrument is one of the register, by id or name, that has an address. Value and
	// Unit of Reading come from it; Session without one is the day with the instrument,
	// Setting without one a placing of the probe of its own.
	Reading
	// Same says that the probe was not lifted since the last reading there.
	Same  bool
	Entry Entry // Case, Remark and Minutes
	Seen  func(instrument.Seen)
}

// Taken is what an instrument gave.
type Taken struct {
	instrument.Steady
	Quantity instrument.Quantity
	// Shown is the value as it is kept, rounded to what it is worth, in ShownUnit.
	Shown     float64
	ShownUnit string
}

// Text says how the value was come by: "steady for 1.6 s, 7 values from 1.103 V to
// 1.105 V".
func (t Taken) Text() string {
	how := "steady"
	if t.Wanders {
		how = "wandering about it"
	}
	low, high := t.Low, t.High
	if low > high {
		low, high = high, low
	}
	s := fmt.Sprintf("%s for %.1f s, %d values from %s to %s", how, t.Held.Seconds(), t.Count, shownAs(low, t.Step, t.Unit), shownAs(high, t.Step, t.Unit))
	if t.Coarse {
		s += "; hardly a digit, on a range that is too high"
	}
	return s
}

// asking are the addresses that are being asked.
type asking struct {
	mu   sync.Mutex
	busy map[string]bool
}

// seize takes an address for one conversation; give it back with the function returned.
func (a *asking) seize(address string) (free func(), ok bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.busy[address] {
		return nil, false
	}
	if a.busy == nil {
		a.busy = map[string]bool{}
	}
	a.busy[address] = true
	return func() {
		a.mu.Lock()
		defer a.mu.Unlock()
		delete(a.busy, address)
	}, true
}

// TakeReading asks an instrument of the register for a value that stands and keeps it as a
// reading, with its id and with how it was come by as remark. Nothing is kept when ctx
// ends before. Errors: [NotFoundError] and [InvalidError], also where another call asks the
// same instrument; those of [instrument.Meter.Steady]; those of [Bench.Record].
func (b *Bench) TakeReading(ctx context.Context, jobID string, t Taking) (Entry, Taken, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return Entry{}, Taken{}, err
	}
	in, err := reachable(v.Instruments, t.Instrument)
	if err != nil {
		return Entry{}, Taken{}, err
	}
	r := t.Reading
	r.Instrument, r.Value = in.ID, 0
	if r.TestPoint, r.Key, err = ParsePoint(v.Def, r.TestPoint, r.Key); err != nil {
		return Entry{}, Taken{}, err
	}
	tp, _ := v.Def.TestPoint(r.TestPoint)
	q, err := quantityAt(v.Def, tp, &r)
	if err != nil {
		return Entry{}, Taken{}, err
	}
	r.Unit = q.Unit()
	if err := checkReading(v.Def, &r); err != nil { // what could not be kept is not asked for
		return Entry{}, Taken{}, err
	}
	taken, err := b.steady(ctx, in, q, floorOf(v.Def.Expected(tp, r.Key)), t.Seen)
	if err != nil {
		return Entry{}, Taken{}, err
	}
	r.Value, r.Unit = taken.Shown, taken.ShownUnit
	b.place(v, &r, t.Same)
	e := Entry{Reading: &r, Case: t.Entry.Case, Minutes: t.Entry.Minutes, Remark: strings.Join(slices.DeleteFunc([]string{t.Entry.Remark, taken.Text()},
		func(s string) bool { return strings.TrimSpace(s) == "" }), "; ")}
	e, err = b.Record(ctx, jobID, e)
	return e, taken, err
}

// place names session and setting where the caller did not.
func (b *Bench) place(v *View, r *Reading, same bool) {
	now := b.opt.Now().UTC()
	if r.Session == "" {
		r.Session = now.Format("2006-01-02") + " " + r.Instrument
	}
	if r.Setting != "" {
		return
	}
	r.Setting = now.Format("2006-01-02T15:04:05.000")
	for _, e := range slices.Backward(v.Current) {
		if o := e.Reading; same && o != nil && o.TestPoint == r.TestPoint && o.Key == r.Key {
			r.Setting = o.Setting
			return
		}
	}
}

// quantityAt is what is read at a test point.
func quantityAt(def *machine.Definition, tp *machine.TestPoint, r *Reading) (instrument.Quantity, error) {
	tone := r.ToneHz
	if tone == 0 {
		tone = tp.ToneHz
	}
	q, ok := instrument.QuantityOf(tp.ExpectedSI().Unit, tone)
	if !ok {
		return "", &InvalidError{Field: "test point", Value: def.Designator(tp.Part, tp.Each, r.Key), Problem: fmt.Sprintf("is read in %s, which no meter is asked for: type the reading", tp.Expect.Unit)}
	}
	return q, nil
}

// floorOf is a difference that does not matter where x is expected: a two-hundredth, by
// which a reading at a dead point may be unquiet and still stands.
func floorOf(x machine.Expected) float64 {
	if x.Known {
		return math.Abs(x.Value) / 200
	}
	return math.Abs(x.Max) / 200
}

// AskInstrument asks an instrument of the register what it is and for one steady value,
// and keeps nothing. In errors of the value the identity stands. Errors as of
// [Bench.TakeReading].
func (b *Bench) AskInstrument(ctx context.Context, id string, q instrument.Quantity, seen func(instrument.Seen)) (instrument.Identity, Taken, error) {
	list, err := b.Instruments(ctx)
	if err != nil {
		return instrument.Identity{}, Taken{}, err
	}
	in, err := reachable(list, id)
	if err != nil {
		return instrument.Identity{}, Taken{}, err
	}
	if !slices.Contains(instrument.Quantities(), q) {
		return instrument.Identity{}, Taken{}, &InvalidError{Field: "quantity", Value: shorten(string(q)), Problem: "is none that a meter is asked for", Nearest: names(instrument.Quantities())}
	}
	m, free, err := b.line(in)
	if err != nil {
		return instrument.Identity{}, Taken{}, err
	}
	defer free()
	what, err := m.Identify(ctx)
	if err != nil {
		return what, Taken{}, err
	}
	st, err := m.Steady(ctx, q, b.opt.Settling, seen)
	if err != nil {
		return what, Taken{}, err
	}
	return what, takenOf(st, q), nil
}

// steady asks for a value that stands, on a line of its own: what is held open between
// readings keeps others out, and is gone when a meter switches itself off.
func (b *Bench) steady(ctx context.Context, in diagnosis.Instrument, q instrument.Quantity, floor float64, seen func(instrument.Seen)) (Taken, error) {
	m, free, err := b.line(in)
	if err != nil {
		return Taken{}, err
	}
	defer free()
	rule := b.opt.Settling
	rule.Floor = max(rule.Floor, floor)
	st, err := m.Steady(ctx, q, rule, seen)
	if err != nil {
		return Taken{}, err
	}
	return takenOf(st, q), nil
}

func (b *Bench) line(in diagnosis.Instrument) (m *instrument.Meter, free func(), err error) {
	a, err := instrument.ParseAddress(in.Address)
	if err != nil {
		return nil, nil, fmt.Errorf("the instrument %s: %w", in.ID, err)
	}
	give, ok := b.asking.seize(a.String())
	if !ok {
		return nil, nil, &InvalidError{Field: "instrument", Value: in.ID, Problem: "is being read already: wait until that is done, or stop it"}
	}
	m = instrument.New(instrument.Config{Address: a, Dialect: instrument.Dialect(in.Dialect)})
	return m, func() { m.Close(); give() }, nil
}

// reachable is the instrument of a list that is named by id or name and has an address.
func reachable(list []diagnosis.Instrument, name string) (diagnosis.Instrument, error) {
	var ids, with []string
	id, ok := registered(list, strings.TrimSpace(name))
	for _, in := range list {
		ids = append(ids, in.ID)
		if in.Address != "" {
			with = append(with, in.ID)
		}
		if ok && in.ID == id && in.Address != "" {
			return in, nil
		}
	}
	if ok {
		return diagnosis.Instrument{}, &InvalidError{Field: "instrument", Value: id, Problem: "has no address on the register: add it there, or type the reading", Nearest: with}
	}
	return diagnosis.Instrument{}, &NotFoundError{What: "instrument", ID: shorten(name), Nearest: nearest(name, ids)}
}

// takenOf rounds a value to what it is worth: to a third of how far the values went, to a
// step of the instrument, and to five digits.
func takenOf(st instrument.Steady, q instrument.Quantity) Taken {
	t := Taken{Steady: st, Quantity: q}
	worth := max((st.High-st.Low)/3, st.Step)
	t.Shown, t.ShownUnit = written(st.Value, worth, st.Unit)
	return t
}

// shownDigits is what the best hand meters show.
const shownDigits = 5

// written is a value in a unit of a thousandfold that shows it well, rounded to what it
// is worth.
func written(v, worth float64, base string) (float64, string) {
	prefix, factor := "", 1.0
	for _, p := range []struct {
		prefix string
		factor float64
	}{{"M", 1e6}, {"k", 1e3}, {"", 1}, {"m", 1e-3}, {"µ", 1e-6}} {
		prefix, factor = p.prefix, p.factor
		if math.Abs(v) >= p.factor*(1-1e-9) || v == 0 && p.factor == 1 {
			break
		}
	}
	x := v / factor
	digits := shownDigits
	if a := math.Abs(v); worth > 0 && a > 0 {
		digits = min(max(int(math.Floor(math.Log10(a)+1e-9))-int(math.Floor(math.Log10(worth)+1e-9))+1, 1), shownDigits)
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', digits, 64), 64)
	if err != nil {
		return x, prefix + base
	}
	return rounded, prefix + base
}

// shownAs is written as one text.
func shownAs(v, worth float64, base string) string {
	x, name := written(v, worth, base)
	if _, ok := unit.Name(name); !ok { // an unusual thousandfold
		x, name = v, base
	}
	return strconv.FormatFloat(x, 'g', -1, 64) + " " + name
}
