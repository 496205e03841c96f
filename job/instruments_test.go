package job_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/diagnosis"
	"headstack/job"
)

func TestRegisterOfInstruments(t *testing.T) {
	b, record, files := bench(t, job.BenchOptions{})
	ctx := t.Context()
	full := diagnosis.Instrument{ID: "dmm1", Name: "Hand meter", Kind: diagnosis.TrueRMS, BandwidthHz: 20e3, ACPercent: 1.5, DCPercent: 0.5,
		InputOhm: 10e6, InputF: 100e-12, LeadsOhm: 0.3, Autorange: true, Leads: "croc clips"}
	if got, err := b.AddInstrument(ctx, full); err != nil || got != full {
		t.Fatalf("AddInstrument = %+v, %v", got, err)
	}
	named, err := b.AddInstrument(ctx, diagnosis.Instrument{Name: " Bench Scope, x10 ", Kind: diagnosis.Scope})
	if err != nil || named.ID != "bench-scope-x10" || named.Name != "Bench Scope, x10" {
		t.Fatalf("AddInstrument = %+v, %v", named, err)
	}
	better := full
	better.BandwidthHz = 100e3
	for range 2 { // twice the same is once
		if _, err := b.AddInstrument(ctx, better); err != nil {
			t.Fatal(err)
		}
	}
	// A later program on the same record finds the same.
	for _, bench := range []*job.Bench{b, job.NewBench(record, files, job.BenchOptions{})} {
		got, err := bench.Instruments(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]diagnosis.Instrument{named, better}, got); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	}
	if list, err := record.Listings(ctx, job.InstrumentDocument); err != nil || len(list) != 3 {
		t.Errorf("%d listings (%v), want 3: the earlier one stays", len(list), err)
	}
}

func TestInstrumentsThatAreRefused(t *testing.T) {
	b, record, _ := bench(t, job.BenchOptions{})
	for name, c := range map[string]struct {
		in          diagnosis.Instrument
		field, want string
	}{
		"no name":             {diagnosis.Instrument{Kind: diagnosis.Scope}, "instrument id", "missing"},
		"a name of marks":     {diagnosis.Instrument{ID: "--", Kind: diagnosis.Scope}, "instrument id", "missing"},
		"no kind":             {diagnosis.Instrument{ID: "a"}, "instrument kind", "true r.m.s."},
		"a kind of its own":   {diagnosis.Instrument{ID: "a", Kind: "ouija"}, "instrument kind", "average"},
		"a negative band":     {diagnosis.Instrument{ID: "a", Kind: diagnosis.Scope, BandwidthHz: -1}, "bandwidth", "Hz"},
		"no number":           {diagnosis.Instrument{ID: "a", Kind: diagnosis.Scope, ACPercent: math.NaN()}, "a.c. error", "100"},
		"over all":            {diagnosis.Instrument{ID: "a", Kind: diagnosis.Scope, DCPercent: 101}, "d.c. error", "100"},
		"an input of nature":  {diagnosis.Instrument{ID: "a", Kind: diagnosis.Scope, InputOhm: math.Inf(1)}, "input resistance", "ohm"},
		"a farad at the tip":  {diagnosis.Instrument{ID: "a", Kind: diagnosis.Scope, InputF: 100}, "input capacitance", "F"},
		"leads of rope":       {diagnosis.Instrument{ID: "a", Kind: diagnosis.Scope, LeadsOhm: 1e6}, "resistance of the leads", "ohm"},
		"a name of two lines": {diagnosis.Instrument{Name: "a\nb", Kind: diagnosis.Scope}, "instrument name", "control"},
	} {
		_, err := b.AddInstrument(t.Context(), c.in)
		if got, ok := errors.AsType[*job.InvalidError](err); !ok || got.Field != c.field || !strings.Contains(got.Error(), c.want) {
			t.Errorf("%s: error %v, want InvalidError of %q with %q", name, err, c.field, c.want)
		}
	}
	if list, err := record.Listings(t.Context(), job.InstrumentDocument); err != nil || len(list) != 0 {
		t.Errorf("%d listings (%v), want none", len(list), err)
	}
}

func TestAReadingSaysWhatItCannotTell(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	for _, in := range []diagnosis.Instrument{
		{ID: "slow", Kind: diagnosis.Average, BandwidthHz: 400, InputOhm: 10e6},
		{ID: "wide", Kind: diagnosis.TrueRMS, BandwidthHz: 10e6, InputOhm: 10e6, InputF: 1e-12},
	} {
		if _, err := b.AddInstrument(t.Context(), in); err != nil {
			t.Fatal(err)
		}
	}
	v := view(t, b, j.ID)
	told := func(instrument, point string) []string {
		return v.CannotTell(job.Reading{TestPoint: point, Instrument: instrument, ToneHz: 10e3})
	}
	// A pole at 400 Hz is 28 dB low at 10 kHz: 20·log10 √(1 + 25²).
	if got := strings.Join(told("Slow", "TP21"), " "); !strings.Contains(got, "28.0 dB low") {
		t.Errorf("of a slow meter at 10 kHz: %q", got)
	}
	for _, c := range [][2]string{{"wide", "TP21"}, {"unheard of", "TP21"}, {"", "TP21"}, {"slow", "TP999"}} {
		if got := told(c[0], c[1]); len(got) != 0 {
			t.Errorf("%v: %q, want nothing", c, got)
		}
	}
}
