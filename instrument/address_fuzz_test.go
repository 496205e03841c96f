package instrument_test

import (
	"errors"
	"testing"

	"headstack/instrument"
)

// FuzzAddress: an address is a socket or a serial line, never both, and what is refused says
// what is wanted.
func FuzzAddress(f *testing.F) {
	for _, s := range []string{"tcp://192.0.2.7", "tcp://meter.local:5025", "tcp://[2001:db8::1]:1", "serial:/dev/ttyUSB0?baud=9600", "serial:COM3?baud=9600&parity=none&end=crlf",
		"http://x", "tcp://user:word@h/path?q#f", "tcp://:0", "serial:?baud=1", "file:///etc/passwd", "tcp://a\r\nb"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := instrument.ParseAddress(s)
		if err != nil {
			if e, ok := errors.AsType[*instrument.AddressError](err); !ok || e.Want == "" || e.Hint() == "" {
				t.Fatalf("%v", err)
			}
			return
		}
		if (a.Host == "") == (a.Device == "") {
			t.Fatalf("%q is read as %+v", s, a)
		}
	})
}
