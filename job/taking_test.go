package job_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/instrument"
	"headstack/job"
	"headstack/measure"
	"headstack/sim/meter"
)

// quick is the usual settling, forty times as fast.
var quick = instrument.Settling{Hold: 40 * time.Millisecond, Long: 100 * time.Millisecond, Every: time.Millisecond, Limit: 3 * time.Second}

// metered is a bench with a meter on its register and on the network.
func metered(t *testing.T) (*job.Bench, job.Job, *meter.Server) {
	t.Helper()
	b, _, _ := bench(t, job.BenchOptions{Settling: quick})
	s, err := meter.Listen("127.0.0.1:0", meter.Model{Slow: -1}, 40)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	for _, in := range []diagnosis.Instrument{
		{ID: "dmm1", Name: "Bench meter", Kind: diagnosis.TrueRMS, Address: s.Address()},
		{ID: "hand", Kind: diagnosis.Average},
	} {
		if _, err := b.AddInstrument(t.Context(), in); err != nil {
			t.Fatal(err)
		}
	}
	return b, openJob(t, b), s
}

func TestAReadingFromAMeter(t *testing.T) {
	b, j, s := metered(t)
	s.Touch(meter.Input{AC: 0.3104, ToneHz: 315})
	seen := 0
	e, taken, err := b.TakeReading(t.Context(), j.ID, job.Taking{Reading: job.Reading{TestPoint: "TP21-a", Instrument: "bench METER"},
		Entry: job.Entry{Case: measure.CasePropped, Remark: "after a tap"}, Seen: func(instrument.Seen) { seen++ }})
	if err != nil {
		t.Fatal(err)
	}
	r := e.Reading
	if r.TestPoint != "TP21" || r.Key != "a" || r.Instrument != "dmm1" || r.Unit != "mV" || math.Abs(r.Value-310.4) > 1 || r.Session == "" || r.Setting == "" || e.Case != measure.CasePropped {
		t.Errorf("%+v", *r)
	}
	if !strings.HasPrefix(e.Remark, "after a tap; steady for ") || taken.Quantity != instrument.VoltsAC || seen != taken.Asked {
		t.Errorf("%q, %+v, %d seen", e.Remark, taken, seen)
	}
	// A lifted probe is a new setting, one that was not is the same.
	s.Touch(meter.Input{AC: 0.3106, ToneHz: 315})
	again := job.Taking{Reading: job.Reading{TestPoint: "TP21", Key: "a", Instrument: "dmm1"}, Same: true}
	same, _, err := b.TakeReading(t.Context(), j.ID, again)
	if err != nil || same.Reading.Setting != r.Setting {
		t.Errorf("%+v, %v", same.Reading, err)
	}
	// Direct voltages have their sign, and no tone. The range that the meter comes to may show
	// tenths only, good to one of them.
	s.Touch(meter.Input{DC: -11.46})
	e, taken, err = b.TakeReading(t.Context(), j.ID, job.Taking{Reading: job.Reading{TestPoint: "TP2", Instrument: "dmm1"}})
	if err != nil || taken.Quantity != instrument.VoltsDC || math.Abs(e.Reading.Value+11.46) > 0.11 || e.Reading.Unit != "V" {
		t.Errorf("%+v, %v", e.Reading, err)
	}
}

