package machine_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"headstack/machine"
)

// The tests in this file compare the two definitions with the description from
// which they were written, typed in again here: counts, pins, path, expected
// values and teardown minutes.

func trimCount(d *machine.Definition) int {
	n := 0
	for _, t := range d.Trims {
		n += len(d.ReplicaKeys(t.Each))
	}
	return n
}

func TestCounts(t *testing.T) {
	for _, c := range []struct {
		id                    string
		tracks, trims, checks int
	}{
		// 1 + 6×6 + 2 + 1 + 1 + 2 + 1; 8×11 + 5 + 6 + 6 + 1 + 1 + 6 + 4 + 18
		{"hexastrand", 6, 44, 135},
		// 8×18 + 2 + 3 + 2 + 3; 8×4 + 6 + 1 + 2 + 1 + 1 + 1 + 2 + 1 + 16 + 1
		{"octogrange", 8, 154, 64},
	} {
		d := builtin(t, c.id)
		if d.Tracks.Count != c.tracks {
			t.Errorf("%s: %d tracks, want %d", c.id, d.Tracks.Count, c.tracks)
		}
		if got := trimCount(d); got != c.trims {
			t.Errorf("%s: %d trims, want %d", c.id, got, c.trims)
		}
		items := d.CheckItems()
		if len(items) != c.checks {
			t.Errorf("%s: %d check items, want %d", c.id, len(items), c.checks)
		}
		ids := map[string]bool{}
		for i, it := range items {
			if ids[it.ID] {
				t.Errorf("%s: check item %s stands twice", c.id, it.ID)
			}
			ids[it.ID] = true
			if i > 0 && items[i-1].Order > it.Order {
				t.Errorf("%s: %s out of order", c.id, it.ID)
			}
			if strings.ContainsAny(it.Name+it.Try, "{}") {
				t.Errorf("%s: unexpanded pattern in %q, %q", c.id, it.Name, it.Try)
			}
		}
	}
	onCard := 0
	for _, tr := range builtin(t, "octogrange").Trims {
		if tr.Each == "track" {
			onCard++
		}
	}
	if onCard != 18 {
		t.Errorf("%d trims on a card, want 18", onCard)
	}
}

func TestConnectorPins(t *testing.T) {
	hex, oct := builtin(t, "hexastrand"), builtin(t, "octogrange")
	for _, c := range []struct {
		d         *machine.Definition
		id, a, b  string
		pins      int
		keyed     bool
		mirrored  bool
		pin1A     string
		lastA     string
		pin1B     string
		rated     int
		shortLoom bool
	}{
		{hex, "W1", "Gully", "Hearth", 4, true, false, "ac 1", "chassis", "ac 1", 0, false},
		{hex, "W2", "Hearth", "Tape", 6, true, false, "+11.5", "MUTE", "+11.5", 0, false},
		{hex, "W3", "Hearth", "Strip", 5, true, false, "+11.5", "+5", "+11.5", 0, true},
		{hex, "W4", "Collar", "Tape", 13, true, false, "shield", "H6-", "shield", 0, false},
		{hex, "W5", "Tape", "Strip", 10, false, true, "shield", "+11.5 sense", "+11.5 sense", 0, true},
		{hex, "W6", "Collar", "Tape", 8, true, false, "common", "shield", "common", 0, false},
		{hex, "W7", "Helm", "Deck", 9, true, false, "motor+", "0", "motor+", 0, false},
		{hex, "W8", "Tape", "Ladder", 8, true, false, "0", "+5", "0", 0, true},
		{hex, "W9", "Strip", "Gully", 18, true, false, "in 1", "0 B", "in 1", 12, true},
		{oct, "CE", "Slate", "Keel", 22, true, false, "+18 A", "+24 B", "+18 A", 0, false},
		{oct, "PL", "Prow", "Keel", 12, true, false, "shield", "key", "shield", 0, false},
		{oct, "PR", "Prow", "Keel", 12, true, true, "shield", "key", "key", 0, false},
		{oct, "RL", "Prow", "Keel", 12, true, false, "shield", "key", "shield", 0, false},
		{oct, "RR", "Prow", "Keel", 12, true, true, "shield", "key", "key", 0, false},
		{oct, "EL", "Prow", "Keel", 8, true, false, "E1+", "E4-", "E1+", 0, false},
		{oct, "ER", "Prow", "Keel", 8, true, true, "E5+", "E8-", "E8-", 0, false},
		{oct, "M1", "Anvil", "Keel", 10, true, false, "+18 A", "chassis", "+18 A", 0, false},
		{oct, "T1", "Anvil", "Tiller", 8, true, false, "+24 A", "tacho", "+24 A", 0, false},
		{oct, "R1", "Latch", "Back", 15, true, false, "+5", "chassis", "+5", 0, false},
	} {
		x, ok := c.d.Connector(c.id)
		if !ok {
			t.Errorf("%s has no %s", c.d.ID, c.id)
			continue
		}
		if x.A.Board != c.a || x.B.Board != c.b || len(x.A.Pins) != c.pins || len(x.B.Pins) != c.pins || x.Keyed != c.keyed || x.Mirrored != c.mirrored || x.Rated != c.rated {
			t.Errorf("%s: got %+v", c.id, x)
		}
		if x.A.Pins[0] != c.pin1A || x.A.Pins[c.pins-1] != c.lastA || x.B.Pins[0] != c.pin1B {
			t.Errorf("%s: pins %q %q", c.id, x.A.Pins, x.B.Pins)
		}
		if got := x.LoomMm == 180; got != c.shortLoom {
			t.Errorf("%s: loom %g mm", c.id, x.LoomMm)
		}
	}
	// Strip pin n of W5 is Tape pin 11-n; PR on Keel: 12 shield, 11 to 4 P5+ to
	// P8-, 3 spare, 2 guard, 1 key.
	w5, _ := hex.Connector("W5")
	if want := []string{"shield", "PB1", "PB2", "PB3", "PB4", "PB5", "PB6", "bus Ash", "bus Birch", "+11.5 sense"}; !slices.Equal(w5.A.Pins, want) {
		t.Errorf("W5 on Tape: %q", w5.A.Pins)
	}
	for n := 1; n <= 10; n++ {
		if w5.B.Pins[n-1] != w5.A.Pins[11-n-1] {
			t.Errorf("W5: Strip pin %d is %q, Tape pin %d %q", n, w5.B.Pins[n-1], 11-n, w5.A.Pins[11-n-1])
		}
	}
	pr, _ := oct.Connector("PR")
	if want := []string{"key", "guard", "spare", "P8-", "P8+", "P7-", "P7+", "P6-", "P6+", "P5-", "P5+", "shield"}; !slices.Equal(pr.B.Pins, want) {
		t.Errorf("PR on Keel: %q", pr.B.Pins)
	}
}

