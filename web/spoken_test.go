package web

import (
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"headstack/job"
)

func TestUnitsInFullWords(t *testing.T) {
	for _, c := range []struct {
		unit  string
		value float64
		want  string
	}{{"mV", 64.7, "millivolts"}, {"V", 1, "volt"}, {"kohm", 92, "kiloohms"}, {"Mohm", 4.7, "megaohms"}, {"mA", 0.4, "milliamperes"}, {"kHz", 92, "kilohertz"},
		{"dBu", 4, "decibels re 0.775 volt"}, {"%", 3, "per cent"}, {"mH", 95, "millihenries"}, {"gauss", 2, "gauss"}, {"µA", 2, "microamperes"}} {
		if got := unitWords(c.unit, c.value); got != c.want {
			t.Errorf("%g %s: %q, want %q", c.value, c.unit, got, c.want)
		}
	}
}

// What was understood is said back in full words, large, with one key to take it back; a
// surprising one is questioned where the eye is, on a phone too.
func TestAReadingIsSaidBack(t *testing.T) {
	b, id, s := sheetBench(t, "hexastrand")
	root := "/jobs/" + id
	w := send(t, s, root+"/readings", "point", "TP21/a", "value", "64m7", "instrument", "bench meter", "case", "propped", "show", "record", "show_key", "1")
	p := parse(t, get(t, s.handler(), w.Header().Get("Location")).Body.String())
	for _, want := range []string{"64.7 millivolts at TP21-a", "group a", "by bench meter", "take it back", "re-take"} {
		if !strings.Contains(p.text, want) {
			t.Errorf("does not say %q", want)
		}
	}
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	srv := httptest.NewServer(s.handler())
	defer srv.Close()
	ctx := browser(t)
	watchConsole(t, ctx)
	f := flow{t: t, ctx: ctx, url: srv.URL}
	dark(t, ctx, true)
	f.do("phone", chromedp.EmulateViewport(390, 844), chromedp.Navigate(srv.URL+w.Header().Get("Location")), chromedp.WaitReady(chromedp.CSS(".question")))
	for sel, height := range map[string]float64{".spoken": 24, ".question h2": 16} {
		box := ask1(t, ctx, sel, chromedp.Evaluate[[]float64](`(r => [r.top, r.bottom, parseFloat(getComputedStyle(document.querySelector("`+sel+`")).fontSize)])(document.querySelector("`+sel+`").getBoundingClientRect())`))
		if box[0] < 0 || box[1] > 844 || box[2] < height {
			t.Errorf("%s stands from %g to %g px at %g px: not on the first screen of a phone, or small", sel, box[0], box[1], box[2])
		}
	}
	checkFit(t, ctx, "said back", 390, false)
	checkAxe(t, ctx, "said back")
	(&keys{t: t, ctx: ctx}).hit("u")
	f.sees("#news", "takes back reading 1")
	if v := must(b.View(t.Context(), id)); len(v.Current) != 0 || v.Entries[0].Kind != job.KindReading {
		t.Errorf("%d entries count", len(v.Current))
	}
}
