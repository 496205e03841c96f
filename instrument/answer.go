package instrument

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind is what an element of an answer is.
type Kind uint8

// The kinds of element (IEEE 488.2, 8.7).
const (
	Number Kind = iota // NR1, NR2, NR3, or one of another base
	Word               // character data: AUTO, VOLT
	Text               // a quoted string
	Block              // arbitrary bytes, such as a waveform
)

// The values that stand for none (SCPI-1999 volume 1, 7.2.1).
const (
	infinityValue = 9.9e37  // over-range; with a minus sign its negative
	noNumberValue = 9.91e37 // not a number
)

// Element is one piece of data in an answer.
type Element struct {
	Kind Kind
	// Value is that of a number, in base units where a unit came with it. It is infinite
	// for an over-range and NaN where the instrument says that it has none.
	Value float64
	Unit  string // V, A, ohm, Hz, s, F, C, dB, dBm, %, W; empty where none came
	// Step is the worth of the last place that was sent, in the unit of Value: 0.0001 of
	// "1.2345". It is 0 for what is not a finite number.
	Step  float64
	Text  string // of a word or a string, without its quotes
	Bytes []byte // of a block
}

// Answer is a response message: its units, which semicolons part, with the elements of
// each, which commas part.
type Answer [][]Element

// Number is the first number of the answer.
func (a Answer) Number() (Element, bool) {
	for _, unit := range a {
		for _, e := range unit {
			if e.Kind == Number {
				return e, true
			}
		}
	}
	return Element{}, false
}

// AnswerError says where an answer is not what an instrument sends.
type AnswerError struct {
	At   int    // byte, counted from 0
	Want string // what was expected there
	Got  string // the answer, shortened
}

func (e *AnswerError) Error() string {
	return fmt.Sprintf("the answer %s is not understood at byte %d: %s", e.Got, e.At, e.Want)
}

// shown is how much of an answer an error repeats.
const shown = 60

// quoteShort shows what came over a line, however strange.
func quoteShort(b []byte) string {
	if len(b) > shown {
		return strconv.QuoteToASCII(string(b[:shown])) + "..."
	}
	return strconv.QuoteToASCII(string(b))
}

// maxElements bounds what one answer can hold: a meter's log is far shorter, a scope's
// waveform comes as a block.
const maxElements = 1 << 16

// ParseAnswer reads one response message, with or without its end of line. The error is
// an [AnswerError].
func ParseAnswer(msg []byte) (Answer, error) {
	p := parser{msg: msg}
	// A block may end in anything, so only what stands after the elements is trimmed.
	var out Answer
	var unit []Element
	for n := 0; ; n++ {
		if n == maxElements {
			return nil, p.fail("at most %d elements are taken", maxElements)
		}
		e, err := p.element()
		if err != nil {
			return nil, err
		}
		unit = append(unit, e)
		p.blanks()
		switch c := p.peek(); c {
		case ',':
			p.at++
		case ';':
			p.at++
			out, unit = append(out, unit), nil
		case -1:
			return append(out, unit), nil
		default:
			return nil, p.fail("a comma, a semicolon or the end is expected")
		}
	}
}

type parser struct {
	msg []byte
	at  int
}

func (p *parser) fail(format string, a ...any) error {
	return &AnswerError{At: p.at, Want: fmt.Sprintf(format, a...), Got: quoteShort(p.msg)}
}

func (p *parser) peek() int {
	if p.at >= len(p.msg) {
		return -1
	}
	return int(p.msg[p.at])
}

// blanks steps over white space, the ends of line included (IEEE 488.2, 7.4.1.2: the
// codes 0 to 32).
func (p *parser) blanks() {
	for p.at < len(p.msg) && p.msg[p.at] <= ' ' {
		p.at++
	}
}

func (p *parser) element() (Element, error) {
	p.blanks()
	switch c := p.peek(); {
	case c == '"' || c == '\'':
		return p.quoted(byte(c))
	case c == '#':
		return p.hashed()
	case c == '+' || c == '-' || c == '.' || digit(c):
		return p.number()
	case letter(c):
		e := p.word()
		if e.Kind == Number { // "OL mV"
			err := p.suffix(&e)
			return e, err
		}
		return e, nil
	case c < 0:
		return Element{}, p.fail("a number, a word, a string or a block is expected, not the end")
	}
	return Element{}, p.fail("a number, a word, a string or a block is expected")
}

// quoted reads a string; the quote is doubled where it stands for itself.
func (p *parser) quoted(q byte) (Element, error) {
	start := p.at
	var b strings.Builder
	for p.at++; p.at < len(p.msg); p.at++ {
		if p.msg[p.at] != q {
			b.WriteByte(p.msg[p.at])
			continue
		}
		if p.at+1 < len(p.msg) && p.msg[p.at+1] == q {
			b.WriteByte(q)
			p.at++
			continue
		}
		p.at++
		return Element{Kind: Text, Text: b.String()}, nil
	}
	p.at = start
	return Element{}, p.fail("the string has no closing quote")
}

