package instrument

import (
	"fmt"
	"net"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// Port is the TCP port of instruments that take SCPI commands bare on a socket
// (scpi-raw in the register of ports of the IANA).
const Port = 5025

// Address is where an instrument is reached.
type Address struct {
	Host   string // of a socket, with its port; empty for a serial line
	Device string // of a serial line: /dev/ttyUSB0, COM3
	Serial SerialMode
}

// SerialMode is how a serial line runs.
type SerialMode struct {
	Baud   int    // bits per second
	Data   int    // bits of a character: 7, 8
	Parity string // none, even, odd
	Stop   int    // stop bits: 1, 2
	End    string // what ends a line: lf, crlf, cr
}

// AddressError says what is wrong with an address.
type AddressError struct{ Address, Want string }

func (e *AddressError) Error() string {
	return fmt.Sprintf("address %q: %s", e.Address, e.Want)
}

// Hint says what addresses look like.
func (e *AddressError) Hint() string {
	return "an address looks like tcp://192.0.2.7, tcp://meter.local:5025, serial:/dev/ttyUSB0?baud=9600 or serial:COM3?baud=9600&parity=none&end=crlf"
}

// maxAddress is more than a path of a device takes.
const maxAddress = 300

// ParseAddress reads an address as the register has it:
//
//	tcp://HOST[:PORT]                 port 5025 where none is given
//	serial:DEVICE[?baud=9600&data=8&parity=none&stop=1&end=lf]
//
// The error is an [AddressError].
func ParseAddress(s string) (Address, error) {
	fail := func(format string, a ...any) (Address, error) {
		return Address{}, &AddressError{s, fmt.Sprintf(format, a...)}
	}
	if len(s) > maxAddress || strings.ContainsFunc(s, func(r rune) bool { return r <= ' ' || r == 0x7f }) {
		return fail("no blanks and at most %d characters are taken", maxAddress)
	}
	if rest, ok := strings.CutPrefix(s, "serial:"); ok {
		return parseSerial(s, rest)
	}
	rest, ok := strings.CutPrefix(s, "tcp://")
	if !ok {
		return fail("tcp:// or serial: is expected first")
	}
	host, port := strings.TrimSuffix(rest, "/"), strconv.Itoa(Port)
	if h, p, err := net.SplitHostPort(host); err == nil {
		host, port = h, p
	} else {
		host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
		return fail("a port from 1 to 65535 is expected after the colon")
	}
	if host == "" || strings.ContainsAny(host, "/?#@%\\[]") || strings.Contains(host, ":") && net.ParseIP(host) == nil {
		return fail("the name or number of a host is expected after tcp://")
	}
	return Address{Host: net.JoinHostPort(host, port)}, nil
}

func parseSerial(s, rest string) (Address, error) {
	device, query, _ := strings.Cut(rest, "?")
	a := Address{Device: device, Serial: SerialMode{Baud: 9600, Data: 8, Parity: "none", Stop: 1, End: "lf"}}
	if strings.Trim(device, "/") == "" {
		return Address{}, &AddressError{s, "a device is expected after serial:"}
	}
	values, err := url.ParseQuery(query)
	if err != nil {
		return Address{}, &AddressError{s, "settings are written as baud=9600&parity=none"}
	}
	for name, v := range values {
		if err := a.Serial.set(name, v[len(v)-1]); err != nil {
			return Address{}, &AddressError{s, err.Error()}
		}
	}
	return a, nil
}

func (m *SerialMode) set(name, value string) error {
	number := func(to *int, low, high int) error {
		n, err := strconv.Atoi(value)
		if err != nil || n < low || n > high {
			return fmt.Errorf("%s is a number from %d to %d", name, low, high)
		}
		*to = n
		return nil
	}
	one := func(to *string, of ...string) error {
		if !slices.Contains(of, value) {
			return fmt.Errorf("%s is one of %s", name, strings.Join(of, ", "))
		}
		*to = value
		return nil
	}
	switch name {
	case "baud":
		return number(&m.Baud, 50, 4000000)
	case "data":
		return number(&m.Data, 7, 8)
	case "stop":
		return number(&m.Stop, 1, 2)
	case "parity":
		return one(&m.Parity, "none", "even", "odd")
	case "end":
		return one(&m.End, "lf", "crlf", "cr")
	}
	return fmt.Errorf("%q is no setting of a line: baud, data, parity, stop, end are", name)
}

// String writes the address as [ParseAddress] reads it, every setting of a line that is
// not the usual one with it.
func (a Address) String() string {
	if a.Device == "" {
		return "tcp://" + a.Host
	}
	m := a.Serial
	s := "serial:" + a.Device + "?baud=" + strconv.Itoa(m.Baud)
	if m.Data != 8 {
		s += "&data=" + strconv.Itoa(m.Data)
	}
	if m.Parity != "none" {
		s += "&parity=" + m.Parity
	}
	if m.Stop != 1 {
		s += "&stop=" + strconv.Itoa(m.Stop)
	}
	if m.End != "lf" {
		s += "&end=" + m.End
	}
	return s
}
