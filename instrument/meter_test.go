package instrument_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math"
	"net"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"headstack/instrument"
	"headstack/sim/meter"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// fast is the usual settling, twenty times as fast.
var fast = instrument.Settling{Hold: 75 * time.Millisecond, Long: 200 * time.Millisecond, Gap: 2 * time.Second, Limit: 5 * time.Second, Every: time.Millisecond}

func listen(t *testing.T, m meter.Model) *meter.Server {
	t.Helper()
	s, err := meter.Listen("127.0.0.1:0", m, 20)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func ask(t *testing.T, address string, d instrument.Dialect) *instrument.Meter {
	t.Helper()
	a, err := instrument.ParseAddress(address)
	if err != nil {
		t.Fatal(err)
	}
	m := instrument.New(instrument.Config{Address: a, Dialect: d, Timeout: time.Second})
	t.Cleanup(func() { m.Close() })
	return m
}

func TestAMeterOverTCP(t *testing.T) {
	for _, d := range instrument.Dialects() {
		t.Run(string(d), func(t *testing.T) {
			s := listen(t, meter.Model{Seed: 3, Slow: -1})
			m := ask(t, s.Address(), d)
			id, err := m.Identify(t.Context())
			if err != nil || id.Model != "SIMULATED METER" || !strings.Contains(id.String(), "HEADSTACK") {
				t.Fatalf("%+v, %v", id, err)
			}
			s.Touch(meter.Input{AC: 0.31, ToneHz: 315})
			if d == instrument.Fetch {
				if _, err := ask(t, s.Address(), instrument.Read).Read(t.Context(), instrument.VoltsAC); err != nil {
					t.Fatal(err) // someone set it, and it has a value
				}
			}
			var seen []instrument.Seen
			st, err := m.Steady(t.Context(), instrument.VoltsAC, fast, func(x instrument.Seen) { seen = append(seen, x) })
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(st.Value-0.31) > 0.003 || st.Unit != "V" || len(seen) != st.Asked || seen[len(seen)-1].Phase != instrument.Settled {
				t.Errorf("%+v after %d values", st, len(seen))
			}
		})
	}
}

func TestEachQuantity(t *testing.T) {
	s := listen(t, meter.Model{Slow: -1})
	s.Touch(meter.Input{AC: 0.1, ToneHz: 315, DC: -11.5, Ohm: 4700})
	m := ask(t, s.Address(), "")
	for q, want := range map[instrument.Quantity]float64{instrument.VoltsAC: 0.1, instrument.VoltsDC: -11.5, instrument.Resistance: 4700, instrument.Frequency: 315} {
		st, err := m.Steady(t.Context(), q, fast, nil)
		if err != nil || math.Abs(st.Value/want-1) > 0.01 || st.Unit != q.Unit() {
			t.Errorf("%s: %+v, %v", q, st, err)
		}
	}
	// It has no ammeter: it says so, and the error what was sent and what came back.
	_, err := m.Read(t.Context(), instrument.AmpsAC)
	e, ok := errors.AsType[*instrument.Error](err)
	if !ok || e.Sent != "CONFigure:CURRent:AC" || !strings.Contains(e.Got, "-113 Undefined header") || e.Hint() == "" {
		t.Errorf("%v", err)
	}
	if _, err := m.Read(t.Context(), "smell"); err == nil {
		t.Error("a quantity that there is none of")
	}
}

func TestOverRangeForGood(t *testing.T) {
	s := listen(t, meter.Model{Slow: -1})
	s.Touch(meter.Input{AC: 5000, ToneHz: 50})
	rule := fast
	rule.Limit = 400 * time.Millisecond
	_, err := ask(t, s.Address(), "").Steady(t.Context(), instrument.VoltsAC, rule, nil)
	e, ok := errors.AsType[*instrument.NotSteadyError](err)
	if !ok || !e.Over || !strings.Contains(e.Hint(), "higher range") {
		t.Errorf("%v", err)
	}
}

func TestAMeterThatGoesToSleep(t *testing.T) {
	s := listen(t, meter.Model{Slow: -1, OffAfter: 3})
	s.Touch(meter.Input{AC: 0.31, ToneHz: 315})
	m := ask(t, s.Address(), "")
	_, err := m.Steady(t.Context(), instrument.VoltsAC, fast, nil)
	e, ok := errors.AsType[*instrument.Error](err)
	if !ok || e.Sent == "" || !strings.Contains(e.Hint(), "key pressed") {
		t.Fatalf("%v", err)
	}
	s.Press()
	// The line is opened anew.
	if v, err := m.Read(t.Context(), instrument.VoltsAC); err != nil || v.Unit != "V" {
		t.Errorf("%+v, %v", v, err)
	}
}

func TestNobodyThere(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := "tcp://" + l.Addr().String()
	l.Close()
	_, err = ask(t, address, "").Identify(t.Context())
	if e, ok := errors.AsType[*instrument.Error](err); !ok || e.Sent != "" || !strings.Contains(e.Error(), address) || e.Hint() == "" {
		t.Errorf("%v", err)
	}
}

// answers is an instrument that answers a question as it is told, by its number.
func answers(t *testing.T, say func(n int, question string) (string, time.Duration)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan bool)
	t.Cleanup(func() { l.Close(); <-done })
	go func() {
		defer close(done)
		for n := 0; ; {
			c, err := l.Accept()
			if err != nil {
				return
			}
			for lines := bufio.NewScanner(c); lines.Scan(); {
				if q := lines.Text(); strings.HasSuffix(q, "?") {
					text, wait := say(n, q)
					n++
					time.Sleep(wait)
					fmt.Fprint(c, text)
				}
			}
			c.Close()
		}
	}()
	return "tcp://" + l.Addr().String()
}

