package main

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/unit"
)

type instrumentVerb struct {
	Add  instrumentAddVerb  `cmd:"" help:"Put an instrument on the register, or put it right."`
	List instrumentListVerb `cmd:"" help:"List the register of instruments."`
	Ask  instrumentAskVerb  `cmd:"" help:"Ask an instrument that has an address what it is and what it reads; nothing is kept."`
}

type instrumentAddVerb struct {
	benchFlag
	ID          string  `placeholder:"ID" help:"What readings call it: dmm1. Without it: the name."`
	Name        string  `help:"Its name."`
	Kind        string  `required:"" enum:"true r.m.s.,average,scope,counter" help:"How it makes a number of an alternating voltage: ${enum}."`
	Bandwidth   string  `placeholder:"HZ" help:"Where it reads 3 dB low: 20k."`
	ACPercent   float64 `name:"ac-percent" placeholder:"%" help:"Error of an a.c. reading, 95 %."`
	DCPercent   float64 `name:"dc-percent" placeholder:"%" help:"Error of a d.c. reading, 95 %."`
	Input       string  `placeholder:"OHM" help:"Resistance that it loads a test point with: 10M."`
	Capacitance string  `placeholder:"F" help:"Capacitance that it loads a test point with, leads included: 100p."`
	LeadsOhm    string  `name:"leads" placeholder:"OHM" help:"Resistance of both leads in series: 0.3."`
	Probe       string  `help:"The leads themselves: \"x10 probe\", \"croc clips\"."`
	Autorange   bool    `help:"It chooses its range by itself."`
	Address     string  `placeholder:"ADDRESS" help:"Where it can be asked for readings: tcp://192.0.2.7:5025, serial:/dev/ttyUSB0?baud=9600."`
	Dialect     string  `placeholder:"DIALECT" help:"How it is asked, with an address: read (the usual), measure or fetch."`
	JSON        bool    `help:"The instrument as one JSON object."`
}

func (instrumentAddVerb) Help() string {
	return `Example: headstack instrument add --id dmm1 --name "hand meter" --kind "true r.m.s." --bandwidth 20k --ac-percent 1.5 --input 10M --capacitance 100p --leads 0.3 --autorange

With an address it is asked by SCPI commands: read sets its function once and asks READ?, measure asks MEASure:...? each time,
fetch asks FETCh? for what it shows and leaves its settings to the hand. No other address is ever opened.

What is left out is not known. The same id again takes the place of the earlier entry, which stays in the record.`
}

func (v *instrumentAddVerb) Run(e *env) error {
	in := diagnosis.Instrument{ID: v.ID, Name: v.Name, Kind: diagnosis.InstrumentKind(v.Kind), ACPercent: v.ACPercent, DCPercent: v.DCPercent,
		Autorange: v.Autorange, Leads: v.Probe, Address: v.Address, Dialect: v.Dialect}
	for _, f := range []struct {
		flag, text, unit string
		to               *float64
	}{
		{"bandwidth", v.Bandwidth, "Hz", &in.BandwidthHz}, {"input", v.Input, "ohm", &in.InputOhm},
		{"capacitance", v.Capacitance, "F", &in.InputF}, {"leads", v.LeadsOhm, "ohm", &in.LeadsOhm},
	} {
		if f.text == "" {
			continue
		}
		value, name, err := unit.ParseTyped(f.text, f.unit)
		if err != nil {
			return usage("--%s: %w", f.flag, err)
		}
		*f.to, _, _ = unit.ToBase(value, name)
	}
	return v.with(e, func(b *job.Bench) error {
		in, err := b.AddInstrument(e.ctx, in)
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, instrumentOut(in))
		}
		_, err = fmt.Fprintf(e.out, "on the register as %s: %s\n", in.ID, instrumentText(in))
		return err
	})
}

type instrumentListVerb struct {
	benchFlag
	JSON bool `help:"A JSON array."`
}

func (v *instrumentListVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		list, err := b.Instruments(e.ctx)
		if err != nil {
			return err
		}
		if v.JSON {
			rows := []instrumentJSON{}
			for _, in := range list {
				rows = append(rows, instrumentOut(in))
			}
			return printJSON(e.out, rows)
		}
		if len(list) == 0 {
			fmt.Fprintln(e.out, "no instrument is registered yet: headstack instrument add does it")
			return nil
		}
		w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "id\tname\thow it reads")
		for _, in := range list {
			fmt.Fprintf(w, "%s\t%s\t%s\n", in.ID, in.Name, instrumentText(in))
		}
		return w.Flush()
	})
}

// instrumentJSON is an instrument for scripts; 0 is not known.
type instrumentJSON struct {
	ID          string                   `json:"id"`
	Name        string                   `json:"name"`
	Kind        diagnosis.InstrumentKind `json:"kind"`
	BandwidthHz float64                  `json:"bandwidth_hz"`
	ACPercent   float64                  `json:"ac_percent"`
	DCPercent   float64                  `json:"dc_percent"`
	InputOhm    float64                  `json:"input_ohm"`
	InputF      float64                  `json:"input_f"`
	LeadsOhm    float64                  `json:"leads_ohm"`
	Autorange   bool                     `json:"autorange"`
	Leads       string                   `json:"leads"`
	Address     string                   `json:"address"`
	Dialect     string                   `json:"dialect"`
}

func instrumentOut(in diagnosis.Instrument) instrumentJSON { return instrumentJSON(in) }

// instrumentText says what is known of an instrument, in the words of the trade.
func instrumentText(in diagnosis.Instrument) string {
	parts := []string{string(in.Kind)}
	add := func(value float64, format string, a ...any) {
		if value > 0 {
			parts = append(parts, fmt.Sprintf(format, a...))
		}
	}
	add(in.BandwidthHz, "to %s", unit.Frequency(unit.Hertz(in.BandwidthHz)))
	add(in.ACPercent, "a.c. ±%g %%", in.ACPercent)
	add(in.DCPercent, "d.c. ±%g %%", in.DCPercent)
	add(in.InputOhm, "%g MΩ", in.InputOhm/1e6)
	add(in.InputF, "%g pF", in.InputF*1e12)
	add(in.LeadsOhm, "leads %g Ω", in.LeadsOhm)
	if in.Leads != "" {
		parts = append(parts, in.Leads)
	}
	if in.Autorange {
		parts = append(parts, "chooses its range")
	}
	if in.Address != "" {
		parts = append(parts, "asked at "+in.Address)
	}
	return strings.Join(parts, ", ")
}
