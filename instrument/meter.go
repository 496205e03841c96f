package instrument

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"
)

// Config says which instrument to ask, and how.
type Config struct {
	Address Address
	Dialect Dialect       // empty: [Read]
	Timeout time.Duration // for one answer, and for the line to open; 0: 5 s
}

// defaultTimeout is long enough for the slow a.c. filter of a bench meter, which takes
// 2 to 3 s at its lowest corner (common practice, no source).
const defaultTimeout = 5 * time.Second

// Meter asks one instrument. It opens its line when it is first asked, and anew after an
// error. It is not for concurrent use: an instrument answers one question at a time.
type Meter struct {
	conf   Config
	line   wire
	in     *bufio.Reader
	set    Quantity // what the instrument was set to on this line
	opened int      // how often the line was opened
}

// New makes a Meter; nothing is sent yet.
func New(c Config) *Meter {
	if c.Dialect == "" {
		c.Dialect = Read
	}
	if c.Timeout <= 0 {
		c.Timeout = defaultTimeout
	}
	return &Meter{conf: c}
}

// Close closes the line. The meter may be asked again.
func (m *Meter) Close() error {
	if m.line == nil {
		return nil
	}
	err := m.line.Close()
	m.line, m.in, m.set = nil, nil, ""
	return err
}

// Error is a question that an instrument did not answer as it should.
type Error struct {
	Address string
	Sent    string // the command; empty while the line was being opened
	Got     string // what came back, quoted; empty: nothing
	Advice  string // what to do
	Err     error
}

func (e *Error) Error() string {
	switch {
	case e.Sent == "":
		return fmt.Sprintf("no line to %s: %v", e.Address, e.Err)
	case e.Got == "":
		return fmt.Sprintf("%s was asked %s and nothing came back: %v", e.Address, e.Sent, e.Err)
	}
	return fmt.Sprintf("%s was asked %s and answered %s: %v", e.Address, e.Sent, e.Got, e.Err)
}

func (e *Error) Unwrap() error { return e.Err }

// Hint says what to do.
func (e *Error) Hint() string { return e.Advice }

// ErrSilent says that no answer came in time.
var ErrSilent = errors.New("no answer in time")

// What to do, by what happened.
const (
	adviseLine    = "see that it is switched on and that its address is right, and that no other program holds the line; a meter that has its own menu for the network or the serial line must have it on"
	adviseSilent  = "see that it is switched on and awake (a meter that switches itself off wants a key pressed), that speed and end of line of a serial line are as it has them, and that its dialect is right: read, measure or fetch"
	adviseAnswer  = "try another dialect: measure, or fetch where its function is set by hand"
	adviseRefused = "it does not know this command: try the dialect measure, or fetch where its function is set by hand"
)

// open opens the line if there is none.
func (m *Meter) open(ctx context.Context) error {
	if m.line != nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, m.conf.Timeout)
	defer cancel()
	line, err := dial(ctx, m.conf.Address)
	if err != nil {
		return &Error{Address: m.conf.Address.String(), Advice: adviseLine, Err: err}
	}
	m.line, m.in, m.set = line, bufio.NewReader(line), ""
	m.opened++
	return nil
}

// send sends a command. Where it is a question the answer is returned. After any error
// the line is closed: what comes late must not answer the next question.
func (m *Meter) send(ctx context.Context, command string) (answer []byte, err error) {
	if err := m.open(ctx); err != nil {
		return nil, err
	}
	if n := m.in.Buffered(); n > 0 { // nothing was asked that this would answer
		m.in.Discard(n)
	}
	deadline, callers := time.Now().Add(m.conf.Timeout), false
	if d, ok := ctx.Deadline(); ok && d.Before(deadline) {
		deadline, callers = d, true
	}
	line := m.line
	line.SetDeadline(deadline)
	stop := context.AfterFunc(ctx, func() { line.SetDeadline(time.Unix(1, 0)) })
	defer stop()
	end, last := "\n", byte('\n')
	switch m.conf.Address.Serial.End {
	case "crlf":
		end = "\r\n"
	case "cr":
		end, last = "\r", '\r'
	}
	_, err = io.WriteString(line, command+end)
	if err == nil && strings.HasSuffix(command, "?") {
		answer, err = readMessage(m.in, last)
	}
	if err == nil {
		return answer, nil
	}
	m.Close()
	if callers && errors.Is(err, os.ErrDeadlineExceeded) {
		return nil, context.DeadlineExceeded // the line may know of it before ctx does
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	e := &Error{Address: m.conf.Address.String(), Sent: command, Advice: adviseSilent, Err: err}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		e.Err = ErrSilent
	}
	if len(answer) > 0 {
		e.Got = quoteShort(answer)
	}
	return nil, e
}