// An answer that comes too late does not answer the next question.
func TestALateAnswerAnswersNothing(t *testing.T) {
	address := answers(t, func(n int, _ string) (string, time.Duration) {
		if n == 0 {
			return "+1.0E+00\n", 300 * time.Millisecond
		}
		return "+2.0E+00\n", 0
	})
	a, _ := instrument.ParseAddress(address)
	m := instrument.New(instrument.Config{Address: a, Dialect: instrument.Measure, Timeout: 100 * time.Millisecond})
	defer m.Close()
	if _, err := m.Read(t.Context(), instrument.VoltsDC); !errors.Is(err, instrument.ErrSilent) {
		t.Fatalf("%v", err)
	}
	time.Sleep(300 * time.Millisecond)
	if v, err := m.Read(t.Context(), instrument.VoltsDC); err != nil || v.Value != 2 {
		t.Errorf("%+v, %v", v, err)
	}
}

func TestStrangeAnswers(t *testing.T) {
	for sent, want := range map[string]string{
		"hello world\n":                "byte 6",
		"AUTO\n":                       "a number is expected",
		"3.1 kOHM\n":                   "set the instrument to d.c. volts",
		strings.Repeat("x", 70000):     "without an end of line",
		"#9999999999" + "x":            "33554432",
		"\n\n\"never closed\n":         "no answer in time",
		"1;2;\"" + string([]byte{200}): "no answer in time",
	} {
		address := answers(t, func(int, string) (string, time.Duration) { return sent, 0 })
		a, _ := instrument.ParseAddress(address)
		m := instrument.New(instrument.Config{Address: a, Dialect: instrument.Measure, Timeout: 150 * time.Millisecond})
		_, err := m.Read(t.Context(), instrument.VoltsDC)
		e, ok := errors.AsType[*instrument.Error](err)
		if !ok || e.Sent != "MEASure:VOLTage:DC?" || !strings.Contains(err.Error(), want) || len(err.Error()) > 500 {
			t.Errorf("%.30q: %v, want %q", sent, err, want)
		}
		m.Close()
	}
}

// A waveform goes by, with all that may be in it, and the number behind it is read.
func TestABlockOnTheWay(t *testing.T) {
	address := answers(t, func(int, string) (string, time.Duration) {
		return "#3300" + strings.Repeat("\n,\"", 100) + ",+4.2E+00\r\n", 0
	})
	m := ask(t, address, instrument.Measure)
	for range 2 {
		if v, err := m.Read(t.Context(), instrument.VoltsDC); err != nil || v.Value != 4.2 {
			t.Errorf("%+v, %v", v, err)
		}
	}
}

func TestStoppingAWait(t *testing.T) {
	s := listen(t, meter.Model{Slow: 1, SlowBy: time.Hour})
	ctx, cancel := context.WithTimeoutCause(t.Context(), 100*time.Millisecond, nil)
	defer cancel()
	stopped, stop := context.WithCancel(t.Context())
	time.AfterFunc(100*time.Millisecond, stop)
	defer stop()
	for _, c := range []context.Context{ctx, stopped} {
		start := time.Now()
		if _, err := ask(t, s.Address(), "").Steady(c, instrument.VoltsAC, fast, nil); !errors.Is(err, context.DeadlineExceeded) && !errors.Is(err, context.Canceled) || time.Since(start) > time.Second {
			t.Errorf("%v after %v", err, time.Since(start))
		}
	}
}

func ExampleSettler() {
	s := instrument.NewSettler(instrument.Settling{})
	// A meter comes down from a range that is too high.
	for i, volts := range []float64{0.3, 310, 0.312, 0.311, 0.311, 0.311, 0.311, 0.311, 0.311} {
		s.Add(time.Duration(i)*300*time.Millisecond, instrument.Value{Value: volts, Unit: "V", Step: 0.001})
		if st, ok := s.Steady(); ok {
			fmt.Printf("%.3f V after %d values\n", st.Value, st.Asked)
			break
		}
	}
	// Output: 0.311 V after 8 values
}
