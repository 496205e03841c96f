package machine_test

import (
	"math"
	"strings"
	"testing"

	"headstack/machine"
)

// TestOnceRound: how often things turn, by hand from f = v/(π·d).
func TestOnceRound(t *testing.T) {
	hex, oct := builtin(t, "hexastrand"), builtin(t, "octogrange")
	rates := map[string][2]float64{}
	for _, r := range hex.OnceRound(9.525) {
		rates["hex "+r.Name] = [2]float64{r.LowHz, r.HighHz}
	}
	for _, r := range oct.OnceRound(38.1) {
		rates["oct "+r.Name] = [2]float64{r.LowHz, r.HighHz}
	}
	for name, want := range map[string][2]float64{
		"hex capstan":               {12.1276, 12.1276}, // 95.25/(π·2.5)
		"hex flywheel":              {12.1276, 12.1276},
		"hex motor":                 {41.2338, 41.2338}, // 3.4 times
		"hex capstan belt":          {8.8087, 8.8087},   // times π·17/250
		"hex supply reel":           {0.5945, 1.3781},   // 95.25/(π·51), 95.25/(π·22)
		"oct capstan and its motor": {10, 10},           // 600 lock pulses a second, 60 a turn
		"oct take-up reel":          {0.45765, 1.06383}, // 381/(π·265), 381/(π·114)
	} {
		got := rates[name]
		for i := range want {
			if math.Abs(got[i]-want[i]) > 1e-4*want[i] {
				t.Errorf("%s turns at %.5f Hz, want %.5f", name, got, want)
				break
			}
		}
	}
	if half := oct.OnceRound(19.05)[0].LowHz; math.Abs(half-5) > 1e-3 {
		t.Errorf("capstan at half speed turns at %g Hz, want 5", half)
	}
	if hex.OnceRound(0) != nil || hex.OnceRound(math.NaN()) != nil {
		t.Error("a speed of nothing turns something")
	}
	var b strings.Builder
	if err := machine.Describe(&b, hex, 0); err != nil || !strings.Contains(b.String(), "capstan 12.13 Hz") {
		t.Error("the summary does not say how often the capstan turns")
	}
}
