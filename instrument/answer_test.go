package instrument_test

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"

	"headstack/instrument"
)

// One element each: the forms of IEEE 488.2, 8.7, and what hand meters send beside it.
func TestElements(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for sent, want := range map[string]instrument.Element{
		"+12":                      {Value: 12, Step: 1}, // NR1
		"-1.250":                   {Value: -1.25, Step: 0.001},
		".5":                       {Value: 0.5, Step: 0.1},
		"7.":                       {Value: 7, Step: 1},
		"+3.80000E-02\r\n":         {Value: 0.038, Step: 1e-7}, // NR3
		"1e3":                      {Value: 1000, Step: 1000},
		"1.5 E+2":                  {Value: 150, Step: 10},
		"9.9E37":                   {Value: inf}, // SCPI-1999 volume 1, 7.2.1
		"+9.90000000E+37":          {Value: inf},
		"-9.9E+37":                 {Value: -inf},
		"9.91E37":                  {Value: nan},
		"+9.91000000E+37":          {Value: nan},
		"#H1F":                     {Value: 31, Step: 1},
		"#q17":                     {Value: 15, Step: 1},
		"#B101":                    {Value: 5, Step: 1},
		"OL":                       {Value: inf},
		"-O.L":                     {Value: -inf},
		"OVLD":                     {Value: inf},
		"OL mV":                    {Value: inf, Unit: "V"},
		"+38.1 mV":                 {Value: 0.0381, Step: 1e-4, Unit: "V"},
		"1.234E-03VAC":             {Value: 1.234e-3, Step: 1e-6, Unit: "V"},
		"2.20 MOHM":                {Value: 2.2e6, Step: 1e4, Unit: "ohm"}, // IEEE 488.2, 7.7.3: M is mega here
		"2.20 MV":                  {Value: 2.2e-3, Step: 1e-5, Unit: "V"}, // and milli there
		"2.2 MAV":                  {Value: 2.2e6, Step: 1e5, Unit: "V"},
		"3.3 kΩ":                   {Value: 3300, Step: 100, Unit: "ohm"},
		"12.5 MHz":                 {Value: 12.5e6, Step: 1e5, Unit: "Hz"},
		"47 µF":                    {Value: 47e-6, Step: 1e-6, Unit: "F"},
		"0.5%":                     {Value: 0.5, Step: 0.1, Unit: "%"},
		"VOLT:AC":                  {Kind: instrument.Word, Text: "VOLT:AC"},
		`"VOLT:AC 6.0,""x"`:        {Kind: instrument.Text, Text: `VOLT:AC 6.0,"x`},
		`'it''s'`:                  {Kind: instrument.Text, Text: "it's"},
		"#15a\n,;\"":               {Kind: instrument.Block, Bytes: []byte("a\n,;\"")},
		"#206\x00\x01\x02\n\r\x05": {Kind: instrument.Block, Bytes: []byte("\x00\x01\x02\n\r\x05")},
		"#0abc,d\n":                {Kind: instrument.Block, Bytes: []byte("abc,d")},
		"#10":                      {Kind: instrument.Block},
	} {
		a, err := instrument.ParseAnswer([]byte(sent))
		if err != nil || len(a) != 1 || len(a[0]) != 1 {
			t.Errorf("%q: %v, %v", sent, a, err)
			continue
		}
		if !same(a[0][0], want) {
			t.Errorf("%q is %+v, want %+v", sent, a[0][0], want)
		}
	}
}

func same(a, b instrument.Element) bool {
	near := func(x, y float64) bool {
		return x == y || math.IsNaN(x) && math.IsNaN(y) || math.Abs(x-y) <= 1e-12*math.Max(math.Abs(x), math.Abs(y))
	}
	return a.Kind == b.Kind && near(a.Value, b.Value) && near(a.Step, b.Step) && a.Unit == b.Unit && a.Text == b.Text && bytes.Equal(a.Bytes, b.Bytes)
}

func TestAnswersOfManyElements(t *testing.T) {
	a, err := instrument.ParseAnswer([]byte(" +1,2.5E0 ; \"x;y\",#13a,b ;OK\r\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := a.String(), `1E+00,2.5E+00;"x;y",#13a,b;OK`; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	if e, ok := a.Number(); !ok || e.Value != 1 {
		t.Errorf("%+v", e)
	}
}

func TestAnswersThatAreNone(t *testing.T) {
	for sent, want := range map[string]struct {
		at   int
		says string
	}{
		"":                                {0, "not the end"},
		"\r\n":                            {2, "not the end"},
		"1,":                              {2, "not the end"},
		"+":                               {1, "digits"},
		"+.":                              {2, "digits"},
		"1.2.3":                           {3, "a comma"},
		"--.--":                           {1, "digits"},
		"1 2":                             {2, "a comma"},
		"1 furlong":                       {2, "a unit"},
		"1E999":                           {5, "within"},
		`"open`:                           {0, "closing quote"},
		"#15abc":                          {0, "a block"},
		"#9":                              {0, "a block"},
		"#1x":                             {0, "a block"},
		"#Z1":                             {1, "after #"},
		"#H":                              {2, "base 16"},
		"#HFFFFFFFFFFFFFFFF":              {2, "53 bits"},
		"\x80":                            {0, "a number"},
		strings.Repeat("1,", 1<<16) + "1": {2 << 16, "at most"},
	} {
		_, err := instrument.ParseAnswer([]byte(sent))
		e, ok := errors.AsType[*instrument.AnswerError](err)
		if !ok || e.At != want.at || !strings.Contains(e.Error(), want.says) || len(e.Error()) > 400 {
			t.Errorf("%.40q: %v, want byte %d and %q", sent, err, want.at, want.says)
		}
	}
}

// FuzzAnswer: no panic, and what parses prints and parses again to the same.
func FuzzAnswer(f *testing.F) {
	for _, s := range []string{"+1.2345E-03\n", "9.9E37", "9.91E37", "-OL", "12.5 kOhm,AUTO;\"a\"\"b\"", "#15a\nb,c", "#0xy\n", "#HFF,#B01,#Q7", "'x', +4 \r\n",
		`-113,"Undefined header"`, "1E400", "0E999 MAV", "9E35 MAV", "3.3 µV"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, msg []byte) {
		a, err := instrument.ParseAnswer(msg)
		if err != nil {
			if _, ok := errors.AsType[*instrument.AnswerError](err); !ok {
				t.Fatalf("%T", err)
			}
			return
		}
		b, err := instrument.ParseAnswer([]byte(a.String()))
		if err != nil {
			t.Fatalf("%q printed as %q: %v", msg, a, err)
		}
		if len(a) != len(b) {
			t.Fatalf("%q printed as %q", msg, a)
		}
		for i := range a {
			if len(a[i]) != len(b[i]) {
				t.Fatalf("%q printed as %q", msg, a)
			}
			for k := range a[i] {
				x, y := a[i][k], b[i][k]
				x.Step, y.Step = 0, 0 // as many places as it needs are printed
				if !same(x, y) {
					t.Fatalf("%q: %+v printed as %q: %+v", msg, x, a, y)
				}
			}
		}
	})
}
