package web

import (
	"bufio"
	"context"
	"encoding/json"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/instrument"
	"headstack/job"
	"headstack/job/memory"
	"headstack/sim/meter"
)

// meteredBench is a bench with a job and a simulated meter, forty times as fast.
func meteredBench(t *testing.T) (*storyBench, job.Job, *meter.Server) {
	t.Helper()
	m, err := meter.Listen("127.0.0.1:0", meter.Model{Slow: -1}, 40)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Close() })
	b := newStoryBench()
	b.Bench = job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{Settling: instrument.Settling{
		Hold: 40 * time.Millisecond, Long: 100 * time.Millisecond, Every: time.Millisecond, Limit: 2 * time.Second}})
	b.verdict = quietVerdict
	for _, in := range []diagnosis.Instrument{{ID: "dmm1", Kind: diagnosis.TrueRMS, Address: m.Address(), Dialect: "read"}, {ID: "hand", Kind: diagnosis.Average}} {
		must(b.AddInstrument(t.Context(), in))
	}
	return b, must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"})), m
}

func TestAReadingIsTakenFromAMeter(t *testing.T) {
	b, j, m := meteredBench(t)
	s := newStoryServer(b)
	root := "/jobs/" + j.ID
	m.Touch(meter.Input{AC: 1.1, ToneHz: 315})
	w := send(t, s, root+"/readings/meter", "point", "TP21/b", "from", "dmm1", "case", "open", "remark", "warm")
	if w.Code != 303 {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	v := must(b.View(t.Context(), j.ID))
	if e := v.Current[0]; e.Reading.Instrument != "dmm1" || e.Reading.Unit != "V" || e.Case != "open" || !strings.HasPrefix(e.Remark, "warm; steady for") {
		t.Errorf("%+v, %+v", e, e.Reading)
	}
	p := parse(t, get(t, s.handler(), w.Header().Get("Location")).Body.String())
	if !strings.Contains(p.text, " values from ") || !strings.Contains(p.text, "take it from dmm1") || strings.Contains(p.text, "take it from hand") {
		t.Error("the page does not say how it was come by, or from what the next can be taken")
	}
	// One that surprises is questioned at once, as a typed one is.
	m.Touch(meter.Input{AC: 0.02, ToneHz: 315})
	w = send(t, s, root+"/readings/meter", "point", "TP21/a", "from", "dmm1")
	if p := parse(t, get(t, s.handler(), w.Header().Get("Location")).Body.String()); !strings.Contains(p.text, "re-take") || !strings.Contains(p.text, "Lift the probe") {
		t.Error("20 mV beside 1.1 V is not questioned")
	}
	for name, c := range map[string]struct {
		fields []string
		code   int
		want   string
	}{
		"no address": {[]string{"point", "TP21/a", "from", "hand", "remark", "kept words"}, 422, "has no address"},
		"nobody":     {[]string{"point", "TP21/a", "from", "tcp://127.0.0.1:1", "remark", "kept words"}, 404, "no such instrument"},
		"a tone":     {[]string{"point", "TP21/a", "from", "dmm1", "tone", "low", "remark", "kept words"}, 422, "not a frequency"},
	} {
		w := send(t, s, root+"/readings/meter", c.fields...)
		if w.Code != c.code || !strings.Contains(w.Body.String(), c.want) || !strings.Contains(w.Body.String(), "kept words") {
			t.Errorf("%s: %d, %q is not said, or what was typed is lost", name, w.Code, c.want)
		}
	}
	// A value that does not stand, and a meter that is gone: nothing is kept.
	m.Touch(meter.Input{AC: 5000})
	if w := send(t, s, root+"/readings/meter", "point", "TP21/a", "from", "dmm1"); w.Code != 504 || !strings.Contains(w.Body.String(), "Set a higher range") {
		t.Errorf("%d", w.Code)
	}
	m.Close()
	if w := send(t, s, root+"/readings/meter", "point", "TP21/a", "from", "dmm1"); w.Code != 502 || !strings.Contains(w.Body.String(), "Nothing was entered in the record") {
		t.Errorf("%d", w.Code)
	}
	if n := len(must(b.View(t.Context(), j.ID)).Entries); n != 2 {
		t.Errorf("%d entries, want 2", n)
	}
}

func TestTheValuesAsTheyCome(t *testing.T) {
	b, j, m := meteredBench(t)
	srv := httptest.NewServer(newStoryServer(b).handler())
	defer srv.Close()
	ask := func(ctx context.Context, point string) []map[string]any {
		r := httptest.NewRequestWithContext(ctx, "POST", srv.URL+"/jobs/"+j.ID+"/readings/meter", strings.NewReader(url.Values{"point": {point}, "from": {"dmm1"}}.Encode()))
		r.RequestURI = ""
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Accept", streamType)
		resp, err := srv.Client().Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		var out []map[string]any
		for lines := bufio.NewScanner(resp.Body); lines.Scan(); {
			var x map[string]any
			if err := json.Unmarshal(lines.Bytes(), &x); err != nil {
				t.Fatalf("%s: %v", lines.Text(), err)
			}
			out = append(out, x)
		}
		return out
	}
	m.Touch(meter.Input{AC: 1.1, ToneHz: 315})
	got := ask(t.Context(), "TP21/b")
	if n := len(got); n < 6 || got[0]["phase"] != "asked" || got[n-2]["phase"] != "steady" || got[n-2]["share"] != 1.0 || !strings.Contains(got[n-1]["to"].(string), "saved=1") {
		t.Errorf("%v", got)
	}
	got = ask(t.Context(), "TP99/b")
	if n := len(got); !strings.Contains(got[n-1]["title"].(string), "test point") || got[n-1]["hint"] == "" {
		t.Errorf("%v", got)
	}
	// Broken off by the caller: nothing more is kept.
	m.Touch(meter.Input{AC: 5000})
	ctx, stop := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer stop()
	ask(ctx, "TP21/b")
	time.Sleep(50 * time.Millisecond)
	if n := len(must(b.View(t.Context(), j.ID)).Entries); n != 1 {
		t.Errorf("%d entries, want 1", n)
	}
}

func TestALineIsTriedInTheLibrary(t *testing.T) {
	b, _, m := meteredBench(t)
	s := newStoryServer(b)
	m.Touch(meter.Input{Ohm: 4700})
	w := send(t, s, "/library/instruments/ask", "instrument", "dmm1", "quantity", "resistance")
	if p := parse(t, w.Body.String()); w.Code != 200 || !strings.Contains(p.text, "says that it is HEADSTACK SIMULATED METER") || !strings.Contains(p.text, "kohm") {
		t.Errorf("%d: %s", w.Code, p.text)
	}
	w = send(t, s, "/library/instruments", "name", "Net", "kind", "scope", "address", "192.0.2.7", "dialect", "fetch")
	if w.Code != 422 || !strings.Contains(w.Body.String(), `value="192.0.2.7"`) || !strings.Contains(w.Body.String(), `<option value="fetch" selected>`) {
		t.Errorf("%d, or what was typed is lost", w.Code)
	}
}

func TestTakingOverTheAPI(t *testing.T) {
	b, j, m := meteredBench(t)
	c := newClient(t, newStoryServer(b).handler())
	m.Touch(meter.Input{AC: 1.1, ToneHz: 315})
	got := c.json("POST", "/jobs/"+j.ID+"/readings/meter", o{"instrument": "dmm1", "test_point": "TP21", "key": "b", "case": "open"}, 201, "TakenReading")
	if got["entry"].(o)["reading"].(o)["instrument"] != "dmm1" || got["taken"].(o)["quantity"] != "a.c. volts" {
		t.Errorf("%v", got)
	}
	if got := c.json("POST", "/instruments/dmm1/ask", o{"quantity": "a.c. volts"}, 200, "Asked"); got["says"].(o)["model"] != "SIMULATED METER" {
		t.Errorf("%v", got)
	}
	c.json("POST", "/instruments/hand/ask", o{"quantity": "a.c. volts"}, 422, "Problem")
	c.json("POST", "/instruments/nobody/ask", o{"quantity": "a.c. volts"}, 404, "Problem")
	m.Close()
	c.json("POST", "/jobs/"+j.ID+"/readings/meter", o{"instrument": "dmm1", "test_point": "TP21", "key": "b"}, 502, "Problem")
}