// hashed reads a block, or a number of another base.
func (p *parser) hashed() (Element, error) {
	start := p.at
	p.at++
	c := p.peek()
	bases := map[int]int{'B': 2, 'b': 2, 'Q': 8, 'q': 8, 'H': 16, 'h': 16}
	switch base, ok := bases[c]; {
	case ok:
		p.at++
		from := p.at
		for letter(p.peek()) || digit(p.peek()) {
			p.at++
		}
		v, err := strconv.ParseUint(string(p.msg[from:p.at]), base, 53)
		if err != nil {
			p.at = from
			return Element{}, p.fail("digits of base %d are expected, 53 bits at most", base)
		}
		return Element{Kind: Number, Value: float64(v), Step: 1}, nil
	case c == '0': // of indefinite length: all the rest, up to the end of line
		b := p.msg[p.at+1:]
		if n := len(b); n > 0 && b[n-1] == '\n' {
			b = b[:n-1]
		}
		p.at = len(p.msg)
		return Element{Kind: Block, Bytes: b}, nil
	case digit(c):
		n, width, err := blockLength(p.msg[start:])
		if err != nil || n > len(p.msg)-start-width {
			p.at = start
			return Element{}, p.fail("a block is expected: #, a digit, so many digits of length, so many bytes")
		}
		from := start + width
		p.at = from + n
		return Element{Kind: Block, Bytes: p.msg[from:p.at]}, nil
	}
	return Element{}, p.fail("a block, or a number of base 2, 8 or 16, is expected after #")
}

// blockLength reads the head of a block of definite length: #, how many digits, the
// digits. width is that of the head.
func blockLength(b []byte) (n, width int, err error) {
	if len(b) < 2 {
		return 0, 0, strconv.ErrSyntax
	}
	digits := int(b[1] - '0')
	if len(b) < 2+digits {
		return 0, 0, strconv.ErrSyntax
	}
	for _, c := range b[2 : 2+digits] {
		if !digit(int(c)) {
			return 0, 0, strconv.ErrSyntax
		}
	}
	n, err = strconv.Atoi(string(b[2 : 2+digits]))
	return n, 2 + digits, err
}

// number reads NR1, NR2 or NR3 and what unit comes with it.
func (p *parser) number() (Element, error) {
	start := p.at
	if c := p.peek(); c == '+' || c == '-' {
		p.at++
	}
	from, point := p.at, -1
	for c := p.peek(); digit(c) || c == '.' && point < 0; c = p.peek() {
		if c == '.' {
			point = p.at
		}
		p.at++
	}
	switch digits := p.at - from; {
	case digits == 0 && letter(p.peek()): // "-OL"
		if w := p.word(); math.IsInf(w.Value, 1) {
			return Element{Kind: Number, Value: math.Inf(sign(p.msg[start]))}, nil
		}
		p.at = start
		return Element{}, p.fail("digits are expected after the sign")
	case digits == 0, digits == 1 && point >= 0:
		return Element{}, p.fail("digits are expected")
	}
	places := 0
	if point >= 0 {
		places = p.at - point - 1
	}
	exponent := p.exponent()
	value, err := strconv.ParseFloat(strings.ReplaceAll(string(p.msg[start:p.at]), " ", ""), 64)
	if err != nil { // an exponent beyond all instruments
		return Element{}, p.fail("a number within ±1E308 is expected")
	}
	e := Element{Kind: Number, Value: value, Step: math.Pow(10, float64(exponent-places))}
	if math.IsInf(e.Step, 0) { // "0E400"
		e.Step = 0
	}
	switch v := math.Abs(value); {
	case math.Abs(v/noNumberValue-1) < 5e-4:
		e.Value, e.Step = math.NaN(), 0
	case v >= infinityValue*(1-5e-4):
		e.Value, e.Step = math.Copysign(math.Inf(1), value), 0
	}
	err = p.suffix(&e)
	return e, err
}

// exponent reads the exponent of a number, if one follows: an E that a digit follows,
// with a sign or without. "1.2 E+3" with a blank is understood too.
func (p *parser) exponent() int {
	at := p.at
	for at < len(p.msg) && p.msg[at] == ' ' {
		at++
	}
	if at >= len(p.msg) || p.msg[at] != 'E' && p.msg[at] != 'e' {
		return 0
	}
	at++
	from := at
	if at < len(p.msg) && (p.msg[at] == '+' || p.msg[at] == '-') {
		at++
	}
	if at >= len(p.msg) || !digit(int(p.msg[at])) {
		return 0
	}
	for at < len(p.msg) && digit(int(p.msg[at])) {
		at++
	}
	p.at = at
	n, err := strconv.Atoi(strings.TrimPrefix(string(p.msg[from:at]), "+"))
	if err != nil || n > 400 || n < -400 {
		return 400 // ParseFloat decides what such a number is
	}
	return n
}

// word reads character data: letters, digits, underscores, and the marks that words of
// hand meters have.
func (p *parser) word() Element {
	from := p.at
	for c := p.peek(); letter(c) || digit(c) || c == '_' || c == '.' || c == '-' || c == ':' || c == '/' || c == '%'; c = p.peek() {
		p.at++
	}
	text := string(p.msg[from:p.at])
	switch up := strings.ToUpper(text); {
	case over[up]:
		return Element{Kind: Number, Value: math.Inf(1)}
	case up == "NAN":
		return Element{Kind: Number, Value: math.NaN()}
	}
	return Element{Kind: Word, Text: text}
}

// over are words of an over-range: of the standard (INF), and of hand meters.
var over = map[string]bool{"INF": true, "INFINITY": true, "OL": true, "O.L": true, "OVLD": true, "OVERLOAD": true, "OVER": true, "OFL": true}

func sign(c byte) int {
	if c == '-' {
		return -1
	}
	return 1
}

func digit(c int) bool { return c >= '0' && c <= '9' }

func letter(c int) bool { return c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' }
