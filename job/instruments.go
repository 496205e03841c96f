package job

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/instrument"
)

// instrumentDocument is an entry of the register as it is kept.
type instrumentDocument struct {
	Format      int                      `json:"instrument"` // of this form: 1
	ID          string                   `json:"id"`
	Name        string                   `json:"name"`
	Kind        diagnosis.InstrumentKind `json:"kind"`
	BandwidthHz float64                  `json:"bandwidth_hz,omitempty"`
	ACPercent   float64                  `json:"ac_percent,omitempty"`
	DCPercent   float64                  `json:"dc_percent,omitempty"`
	InputOhm    float64                  `json:"input_ohm,omitempty"`
	InputF      float64                  `json:"input_f,omitempty"`
	LeadsOhm    float64                  `json:"leads_ohm,omitempty"`
	Autorange   bool                     `json:"autorange,omitempty"`
	Leads       string                   `json:"leads,omitempty"`
	Address     string                   `json:"address,omitempty"`
	Dialect     string                   `json:"dialect,omitempty"`
}

var instrumentKinds = []diagnosis.InstrumentKind{diagnosis.TrueRMS, diagnosis.Average, diagnosis.Scope, diagnosis.Counter}

// InstrumentKinds are the kinds that the register knows.
func InstrumentKinds() []diagnosis.InstrumentKind { return slices.Clone(instrumentKinds) }