// answer asks and reads the answer.
func (m *Meter) answer(ctx context.Context, command string) (Answer, error) {
	raw, err := m.send(ctx, command)
	if err != nil {
		return nil, err
	}
	a, err := ParseAnswer(raw)
	if err != nil {
		m.Close()
		return nil, &Error{m.conf.Address.String(), command, quoteShort(raw), adviseAnswer, err}
	}
	return a, nil
}

// Identity is what an instrument says it is (IEEE 488.2, 10.14); what it does not say is
// empty.
type Identity struct{ Maker, Model, Serial, Firmware string }

func (i Identity) String() string {
	return strings.Join(strings.Fields(strings.Join([]string{i.Maker, i.Model, i.Serial, i.Firmware}, " ")), " ")
}

// Identify asks an instrument what it is.
func (m *Meter) Identify(ctx context.Context) (Identity, error) {
	raw, err := m.send(ctx, "*IDN?")
	if err != nil {
		return Identity{}, err
	}
	var id Identity
	fields := strings.SplitN(string(raw), ",", 4)
	for i, to := range []*string{&id.Maker, &id.Model, &id.Serial, &id.Firmware} {
		if i < len(fields) {
			*to = plain(fields[i])
		}
	}
	if id == (Identity{}) {
		return id, &Error{m.conf.Address.String(), "*IDN?", quoteShort(raw), adviseAnswer, errors.New("four fields parted by commas are expected")}
	}
	return id, nil
}

// plain keeps of a field what can be shown, 80 bytes at most. A field that holds nothing
// but 0 says that there is none.
func plain(s string) string {
	s = strings.Trim(strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f {
			return -1
		}
		return r
	}, s), ` "`)
	if s == "0" {
		return ""
	}
	return s[:min(len(s), 80)]
}

// Value is one value as an instrument gave it.
type Value struct {
	// Value is in Unit, a base unit. It is infinite for an over-range, NaN where the
	// instrument has none.
	Value float64
	Unit  string
	Step  float64 // worth of the last place that was sent
}

// Read asks for one value. In the dialect [Fetch] the instrument gives what it is set to:
// a unit that it sends, and that is not of q, is an error.
func (m *Meter) Read(ctx context.Context, q Quantity) (Value, error) {
	if functions[q].header == "" {
		return Value{}, fmt.Errorf("instrument: no quantity %q", q)
	}
	if err := m.setUp(ctx, q); err != nil {
		return Value{}, err
	}
	command := m.conf.Dialect.ask(q)
	a, err := m.answer(ctx, command)
	if err != nil {
		return Value{}, err
	}
	e, ok := a.Number()
	wrong := ""
	switch {
	case !ok:
		wrong = "a number is expected"
	case e.Unit != "" && e.Unit != q.Unit():
		wrong = fmt.Sprintf("%s is expected, not %s: set the instrument to %s", q.Unit(), e.Unit, q)
	}
	if wrong != "" {
		err := &Error{m.conf.Address.String(), command, quoteShort([]byte(a.String())), adviseAnswer, errors.New(wrong)}
		m.Close()
		return Value{}, err
	}
	return Value{e.Value, q.Unit(), e.Step}, nil
}

// setUp sets the function where the dialect asks for it and it is not set on this line,
// and asks whether that was understood.
func (m *Meter) setUp(ctx context.Context, q Quantity) error {
	if err := m.open(ctx); err != nil {
		return err
	}
	command := m.conf.Dialect.setup(q)
	if command == "" || m.set == q {
		return nil
	}
	if _, err := m.send(ctx, "*CLS"); err != nil {
		return err
	}
	if _, err := m.send(ctx, command); err != nil {
		return err
	}
	complaints, err := m.Complaints(ctx)
	if err != nil {
		return err
	}
	if len(complaints) > 0 {
		return &Error{m.conf.Address.String(), command, strings.Join(complaints, "; "), adviseRefused, errors.New("it complains")}
	}
	m.set = q
	return nil
}

// maxComplaints is more than the queue of an instrument holds.
const maxComplaints = 32

// Complaints empties the queue of errors of an instrument (SYSTem:ERRor?; SCPI-1999 volume
// 2, 21.8) and returns what it held, oldest first.
func (m *Meter) Complaints(ctx context.Context) ([]string, error) {
	var out []string
	for range maxComplaints {
		a, err := m.answer(ctx, "SYSTem:ERRor?")
		if err != nil {
			return out, err
		}
		code, ok := a.Number()
		if !ok {
			m.Close()
			return out, &Error{m.conf.Address.String(), "SYSTem:ERRor?", quoteShort([]byte(a.String())), adviseAnswer, errors.New("a number and a string are expected")}
		}
		if code.Value == 0 {
			break
		}
		text := fmt.Sprintf("%.0f", code.Value)
		for _, e := range a[0] {
			if e.Kind == Text {
				text += " " + plain(e.Text)
			}
		}
		out = append(out, text)
	}
	return out, nil
}

// finite says whether a value is one.
func (v Value) finite() bool { return !math.IsNaN(v.Value) && !math.IsInf(v.Value, 0) }
