package meter

import (
	"bufio"
	"fmt"
	"math"
	"net"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// shows is what a meter shows in the end.
func shows(m Model, f Function, in Input) float64 {
	c := NewConverter(m)
	c.Set(f)
	v := 0.0
	for range 60 {
		v, _ = c.Convert(in)
	}
	return v
}

func TestWhatItShows(t *testing.T) {
	noise := math.Sqrt(math.Pi / 2) // form factor of Gaussian noise
	for name, c := range map[string]struct {
		m    Model
		f    Function
		in   Input
		want float64
	}{
		"a sine":                 {Model{}, VoltAC, Input{AC: 0.31, ToneHz: 315}, 0.31},
		"at its corner":          {Model{BandwidthHz: 1000}, VoltAC, Input{AC: 1, ToneHz: 1000}, math.Sqrt2 / 2}, // one pole
		"a decade above":         {Model{BandwidthHz: 1000}, VoltAC, Input{AC: 1, ToneHz: 10000}, 1 / math.Sqrt(101)},
		"noise by its average":   {Model{Average: true}, VoltAC, Input{AC: 1, FormFactor: noise}, math.Sqrt(math.Pi) / 2}, // 0.886, 1.05 dB low
		"noise by its power":     {Model{}, VoltAC, Input{AC: 1, FormFactor: noise}, 1},
		"a sine by its average":  {Model{Average: true}, VoltAC, Input{AC: 1}, 1},
		"a rail":                 {Model{}, VoltDC, Input{DC: -11.5, AC: 1}, -11.5},
		"a resistor":             {Model{}, Res, Input{Ohm: 47e3}, 47e3},
		"a tone":                 {Model{}, Freq, Input{ToneHz: 92e3}, 92e3},
		"the leads off, in ohm":  {Model{}, Res, Input{Open: true}, math.Inf(1)},
		"more than it can":       {Model{}, VoltDC, Input{DC: -1000}, math.Inf(-1)},
		"the leads off, in volt": {Model{}, VoltDC, Input{Open: true}, 0},
	} {
		if got := shows(c.m, c.f, c.in); got != c.want && math.Abs(got-c.want) > max(0.002*math.Abs(c.want), 5e-5) {
			t.Errorf("%s: %g, want %g", name, got, c.want)
		}
	}
}

// On the way down it shows over-ranges or too few digits, and glitches.
func TestWhatLiesOnTheWay(t *testing.T) {
	c := NewConverter(Model{Seed: 1, Glitch: 1})
	glitched, coarse := 0, 0
	for range 40 {
		v, step := c.Convert(Input{AC: 0.31})
		if v > 1.5 {
			glitched++
		}
		if step >= 0.1 {
			coarse++
		}
	}
	if glitched == 0 || coarse == 0 {
		t.Errorf("%d glitches, %d values of few digits", glitched, coarse)
	}
}

func TestHeaders(t *testing.T) {
	for header, pattern := range map[string]string{"CONF:VOLT:AC": "CONFigure:VOLTage:AC", "configure:volt:AC": "CONFigure:VOLTage:AC", ":READ?": "READ?",
		"MEAS:VOLT?": "MEASure:VOLTage[:DC]?", "MEAS:VOLT:DC?": "MEASure:VOLTage[:DC]?", "syst:err?": "SYSTem:ERRor[:NEXT]?", "*idn?": "*IDN?"} {
		if !is(header, pattern) {
			t.Errorf("%s is not taken for %s", header, pattern)
		}
	}
	for header, pattern := range map[string]string{"CONFI:VOLT:AC": "CONFigure:VOLTage:AC", "READ": "READ?", "MEAS:VOLT:AC?": "MEASure:VOLTage[:DC]?", "": "READ?"} {
		if is(header, pattern) {
			t.Errorf("%s is taken for %s", header, pattern)
		}
	}
}

func talk(t *testing.T, s *Server, lines ...string) []string {
	t.Helper()
	c, err := net.Dial("tcp", strings.TrimPrefix(s.Address(), "tcp://"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	c.SetDeadline(time.Now().Add(5 * time.Second))
	r := bufio.NewReader(c)
	var out []string
	for _, l := range lines {
		fmt.Fprintln(c, l)
		if !strings.HasSuffix(l, "?") {
			continue
		}
		a, err := r.ReadString('\n')
		if err != nil {
			return append(out, err.Error())
		}
		out = append(out, strings.TrimSpace(a))
	}
	return out
}

// The same questions after the same touches have the same answers.
func TestTheSeedDecides(t *testing.T) {
	run := func(seed uint64) string {
		s, err := Listen("127.0.0.1:0", Model{Seed: seed, Noise: 0.01, Slow: -1}, 1000)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		s.Touch(Input{AC: 0.31, ToneHz: 315})
		first := talk(t, s, "CONF:VOLT:AC", "READ?", "READ?", "READ?", "READ?", "READ?", "READ?", "READ?", "READ?", "READ?", "READ?;READ?")
		s.Touch(Input{AC: 3})
		return strings.Join(append(first, talk(t, s, "READ?", "READ?", "READ?", "READ?")...), " ")
	}
	if a, b := run(5), run(5); a != b {
		t.Errorf("%s\n%s", a, b)
	}
	if run(5) == run(6) {
		t.Error("another seed shows the same")
	}
}

func TestItsErrors(t *testing.T) {
	s, err := Listen("127.0.0.1:0", Model{}, 1000)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	got := talk(t, s, "SING", "SYST:ERR?", "SYST:ERR?", "*OPC?", "SYST:VERS?", "CONF?")
	if want := []string{undefinedHeader, `0,"No error"`, "1", "1999.0", `"VOLT:AC"`}; strings.Join(got, "|") != strings.Join(want, "|") {
		t.Errorf("%q, want %q", got, want)
	}
	for range 20 {
		talk(t, s, "SING", "*OPC?")
	}
	if s.mu.Lock(); len(s.errors) != mostErrors || s.errors[mostErrors-1] != overflow {
		t.Errorf("%q", s.errors)
	}
	s.mu.Unlock()
}

func TestItSwitchesItselfOff(t *testing.T) {
	s, err := Listen("127.0.0.1:0", Model{OffAfter: 2, Slow: -1}, 1000)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got := talk(t, s, "READ?", "READ?", "READ?"); len(got) != 2 || !strings.Contains(got[1], "EOF") || !s.Off() {
		t.Errorf("%q, off: %v", got, s.Off())
	}
	if got := talk(t, s, "*IDN?"); len(got) != 1 || strings.Contains(got[0], "HEADSTACK") {
		t.Errorf("it answers while off: %q", got)
	}
	s.Press()
	if got := talk(t, s, "*IDN?"); got[0] != "HEADSTACK,SIMULATED METER,0,1" {
		t.Errorf("%q", got)
	}
}
