package instrument_test

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"headstack/instrument"
)

// TestASerialLine asks a meter at the other end of a pseudo-terminal.
func TestASerialLine(t *testing.T) {
	far, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	if err := unix.IoctlSetPointerInt(int(far.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	n, err := unix.IoctlGetInt(int(far.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	// The near end stays open here: the far one would else end with the first line.
	near, err := os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	defer near.Close()
	done := make(chan bool)
	go func() {
		defer close(done)
		r := bufio.NewReader(far)
		for {
			q, err := r.ReadString('\n')
			if err != nil {
				return
			}
			switch q = strings.TrimSpace(q); q {
			case "*IDN?":
				fmt.Fprint(far, "NOBODY,HAND METER,0,0\r\n")
			case "MEASure:VOLTage:AC?":
				fmt.Fprint(far, "1.104 VAC\r\n")
			case "quit":
				return
			}
		}
	}()
	m := instrument.New(instrument.Config{Address: instrument.Address{Device: near.Name(), Serial: instrument.SerialMode{Baud: 115200, Data: 8, Parity: "none", Stop: 1, End: "crlf"}},
		Dialect: instrument.Measure, Timeout: 300 * time.Millisecond})
	defer m.Close()
	if id, err := m.Identify(t.Context()); err != nil || id != (instrument.Identity{Maker: "NOBODY", Model: "HAND METER"}) {
		t.Fatalf("%+v, %v", id, err)
	}
	if v, err := m.Read(t.Context(), instrument.VoltsAC); err != nil || v.Value != 1.104 || v.Step != 0.001 {
		t.Errorf("%+v, %v", v, err)
	}
	start := time.Now()
	if _, err := m.Read(t.Context(), instrument.VoltsDC); err == nil || !strings.Contains(err.Error(), "no answer in time") || time.Since(start) > 2*time.Second {
		t.Errorf("%v after %v", err, time.Since(start))
	}
	fmt.Fprint(near, "quit\n")
	<-done
	far.Close()
}