func TestReadingsThatAreNotTaken(t *testing.T) {
	b, j, s := metered(t)
	s.Touch(meter.Input{AC: 0.31, ToneHz: 315})
	for name, c := range map[string]struct {
		r    job.Reading
		want string
	}{
		"nobody's":      {job.Reading{TestPoint: "TP21-a", Instrument: "dmm9"}, "no instrument"},
		"an address":    {job.Reading{TestPoint: "TP21-a", Instrument: s.Address()}, "no instrument"},
		"no address":    {job.Reading{TestPoint: "TP21-a", Instrument: "hand"}, "has no address"},
		"nowhere":       {job.Reading{TestPoint: "TP99", Instrument: "dmm1"}, "test point"},
		"a wrong tone":  {job.Reading{TestPoint: "TP21-a", ToneHz: -1, Instrument: "dmm1"}, "tone"},
		"two lines":     {job.Reading{TestPoint: "TP21-a", Session: "a\nb", Instrument: "dmm1"}, "session"},
		"no instrument": {job.Reading{TestPoint: "TP21-a"}, "no instrument"},
	} {
		if _, _, err := b.TakeReading(t.Context(), j.ID, job.Taking{Reading: c.r}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	_, _, err := b.TakeReading(ctx, j.ID, job.Taking{Reading: job.Reading{TestPoint: "TP21-a", Instrument: "dmm1"}, Seen: func(instrument.Seen) {
		// While it is asked nobody else asks it.
		_, _, err := b.AskInstrument(t.Context(), "dmm1", instrument.VoltsAC, nil)
		if e, ok := errors.AsType[*job.InvalidError](err); !ok || !strings.Contains(e.Problem, "being read already") {
			t.Errorf("%v", err)
		}
		stop()
	}})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	s.Close()
	_, _, err = b.TakeReading(t.Context(), j.ID, job.Taking{Reading: job.Reading{TestPoint: "TP21-a", Instrument: "dmm1"}})
	if _, ok := errors.AsType[*instrument.Error](err); !ok {
		t.Errorf("%v", err)
	}
	if v, err := b.View(t.Context(), j.ID); err != nil || len(v.Entries) != 0 {
		t.Errorf("%d entries were kept (%v)", len(v.Entries), err)
	}
}

func TestAskingAnInstrument(t *testing.T) {
	b, _, s := metered(t)
	s.Touch(meter.Input{Ohm: 4700})
	what, taken, err := b.AskInstrument(t.Context(), "dmm1", instrument.Resistance, nil)
	if err != nil || what.Model != "SIMULATED METER" || taken.ShownUnit != "kohm" || math.Abs(taken.Shown-4.7) > 0.02 {
		t.Errorf("%+v, %+v, %v", what, taken, err)
	}
	if _, _, err := b.AskInstrument(t.Context(), "dmm1", "weight", nil); err == nil || !strings.Contains(err.Error(), "resistance") {
		t.Errorf("%v", err)
	}
	// Over-range: it answered, but there is no value.
	s.Touch(meter.Input{Open: true})
	what, _, err = b.AskInstrument(t.Context(), "dmm1", instrument.Resistance, nil)
	if _, ok := errors.AsType[*instrument.NotSteadyError](err); !ok || what.Model == "" {
		t.Errorf("%+v, %v", what, err)
	}
}

func TestWhereAnInstrumentIsAsked(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	in, err := b.AddInstrument(t.Context(), diagnosis.Instrument{ID: "a", Kind: diagnosis.Scope, Address: " tcp://192.0.2.7 ", Dialect: "Measure"})
	if err != nil || in.Address != "tcp://192.0.2.7:5025" || in.Dialect != "measure" {
		t.Fatalf("%+v, %v", in, err)
	}
	if list, err := b.Instruments(t.Context()); err != nil || len(list) != 1 || list[0] != in {
		t.Errorf("%+v, %v", list, err)
	}
	for name, in := range map[string]diagnosis.Instrument{
		"address": {ID: "a", Kind: diagnosis.Scope, Address: "ftp://192.0.2.7"},
		"dialect": {ID: "a", Kind: diagnosis.Scope, Address: "tcp://192.0.2.7", Dialect: "cockney"},
	} {
		_, err := b.AddInstrument(t.Context(), in)
		if e, ok := errors.AsType[*job.InvalidError](err); !ok || e.Field != name || len(e.Nearest) == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := b.AddInstrument(t.Context(), diagnosis.Instrument{ID: "a", Kind: diagnosis.Scope, Dialect: "read"}); err == nil {
		t.Error("a dialect without an address")
	}
}