// Instruments lists the register of instruments by name; the last entry of an id is the
// one in force.
func (b *Bench) Instruments(ctx context.Context) ([]diagnosis.Instrument, error) {
	shelf, err := b.shelf(ctx, InstrumentDocument)
	if err != nil {
		return nil, err
	}
	out := make([]diagnosis.Instrument, len(shelf))
	for i, s := range shelf {
		if out[i], err = b.instrument(ctx, s); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// instrument reads a document of the register, which never changes.
func (b *Bench) instrument(ctx context.Context, i item) (diagnosis.Instrument, error) {
	b.mu.Lock()
	known, ok := b.instruments[i.sha]
	b.mu.Unlock()
	if ok {
		return known, nil
	}
	i, err := b.withYAML(ctx, i)
	if err != nil {
		return diagnosis.Instrument{}, fmt.Errorf("the instrument %s: %w", i.id, err)
	}
	var d instrumentDocument
	if err := json.Unmarshal(i.yaml, &d); err != nil {
		return diagnosis.Instrument{}, fmt.Errorf("the instrument %s: %w", i.id, err)
	}
	in := diagnosis.Instrument{ID: d.ID, Name: d.Name, Kind: d.Kind, BandwidthHz: d.BandwidthHz, ACPercent: d.ACPercent, DCPercent: d.DCPercent,
		InputOhm: d.InputOhm, InputF: d.InputF, LeadsOhm: d.LeadsOhm, Autorange: d.Autorange, Leads: d.Leads,
		Address: d.Address, Dialect: d.Dialect}
	b.mu.Lock()
	b.instruments[i.sha] = in
	b.mu.Unlock()
	return in, nil
}

// AddInstrument puts an instrument on the register, or puts it right: the last of an id
// is in force for all readings that name it. Without ID it is called by its name.
// Errors: [InvalidError]; nothing was kept then.
func (b *Bench) AddInstrument(ctx context.Context, in diagnosis.Instrument) (diagnosis.Instrument, error) {
	err := firstError(
		cleanText("instrument name", &in.Name, maxLine, oneLine),
		cleanText("instrument id", &in.ID, maxLine, oneLine),
		cleanText("leads", &in.Leads, maxLine, oneLine),
	)
	if err != nil {
		return in, err
	}
	if in.ID == "" {
		in.ID = in.Name
	}
	if in.ID = slug(in.ID); in.ID == "" {
		return in, &InvalidError{Field: "instrument id", Problem: "is missing: a letter or figure to call it by"}
	}
	if in.Name == "" {
		in.Name = in.ID
	}
	if err := checkInstrument(in); err != nil {
		return in, err
	}
	if err := checkLine(&in); err != nil {
		return in, err
	}
	data, err := json.Marshal(instrumentDocument{Format: 1, ID: in.ID, Name: in.Name, Kind: in.Kind, BandwidthHz: in.BandwidthHz, ACPercent: in.ACPercent,
		DCPercent: in.DCPercent, InputOhm: in.InputOhm, InputF: in.InputF, LeadsOhm: in.LeadsOhm, Autorange: in.Autorange, Leads: in.Leads,
		Address: in.Address, Dialect: in.Dialect})
	if err != nil {
		return in, err
	}
	_, err = b.add(ctx, InstrumentDocument, item{id: in.ID, name: in.Name, yaml: data})
	return in, err
}

// checkInstrument holds the figures within what instruments have: a slip by a prefix or
// two passes, one by more does not.
func checkInstrument(in diagnosis.Instrument) error {
	if !slices.Contains(instrumentKinds, in.Kind) {
		return &InvalidError{Field: "instrument kind", Value: shorten(string(in.Kind)), Problem: "is not known", Nearest: names(instrumentKinds)}
	}
	for _, f := range []struct {
		field, unit string
		value, most float64
	}{
		{"bandwidth", "Hz", in.BandwidthHz, 1e11},
		{"a.c. error", "%", in.ACPercent, 100},
		{"d.c. error", "%", in.DCPercent, 100},
		{"input resistance", "ohm", in.InputOhm, 1e15},
		{"input capacitance", "F", in.InputF, 1e-6},
		{"resistance of the leads", "ohm", in.LeadsOhm, 1e4},
	} {
		if !(f.value >= 0 && f.value <= f.most) || math.IsInf(f.value, 0) {
			return &InvalidError{Field: f.field, Value: fmt.Sprintf("%g %s", f.value, f.unit), Problem: fmt.Sprintf("is not between 0 (not known) and %g %s", f.most, f.unit)}
		}
	}
	return nil
}

// checkLine completes where and how an instrument is asked.
func checkLine(in *diagnosis.Instrument) error {
	in.Address, in.Dialect = strings.TrimSpace(in.Address), strings.TrimSpace(in.Dialect)
	if in.Address == "" {
		if in.Dialect != "" {
			return &InvalidError{Field: "address", Problem: "is missing: a dialect is of use with one only"}
		}
		return nil
	}
	a, err := instrument.ParseAddress(in.Address)
	if e, ok := errors.AsType[*instrument.AddressError](err); ok {
		return &InvalidError{Field: "address", Value: shorten(in.Address), Problem: "is not understood: " + e.Want, Nearest: []string{"tcp://192.0.2.7:5025", "serial:/dev/ttyUSB0?baud=9600"}}
	}
	d, err := instrument.ParseDialect(in.Dialect)
	if err != nil {
		return &InvalidError{Field: "dialect", Value: shorten(in.Dialect), Problem: "is not known", Nearest: names(instrument.Dialects())}
	}
	in.Address, in.Dialect = a.String(), string(d)
	return nil
}

// registered gives the id of an instrument of the register that is named by id or name;
// any other text stays: it is an ordinary meter that nothing is known of.
func registered(list []diagnosis.Instrument, name string) (id string, ok bool) {
	for _, in := range list {
		if strings.EqualFold(in.ID, name) || strings.EqualFold(in.Name, name) {
			return in.ID, true
		}
	}
	return name, false
}

// CannotTell says what a reading leaves open that was taken, or is to be taken, with an
// instrument of the register; nil for another instrument.
func (v *View) CannotTell(r Reading) []string {
	tp, ok := v.Def.TestPoint(r.TestPoint)
	if !ok || r.Instrument == "" {
		return nil
	}
	id, _ := registered(v.Instruments, r.Instrument)
	for _, in := range v.Instruments {
		if in.ID == id {
			return in.CannotTell(tp, r.ToneHz, v.Def)
		}
	}
	return nil
}