// parts writes a path as designators.
func parts(t *testing.T, d *machine.Definition, function, key string) []string {
	t.Helper()
	path, err := d.Path(function, key)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, in := range path {
		out = append(out, in.Part())
	}
	return out
}

// follows tells whether want stands in got in this order, gaps allowed.
func follows(got, want []string) bool {
	for _, w := range want {
		i := slices.Index(got, w)
		if i < 0 {
			return false
		}
		got = got[i+1:]
	}
	return true
}

func TestPathsAsDescribed(t *testing.T) {
	hex, oct := builtin(t, "hexastrand"), builtin(t, "octogrange")
	for _, c := range []struct {
		d             *machine.Definition
		function, key string
		want          string
	}{
		{hex, "play", "3", "H-3 RY1-3 U3-3 C11-3 VRa-3 R21-3/C14-3 VRb-3 U5-3 X2-3 C19-3 W5 S1-3 U20-3 FD-3 PN-3 U30-L J2-L"},
		{hex, "play-right", "6", "H-6 W5 S1-6 PN-6 U30-R J2-R"},
		{hex, "record", "3", "U11-a X1-a C31-a U12-a L5-a/C36-a RY2-3 VRc-3 L7-3 H-3"},
		{hex, "record", "4", "U11-b X1-b C31-b U12-b L5-b/C36-b RY2-4 VRc-4 L7-4 H-4"},
		{hex, "bias", "2", "Q1 T1 VRd-2 C41-2 H-2"},
		{hex, "erase", "2", "T2 RY3-2 E-2"},
		{hex, "record-play", "5", "U11-a L7-5 Q1 C41-5 H-5 RY1-5 U3-5 X2-5 U30-L"},
		{hex, "out", "8", "J1-8 S1-8 U20-8 FD-8 PN-8 U30-L J2-L"},
		{oct, "play", "7", "P-7 K1-7 K2-7 K3-7 JO-7"},
		{oct, "sync", "1", "R-1 K4-1 K2-1 K3-1"},
		{oct, "record", "8", "K5-8 K6-8 K7-8 J1-8 R-8"},
		{oct, "bias", "8", "Q5 K8-8 R-8"},
		{oct, "erase", "4", "Q5 K9-4 J2-4 E-4"},
		{oct, "record-play", "4", "K5-4 K7-4 R-4 P-4 K1-4 JO-4"},
	} {
		got := parts(t, c.d, c.function, c.key)
		if !follows(got, strings.Fields(c.want)) {
			t.Errorf("%s %s %s: %q does not hold %q in order", c.d.ID, c.function, c.key, got, c.want)
		}
		if got[0] != strings.Fields(c.want)[0] && c.function == "play" {
			t.Errorf("%s play begins at %s", c.d.ID, got[0])
		}
		if len(slices.Compact(slices.Sorted(slices.Values(got)))) != len(got) {
			t.Errorf("%s %s: a part stands twice: %q", c.d.ID, c.function, got)
		}
	}
	// The one head of the Hexastrand cannot show its own azimuth error; the two
	// of the Octogrange can.
	if slices.Contains(parts(t, hex, "record-play", "1"), "AZ") {
		t.Error("hexastrand: azimuth in record-play")
	}
	if p := parts(t, oct, "record-play", "1"); !slices.Contains(p, "AZR") || !slices.Contains(p, "AZP") {
		t.Error("octogrange: record-play without azimuth")
	}
}

