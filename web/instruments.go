package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/unit"
)

var instrumentKinds = []choice{
	{string(diagnosis.TrueRMS), "true r.m.s. meter", ""}, {string(diagnosis.Average), "average-reading meter", ""},
	{string(diagnosis.Scope), "scope", ""}, {string(diagnosis.Counter), "counter", ""},
}

// instrumentForm is an instrument as typed.
type instrumentForm struct{ ID, Name, Kind, Bandwidth, AC, DC, Input, Capacitance, LeadsOhm, Leads, Autorange, Address, Dialect string }

// instrumentRow is an instrument in words.
type instrumentRow struct{ ID, Name, Text string }

func instrumentRows(list []diagnosis.Instrument) []instrumentRow {
	out := []instrumentRow{}
	for _, in := range list {
		out = append(out, instrumentRow{in.ID, in.Name, instrumentText(in)})
	}
	return out
}

// instrumentText says what is known of an instrument, in the words of the trade.
func instrumentText(in diagnosis.Instrument) string {
	parts := []string{string(in.Kind)}
	add := func(value float64, before, after string) {
		if value > 0 {
			parts = append(parts, before+number(value)+"\u2009"+after)
		}
	}
	if in.BandwidthHz > 0 {
		parts = append(parts, "3\u2009dB low at "+unit.Frequency(unit.Hertz(in.BandwidthHz)))
	}
	add(in.ACPercent, "a.c. ±\u2009", "%")
	add(in.DCPercent, "d.c. ±\u2009", "%")
	if in.InputOhm > 0 {
		parts = append(parts, "loads with "+engineering(in.InputOhm, "Ω"))
	}
	add(in.InputF*1e12, "and ", "pF")
	add(in.LeadsOhm, "leads ", "Ω")
	if in.Leads != "" {
		parts = append(parts, in.Leads)
	}
	if in.Autorange {
		parts = append(parts, "chooses its range by itself")
	}
	if in.Address != "" {
		parts = append(parts, "asked at "+in.Address)
	}
	return strings.Join(parts, ", ")
}

// instrument reads the form; each refusal names its field.
func (f instrumentForm) instrument() (diagnosis.Instrument, error) {
	in := diagnosis.Instrument{ID: f.ID, Name: f.Name, Kind: diagnosis.InstrumentKind(f.Kind), Leads: f.Leads, Autorange: f.Autorange != "",
		Address: f.Address, Dialect: f.Dialect}
	for _, q := range []struct {
		field, text, unit string
		to                *float64
	}{
		{"bandwidth", f.Bandwidth, "Hz", &in.BandwidthHz}, {"input resistance", f.Input, "ohm", &in.InputOhm},
		{"input capacitance", f.Capacitance, "F", &in.InputF}, {"resistance of the leads", f.LeadsOhm, "ohm", &in.LeadsOhm},
	} {
		if strings.TrimSpace(q.text) == "" {
			continue
		}
		v, name, err := job.ParseValue(q.field, q.text, q.unit)
		if err != nil {
			return in, err
		}
		*q.to, _, _ = unit.ToBase(v, name)
	}
	for _, q := range []struct {
		field, text string
		to          *float64
	}{{"a.c. error", f.AC, &in.ACPercent}, {"d.c. error", f.DC, &in.DCPercent}} {
		t := strings.Replace(strings.TrimSpace(strings.TrimSuffix(q.text, "%")), ",", ".", 1)
		if t == "" {
			continue
		}
		v, err := strconv.ParseFloat(t, 64)
		if err != nil {
			return in, &job.InvalidError{Field: q.field, Value: q.text, Problem: "is not a percentage", Nearest: []string{"1.5"}}
		}
		*q.to = v
	}
	return in, nil
}

func (s *server) addInstrument(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	v := r.PostFormValue
	f := instrumentForm{v("id"), v("name"), v("kind"), v("bandwidth"), v("ac"), v("dc"), v("input"), v("capacitance"), v("leads_ohm"), v("leads"), v("autorange"), v("address"), v("dialect")}
	in, err := f.instrument()
	if err == nil && in.Address != "" {
		err = here(r, "an instrument's address: the bench connects to it")
	}
	if err == nil {
		in, err = s.bench.AddInstrument(r.Context(), in)
	}
	if err == nil {
		http.Redirect(w, r, "/library?added="+url.QueryEscape(in.Name)+"#instruments", http.StatusSeeOther)
		return nil
	}
	p, status := problemOf(err)
	return s.refusedShelf(w, r, p, status, func(m *shelfModel) { m.Meter = f })
}
