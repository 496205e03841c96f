package plot_test

import (
	"regexp"
	"strings"
	"testing"

	"headstack/measure"
	"headstack/plot"
	"headstack/unit"
)

// An azimuth line must pass through what it was fitted to, also where it leaves zero
// before the edge of the panel: with two tracks it meets the square of the first one.
func TestAzimuthLineMeetsItsTracks(t *testing.T) {
	const us, cmS = 0.3731, 9.525 // 0.197 arcmin over 0.62 mm
	at := measure.Conditions{SpeedCmS: cmS}
	ms := []measure.Result{
		{Name: "delay", Track: 3, TrackB: 4, Value: us, Lo: us - 0.2, Hi: us + 0.2, Unit: "µs", ToneHz: 10000, Conditions: at},
		{Name: "azimuth_line", Value: 0.197, Lo: 0.132, Hi: 0.262, Unit: "arcmin", Conditions: at},
	}
	svg := string(plot.DelayAcross(ms, []unit.Metre{0, 0, 1.595e-3, 2.215e-3}, plot.Options{}).SVG())
	line := regexp.MustCompile(`<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)" class="fit" stroke="currentColor"/>`).FindStringSubmatch(svg)
	square := regexp.MustCompile(`<rect x="([\d.]+)" y="([\d.]+)" width="8" height="8"`).FindStringSubmatch(svg)
	if line == nil || square == nil {
		t.Fatalf("no line or no square:\n%s", svg)
	}
	x0, y0, x1, y1 := float(t, line[1]), float(t, line[2]), float(t, line[3]), float(t, line[4])
	x, y := float(t, square[1])+4, float(t, square[2])+4
	if on := y0 + (y1-y0)*(x-x0)/(x1-x0); on-y > 2 || y-on > 2 {
		t.Errorf("at track 3 the line passes %.1f px from 0", y-on)
	}
	if !strings.Contains(svg, `class="band"`) {
		t.Error("the band of its interval is missing")
	}
}