func TestExpectedValuesAsDescribed(t *testing.T) {
	hex, oct := builtin(t, "hexastrand"), builtin(t, "octogrange")
	for _, c := range []struct {
		d         *machine.Definition
		point     string
		key       string
		value     float64
		max       float64
		unit      string
		sdPercent float64 // half the stated spread; 0: not compared
	}{
		{hex, "TP1", "", 11.5, 0, "V", 1.5}, {hex, "TP2", "", -11.5, 0, "V", 1.5}, {hex, "TP3", "", 5, 0, "V", 1.5}, {hex, "TP4", "", 9, 0, "V", 1.5},
		{hex, "TP10", "2", 0.038, 0, "V", 0}, {hex, "TP11", "2", 0.100, 0, "V", 0}, {hex, "TP12", "2", 0.245, 0, "V", 0}, {hex, "BUS", "2", 0.316, 0, "V", 0},
		{hex, "TP20", "a", 0.245, 0, "V", 0}, {hex, "TP21", "b", 1.10, 0, "V", 0},
		{hex, "TP22", "1", 22, 0, "V", 0}, {hex, "TP22", "3", 22 * 1.05, 0, "V", 0}, {hex, "TP23", "4", 4.0e-3 * 1.05, 0, "V", 0}, {hex, "TP23", "6", 4.0e-3, 0, "V", 0},
		{hex, "TP24", "1", 0, 0.060, "V", 0}, {hex, "TP30", "3", 0.089, 0, "V", 0},
		{hex, "TP40", "", math.Sqrt(2 * 6.5), 0, "Hz", 0}, {hex, "TP41", "", 0.2, 0, "V", 0}, {hex, "TP41-stop", "", 4.8, 0, "V", 0},
		{oct, "TP1", "", 18, 0, "V", 100 * 0.25 / 18}, {oct, "TP2", "", -18, 0, "V", 100 * 0.25 / 18}, {oct, "TP3", "", 24, 0, "V", 100 * 0.5 / 24}, {oct, "TP4", "", 5, 0, "V", 2},
		{oct, "TP10", "8", 9.5e-3, 0, "V", 0}, {oct, "TP11", "8", 0.245, 0, "V", 0}, {oct, "LINE", "8", 1.228, 0, "V", 0},
		{oct, "TP21", "", 150e3, 0, "Hz", 1.5}, {oct, "TP22", "1", 26, 0, "V", 0}, {oct, "TP23", "1", 40e-3, 0, "V", 0}, {oct, "TP24", "1", 0, 0.030, "V", 0},
		{oct, "TP30", "1", 0.120, 0, "V", 5}, {oct, "TP40", "", 600, 0, "Hz", 0}, {oct, "FORCE", "", 1.05, 0, "N", 5}, {oct, "FLUTTER", "", 0, 0.06, "%", 0},
	} {
		tp, ok := c.d.TestPoint(c.point)
		if !ok {
			t.Errorf("%s has no %s", c.d.ID, c.point)
			continue
		}
		e := c.d.Expected(tp, c.key)
		if math.Abs(e.Value-c.value) > 1e-9*math.Abs(c.value) || math.Abs(e.Max-c.max) > 1e-12 || e.Unit != c.unit || e.Known != (c.value != 0) {
			t.Errorf("%s %s %s: got %+v, want %g (max %g) %s", c.d.ID, c.point, c.key, e, c.value, c.max, c.unit)
		}
		// ln(1+x)/2 and x/2 differ by about x²/4: 0.25 points at 10 %.
		if c.sdPercent != 0 && math.Abs(100*e.SDLn-c.sdPercent) > 0.25 {
			t.Errorf("%s %s: sd %.2f %%, want about %.2f", c.d.ID, c.point, 100*e.SDLn, c.sdPercent)
		}
	}
	// ±2 dB is two standard deviations: one is 1 dB, a factor of 10^(1/20).
	tp, _ := hex.TestPoint("TP10")
	e := hex.Expected(tp, "1")
	if math.Abs(e.SDDB()-1) > 1e-12 || math.Abs(e.SDLn-0.1151293) > 1e-6 {
		t.Errorf("TP10: sd %g dB, %g", e.SDDB(), e.SDLn)
	}
}

