package instrument_test

import (
	"errors"
	"testing"

	"headstack/instrument"
)

func TestAddresses(t *testing.T) {
	for given, want := range map[string]string{
		"tcp://192.0.2.7":                "tcp://192.0.2.7:5025",
		"tcp://meter.local:5555/":        "tcp://meter.local:5555",
		"tcp://[2001:db8::7]":            "tcp://[2001:db8::7]:5025",
		"tcp://[2001:db8::7]:1":          "tcp://[2001:db8::7]:1",
		"serial:/dev/ttyUSB0":            "serial:/dev/ttyUSB0?baud=9600",
		"serial:COM3?baud=115200&end=cr": "serial:COM3?baud=115200&end=cr",
		"serial:/dev/ttyS0?stop=2&parity=even&data=7&baud=1200&end=crlf": "serial:/dev/ttyS0?baud=1200&data=7&parity=even&stop=2&end=crlf",
	} {
		a, err := instrument.ParseAddress(given)
		if err != nil || a.String() != want {
			t.Errorf("%s is %s (%v), want %s", given, a, err, want)
		}
		if b, err := instrument.ParseAddress(a.String()); err != nil || b != a {
			t.Errorf("%s is %+v (%v) when it is read again", a, b, err)
		}
	}
	for _, given := range []string{"", "192.0.2.7", "http://192.0.2.7", "tcp://", "tcp://:5025", "tcp://a:0", "tcp://a:70000", "tcp://a b", "tcp://a/b", "tcp://u@a",
		"tcp://a\n", "tcp://1:2:3", "serial:", "serial:/dev/x?speed=1", "serial:/dev/x?baud=fast", "serial:/dev/x?data=9", "serial:/dev/x?%zz", "serial:/dev/x?end=no"} {
		_, err := instrument.ParseAddress(given)
		if e, ok := errors.AsType[*instrument.AddressError](err); !ok || e.Hint() == "" {
			t.Errorf("%q: %v", given, err)
		}
	}
}
