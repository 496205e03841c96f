package web

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"headstack/job"
)

// tone is what a trim and a tape do: a tone that can be changed while it is heard.
type tone struct{ hz, db, lateUs atomic.Int64 }

func (x *tone) device() *tapeDevice {
	return &tapeDevice{channels: 2, block: 20 * time.Millisecond, sound: func(f int) []float32 {
		hz, a, t := float64(x.hz.Load()), math.Pow(10, float64(x.db.Load())/200), float64(f)/48000
		noise := 1e-5 * math.Sin(float64(f*f%7919))
		return []float32{float32(a*math.Sin(2*math.Pi*hz*t) + noise), float32(a*math.Sin(2*math.Pi*hz*(t-1e-6*float64(x.lateUs.Load()))) - noise)}
	}}
}

// TestReadOutOfARunningTape reads a level and the azimuth while a tape is heard, by page, API
// and stream, keeps a figure, and is refused where nothing can be read.
func TestReadOutOfARunningTape(t *testing.T) {
	var x tone
	x.hz.Store(315)
	x.db.Store(-150) // tenths of a decibel
	l := newListener(t, x.device())
	c := newClient(t, l.s.handler())
	root := "/jobs/" + l.id
	live := root + "/line-up/read-out/live?step="
	c.get("/devices", 200, "Devices")
	c.get(live+"level/VRa/1", 409, "Problem") // nothing is heard
	c.json("POST", root+"/listening", o{"via": "device", "device": "desk", "tape": "pendle-brook-cassette", "tracks": "1,6", "case": "open"}, 201, "Heard")
	l.frames(24000)
	if p := c.get(live+"level/VRa/1", 409, "Problem"); !strings.Contains(p["detail"].(string), "reference output") {
		t.Errorf("without the reference output: %v", p["detail"])
	}
	must(l.b.Record(t.Context(), l.id, job.Entry{Figure: &job.Figure{Step: job.ReferenceOutput, Value: -13, Unit: "dBFS", Half: 0.02}}))
	for step, says := range map[string]string{"level/VRa/3": "track 3 is not heard", "flutter/9.525": "whole capture", "path_clean": "not read from a tone"} {
		if p := c.get(live+step, 409, "Problem"); !strings.Contains(p["detail"].(string), says) {
			t.Errorf("%s: %v, want %q", step, p["detail"], says)
		}
	}
	c.get(live+"nothing", 422, "Problem")
	if r := c.get(live+"treble/VRb/1", 200, "ReadOutLive"); r["heard"] != false {
		t.Errorf("10 kHz while 315 Hz plays: %v", r)
	}
	r := c.get(live+"level/VRa/1", 200, "ReadOutLive") // −15 dBFS of peak is 2 dB below the reference output
	if v := f64(r["value"]); math.Abs(v+2) > 0.02 || r["unit"] != "dB" || !(f64(r["half"]) > 0.019 && f64(r["half"]) < 0.1) || r["heard"] != true {
		t.Errorf("level: %v", r)
	}
	page := get(t, l.s.handler(), root+"/line-up/read-out?step=level/VRa/1").Body.String()
	for _, want := range []string{"Heard now from Desk", "−3.5", "keep this figure", "ms old"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page without scripts does not say %q", want)
		}
	}
	l.streamed(&x)
	if w := l.post("/line-up/read-out", "step", "level/VRa/1"); w.Code != 303 {
		t.Fatalf("kept: %d %s", w.Code, w.Body)
	}
	v := must(l.b.View(t.Context(), l.id))
	if e := v.Entries[len(v.Entries)-1]; e.Figure == nil || math.Abs(e.Figure.Value+2) > 0.02 || e.Case != "open" || e.Figure.Instrument != "live capture, Desk, eight inputs" {
		t.Errorf("kept %+v", e.Figure)
	}
	x.hz.Store(10000)
	x.lateUs.Store(20)
	time.Sleep(300 * time.Millisecond) // until the window holds nothing else
	r = c.get(live+"azimuth/AZ", 200, "ReadOutLive")
	// Tracks 1 and 6 are 3.1 mm apart: at 9.525 cm/s 20 µs are 1.905 µm, 2.1126 arcminutes.
	if v := f64(r["value"]); math.Abs(v-2.1126) > 0.02 || r["unit"] != "arcmin" {
		t.Errorf("azimuth: %v", r)
	}
	if page = get(t, l.s.handler(), root+"/line-up/read-out?step=azimuth/AZ").Body.String(); !strings.Contains(page, "more than ±5.3") {
		t.Error("the page does not say that the phase repeats")
	}
	e := c.json("POST", root+"/line-up/read-out/live", o{"step": "azimuth/AZ"}, 201, "Entry")
	if got := e["figure"].(o); got["step"] != "azimuth/AZ" {
		t.Errorf("kept %v", got)
	}
	c.get(root+"/listening", 200, "Listening")
	c.call("POST", root+"/listening/stop", "", nil, 201, "CaptureAnswer")
	c.json("POST", root+"/line-up/read-out/live", o{"step": "azimuth/AZ"}, 409, "Problem")
}

func f64(v any) float64 {
	var f float64
	if _, err := fmt.Sscan(fmt.Sprint(v), &f); err != nil {
		return math.NaN()
	}
	return f
}

// streamed looks at the read-out as a page with scripts gets it.
func (l *listener) streamed(x *tone) {
	t := l.t
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, "GET", l.srv.URL+"/jobs/"+l.id+"/line-up/read-out/events?step=level/VRa/1", nil)
	if err != nil {
		t.Fatal(err)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if got := resp.Header.Get("Content-Type"); got != "text/event-stream" {
		t.Errorf("Content-Type %q", got)
	}
	n, turn, began := 0, false, time.Now()
	in := bufio.NewScanner(resp.Body)
	for n < 15 && in.Scan() {
		n += strings.Count(in.Text(), "event: now")
		turn = turn || strings.Contains(in.Text(), "% of a turn clockwise")
	}
	t.Logf("%d figures in %.2f s", n, time.Since(began).Seconds())
	if n < 15 || !turn {
		t.Errorf("%d figures came, one that says how far to turn: %v", n, turn)
	}
}

// TestPagesThatLookOn are bounded in number, and let go when the server stops.
func TestPagesThatLookOn(t *testing.T) {
	l := newListener(t, nil)
	var open []*http.Response
	status := 0
	for range maxStreams + 1 {
		resp, err := http.Get(l.srv.URL + "/jobs/" + l.id + "/line-up/read-out/events?step=level/VRa/1")
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		open, status = append(open, resp), resp.StatusCode
	}
	if status != http.StatusServiceUnavailable {
		t.Errorf("page %d: status %d, want 503", len(open), status)
	}
	l.stop()
	in := bufio.NewScanner(open[0].Body)
	for in.Scan() { // ends
		_ = in.Text()
	}
}