func TestTeardownAsDescribed(t *testing.T) {
	hex, oct := builtin(t, "hexastrand"), builtin(t, "octogrange")
	for _, c := range []struct {
		d               *machine.Definition
		id, from        string
		down, up, after float64
		parts           string // connectors that the description lists
	}{
		{hex, "door", "closed", 2, 2, 0, ""}, {hex, "lid", "closed", 8, 9, 0, ""}, {hex, "squeeze", "lid", 3, 4, 0, ""},
		{hex, "tape-board", "lid", 10, 12, 0, "W2 W4 W6 W8"}, {hex, "transport", "lid", 14, 16, 0, "W4 W6 W7"},
		{hex, "belt", "transport", 6, 7, 0, ""}, {hex, "head", "transport", 5, 9, 25, ""}, {hex, "knobs", "lid", 12, 15, 0, ""},
		{hex, "strip", "knobs", 10, 14, 0, ""}, {hex, "helm", "knobs", 5, 6, 0, ""}, {hex, "gully", "lid", 9, 10, 0, ""},
		{hex, "hearth", "lid", 4, 5, 0, ""}, {hex, "ladder", "strip", 3, 3, 0, ""},
		{oct, "head-cover", "closed", 1, 1, 0, ""}, {oct, "bay", "closed", 2, 2, 0, ""}, {oct, "extender", "bay", 2, 2, 0, ""},
		{oct, "rear", "closed", 5, 6, 0, ""}, {oct, "keel", "rear", 12, 15, 0, ""}, {oct, "anvil", "rear", 8, 9, 0, ""},
		{oct, "hinge", "closed", 6, 6, 0, ""}, {oct, "tiller", "hinge", 5, 6, 0, ""}, {oct, "brakes", "hinge", 10, 12, 0, ""},
		{oct, "head-block", "head-cover", 6, 10, 40, ""}, {oct, "bridge", "closed", 7, 8, 0, ""},
	} {
		o, ok := c.d.Opening(c.id)
		if !ok {
			t.Errorf("%s has no opening %s", c.d.ID, c.id)
			continue
		}
		if o.From != c.from || o.DownMin != c.down || o.UpMin != c.up || o.AfterMin != c.after {
			t.Errorf("%s %s: got %+v", c.d.ID, c.id, o)
		}
		if c.parts != "" && strings.Join(o.Disconnects, " ") != c.parts {
			t.Errorf("%s %s parts %q, want %s", c.d.ID, c.id, o.Disconnects, c.parts)
		}
	}
	// closed -> lid -> transport -> head: 8+14+5 down, 9+16+9 up, 25 after.
	if down, up, after := hex.OpeningMinutes("head"); down != 27 || up != 34 || after != 25 {
		t.Errorf("head: %v %v %v", down, up, after)
	}
	if down, up, after := hex.OpeningMinutes("closed"); down != 0 || up != 0 || after != 0 {
		t.Errorf("closed costs %v %v %v", down, up, after)
	}
}

// TestEveryReplicaIsThere: each "-t" part exists for every track, each "-g" part
// for both groups.
func TestEveryReplicaIsThere(t *testing.T) {
	d := builtin(t, "hexastrand")
	have := map[string]bool{}
	for _, in := range d.Instances() {
		for _, p := range strings.Split(in.Part(), "/") {
			have[p] = true
		}
	}
	for _, p := range strings.Fields("H RY1 U3 C11 VRa R21 C14 VRb U5 X2 C19 RY2 VRc L7 VRd C41 RY3 E VRm") {
		for n := 1; n <= 6; n++ {
			if !have[fmt.Sprintf("%s-%d", p, n)] {
				t.Errorf("no %s-%d", p, n)
			}
		}
	}
	for _, p := range strings.Fields("U11 X1 C31 U12 L5 C36") {
		for _, g := range []string{"a", "b"} {
			if !have[p+"-"+g] {
				t.Errorf("no %s-%s", p, g)
			}
		}
	}
	var differ []string
	for _, x := range d.Exceptions {
		differ = append(differ, x.Part)
	}
	if want := "R21-1 R21-6 C41-3 C41-4 RY1-6"; strings.Join(differ, " ") != want {
		t.Errorf("exceptions %q, want %s", differ, want)
	}
}
