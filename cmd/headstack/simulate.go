package main

import (
	"bufio"
	"fmt"
	"strings"

	"headstack/job"
	"headstack/sim"
	"headstack/sim/meter"
)

// simulateVerb runs what does not exist, to try the program on.
type simulateVerb struct {
	Meter simulateMeterVerb `cmd:"" help:"A bench meter on the demo's recorder, on the network."`
}

type simulateMeterVerb struct {
	Listen   string  `default:"127.0.0.1:5025" placeholder:"HOST:PORT" help:"Where it listens; ${default} without it."`
	At       string  `placeholder:"POINT" help:"Test point that its probe is put on at first: TP21-a."`
	Seed     uint64  `default:"4" help:"Seed of recorder and meter: same seed, same values."`
	Average  bool    `help:"It responds to the average."`
	Band     float64 `name:"bandwidth" placeholder:"HZ" help:"Where it reads 3 dB low; wide without it."`
	OffAfter int     `placeholder:"N" help:"It switches itself off after so many conversions; never without it."`
}

func (simulateMeterVerb) Help() string {
	return `Example: headstack simulate meter --at TP21-a

The recorder is that of headstack demo as it came in. Lines on standard input move the probe: a test point, with a tone in hertz
after it where it is not the point's own (TP21-a 10000); off lifts it; on presses the meter's key after it switched itself off;
repair C31-a puts a part right. On the register it is: headstack instrument add --id dmm1 --kind "true r.m.s." --address tcp://127.0.0.1:5025`
}

func (v *simulateMeterVerb) Run(e *env) error {
	st, err := theatreStory(v.Seed)
	if err != nil {
		return err
	}
	s, err := meter.Listen(v.Listen, meter.Model{Seed: v.Seed, Average: v.Average, BandwidthHz: v.Band, OffAfter: v.OffAfter}, 1)
	if err != nil {
		return withHint(fmt.Errorf("the meter cannot listen: %w", err), "another program has the port; give another one with --listen 127.0.0.1:0")
	}
	defer s.Close()
	h := hand{bench: st.bench, meter: s}
	fmt.Fprintf(e.out, "a meter listens at %s  (stop with Ctrl-C)\n", s.Address())
	if v.At != "" {
		say, err := h.obey(v.At)
		if err != nil {
			return err
		}
		fmt.Fprintln(e.out, say)
	}
	lines := make(chan string)
	go func() { // ends with the program: a read of a terminal cannot be called back
		defer close(lines)
		for in := bufio.NewScanner(e.in); in.Scan(); {
			select {
			case lines <- in.Text():
			case <-e.ctx.Done():
				return
			}
		}
	}()
	for {
		select {
		case <-e.ctx.Done():
			return nil
		case line, ok := <-lines:
			if !ok { // nobody moves it any more; it can still be asked
				<-e.ctx.Done()
				return nil
			}
			say, err := h.obey(line)
			if err != nil {
				say = "error: " + err.Error()
			}
			fmt.Fprintln(e.out, say)
		}
	}
}

// hand moves the probe of a simulated meter over a simulated recorder.
type hand struct {
	bench   *sim.Bench
	meter   *meter.Server
	touches int
}

// obey does what a line says, and tells.
func (h *hand) obey(line string) (string, error) {
	what, more, _ := strings.Cut(strings.TrimSpace(line), " ")
	switch what {
	case "":
		return "", nil
	case "off":
		h.meter.Touch(meter.Input{Open: true})
		return "the probe touches nothing", nil
	case "on":
		h.meter.Press()
		return "the meter is on", nil
	case "repair":
		return h.repair(strings.TrimSpace(more))
	}
	point, key, err := job.ParsePoint(h.bench.Def, what, "")
	if err != nil {
		return "", err
	}
	p := sim.Probe{TestPoint: point, Key: key}
	if more != "" {
		if _, err := fmt.Sscan(more, &p.ToneHz); err != nil || p.ToneHz <= 0 {
			return "", usage("a tone in hertz is expected after %s, not %q", what, more)
		}
	}
	r, err := h.touch(p)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("the probe is on %s (%.3g %s there)", what, r.Right, r.Unit), nil
}

func (h *hand) repair(part string) (string, error) {
	for _, f := range h.bench.Faults {
		s, _ := h.bench.Def.Stage(f.Stage)
		if !strings.EqualFold(h.bench.Def.Designator(s.Part, s.Each, f.Key), part) {
			continue
		}
		if _, err := h.bench.Do(sim.Work{Kind: "repair", Stage: f.Stage, Key: f.Key}); err != nil {
			return "", err
		}
		return part + " is repaired", nil
	}
	return part + " was in order", nil
}

// touch puts the probe on a test point with a placing of its own.
func (h *hand) touch(p sim.Probe) (sim.Reading, error) {
	h.touches++
	p.Instrument, p.Session, p.Setting = "simulated meter", "first evening", fmt.Sprintf("placing %d", h.touches)
	r, err := h.bench.Read(p)
	if err == nil {
		h.meter.Touch(inputOf(r))
	}
	return r, err
}

// inputOf is what leads touch where a reading is taken.
func inputOf(r sim.Reading) meter.Input {
	switch {
	case r.Unit == "ohm":
		return meter.Input{Ohm: r.Value}
	case r.Unit == "Hz":
		return meter.Input{AC: 1, ToneHz: r.Value}
	case r.ToneHz > 0:
		return meter.Input{AC: r.Value, ToneHz: r.ToneHz}
	}
	return meter.Input{DC: r.Value}
}
