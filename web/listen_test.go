package web

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"
	"go.uber.org/goleak"

	"headstack/capture"
	"headstack/job"
	"headstack/job/memory"
)

// listener is a bench with a server that hears, and one job.
type listener struct {
	t      *testing.T
	b      *job.Bench
	s      *server
	srv    *httptest.Server
	folder string
	stop   context.CancelFunc
	id     string
}

func newListener(t *testing.T, devices Devices) *listener {
	t.Helper()
	l := &listener{t: t, b: job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{}), folder: filepath.Join(t.TempDir(), "heard")}
	l.id = must(l.b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"})).ID
	l.serve(devices, 0)
	return l
}

// serve starts a server on the bench, as after a stop.
func (l *listener) serve(devices Devices, maxUpload int64) {
	l.t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	l.s = newServer(l.b, Options{Patience: time.Minute, Listen: l.folder, Devices: devices, Context: ctx, MaxUpload: maxUpload})
	l.srv, l.stop = httptest.NewServer(l.s.handler()), stop
	l.t.Cleanup(l.quit)
}

func (l *listener) quit() {
	l.stop()
	for range 500 { // the capture ends beside
		if h, _ := l.s.ear.current(); h == nil {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	l.srv.CloseClientConnections()
	l.srv.Close()
}

// api calls the API and wants a status.
func (l *listener) api(method, path string, body any, status int) map[string]any {
	l.t.Helper()
	data, err := json.Marshal(body)
	if err != nil {
		l.t.Fatal(err)
	}
	r := request(method, apiRoot+"/jobs/"+l.id+path, data)
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	l.s.handler().ServeHTTP(w, r)
	if w.Code != status {
		l.t.Fatalf("%s %s: status %d, want %d: %s", method, path, w.Code, status, w.Body)
	}
	var out map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil {
		l.t.Fatal(err)
	}
	return out
}

var browserOrder = o{"via": "browser", "sample_rate": 44100, "tape": "pendle-brook-cassette", "tracks": "3,4", "case": "closed"}

// dial begins a capture of a browser and opens the way for its sound.
func (l *listener) dial() *websocket.Conn {
	l.t.Helper()
	sound := l.api("POST", "/listening", browserOrder, 201)["sound"].(string)
	c, _, err := websocket.Dial(l.t.Context(), l.srv.URL+sound, &websocket.DialOptions{HTTPHeader: http.Header{"Origin": {l.srv.URL}}})
	if err != nil {
		l.t.Fatal(err)
	}
	l.t.Cleanup(func() { _ = c.CloseNow() })
	return c
}

// blockOf is a block as the worklet makes it; the sample of channel c at frame f is known.
func blockOf(number uint32, first float64, n int) []byte {
	b := make([]byte, blockHead, blockHead+8*n)
	binary.LittleEndian.PutUint32(b, number)
	binary.LittleEndian.PutUint32(b[4:], uint32(n))
	binary.LittleEndian.PutUint64(b[8:], math.Float64bits(first))
	for c := range 2 {
		for i := range n {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(sampleAt(c, int(first)+i)))
		}
	}
	return b
}

func sampleAt(c, f int) float32 { return float32(math.Sin(float64(f)*0.05)*0.25 + 0.001*float64(c)) }

func (l *listener) send(c *websocket.Conn, kind websocket.MessageType, data []byte) {
	l.t.Helper()
	if err := c.Write(l.t.Context(), kind, data); err != nil {
		l.t.Fatal(err)
	}
}

// over reads until the server closes the connection and says how.
func (l *listener) over(c *websocket.Conn) websocket.CloseError {
	l.t.Helper()
	ctx, cancel := context.WithTimeout(l.t.Context(), 20*time.Second)
	defer cancel()
	for {
		_, _, err := c.Read(ctx)
		if e, ok := errors.AsType[websocket.CloseError](err); ok {
			return e
		}
		if err != nil {
			return websocket.CloseError{Code: -1, Reason: err.Error()}
		}
	}
}

// unkept waits until a number of captures are offered.
func (l *listener) unkept(n int) []order {
	l.t.Helper()
	var got []order
	for range 500 {
		if got = l.s.ear.unkept(l.id); len(got) == n {
			return got
		}
		time.Sleep(10 * time.Millisecond)
	}
	l.t.Fatalf("%d captures are offered, want %d: %+v", len(got), n, got)
	return nil
}

// TestSoundOfABrowserIsKept sends blocks and wants the record to hold them bit for bit, under
// the hash of the file that grew, as a capture of the job.
func TestSoundOfABrowserIsKept(t *testing.T) {
	before := goleak.IgnoreCurrent()
	l := newListener(t, nil)
	c := l.dial()
	for i := range 20 {
		l.send(c, websocket.MessageBinary, blockOf(uint32(i), float64(7000+1024*i), 1024))
	}
	l.send(c, websocket.MessageBinary, blockOf(20, 7000+20*1024, 100)) // what was in hand at the end
	l.send(c, websocket.MessageText, []byte(endWord))
	if e := l.over(c); e.Code != websocket.StatusNormalClosure {
		t.Errorf("closed with %v", e)
	}
	sha := l.unkept(1)[0].SHA256
	w := l.post("/listen/stop", "file", l.unkept(1)[0].File)
	if w.Code != 303 || !strings.Contains(w.Header().Get("Location"), "/captures/1") {
		t.Fatalf("stopped: %d, to %q", w.Code, w.Header().Get("Location"))
	}
	v := must(l.b.View(t.Context(), l.id))
	e := v.Entries[0]
	if e.Capture.SHA256 != sha || sha == "" || e.Case != "closed" || fmt.Sprint(e.Capture.Tracks) != "[3 4]" || !strings.Contains(e.Remark, "Heard live") {
		t.Errorf("case %q, remark %q, tracks %v, hash %s, that of the file %s", e.Case, e.Remark, e.Capture.Tracks, e.Capture.SHA256, sha)
	}
	l.wantFrames(e, 7000, 20*1024+100)
	if list, _ := os.ReadDir(l.folder); len(list) != 0 {
		t.Errorf("left in the folder: %v", list)
	}
	l.quit()
	_ = c.CloseNow()
	http.DefaultTransport.(*http.Transport).CloseIdleConnections()
	http.DefaultClient.CloseIdleConnections()
	goleak.VerifyNone(t, before)
}

func (l *listener) post(path string, pairs ...string) *httptest.ResponseRecorder {
	l.t.Helper()
	form := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	return post(l.t, l.s.handler(), "/jobs/"+l.id+path, form)
}

// wantFrames holds a kept capture against what was sent.
func (l *listener) wantFrames(e job.Entry, first, n int) {
	l.t.Helper()
	f := must(l.b.OpenCapture(l.t.Context(), e.Capture.SHA256))
	defer f.Close()
	r := must(capture.NewReader(io.NewSectionReader(f, 0, f.Size()), e.Capture.File))
	buf := [][]float64{make([]float64, 4096), make([]float64, 4096)}
	at := 0
	for {
		got, err := r.Read(buf)
		for i := range got {
			for c := range 2 {
				if want := float64(sampleAt(c, first+at+i)); buf[c][i] != want {
					l.t.Fatalf("frame %d of channel %d is %g, want %g", at+i, c+1, buf[c][i], want)
				}
			}
		}
		at += got
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			l.t.Fatal(err)
		}
	}
	if at != n {
		l.t.Errorf("%d frames are kept, want %d", at, n)
	}
}

// TestHostileSound: what a page must not send cuts the capture off, with the reason; what came
// before is offered, and can be kept.
func TestHostileSound(t *testing.T) {
	l := newListener(t, nil)
	good := blockOf(0, 0, 1024)
	fast := make([][]byte, 0, 400)
	for i := range 400 {
		fast = append(fast, blockOf(uint32(i+1), float64(1024+4096*i), 4096))
	}
	for name, x := range map[string]struct {
		kind websocket.MessageType
		data [][]byte
		says string
	}{
		"no head":        {websocket.MessageBinary, [][]byte{{1, 2, 3}}, "has no head"},
		"a wrong length": {websocket.MessageBinary, [][]byte{blockOf(1, 1024, 64)[:100]}, "says 64 frames"},
		"going back":     {websocket.MessageBinary, [][]byte{blockOf(1, 512, 64)}, "came after block 0"},
		"the same again": {websocket.MessageBinary, [][]byte{good}, "came after block 0"},
		"half a frame":   {websocket.MessageBinary, [][]byte{blockOf(1, 1024.5, 64)}, "begins at frame"},
		"too large":      {websocket.MessageBinary, [][]byte{make([]byte, 40000)}, "browser"},
		"too fast":       {websocket.MessageBinary, fast, "faster than it can be heard"},
		"words":          {websocket.MessageText, [][]byte{[]byte("hello")}, "no sound"},
	} {
		t.Run(name, func(t *testing.T) {
			c := l.dial()
			l.send(c, websocket.MessageBinary, good)
			for _, d := range x.data {
				if c.Write(t.Context(), x.kind, d) != nil {
					break // refused meanwhile
				}
			}
			e := l.over(c)
			u := l.unkept(1)[0]
			if !strings.Contains(u.Cut, x.says) {
				t.Errorf("cut off by %q, closed with %v, want %q", u.Cut, e, x.says)
			}
			got := l.api("POST", "/listening/keep", o{"file": u.File}, 201)
			if remark := got["entry"].(o)["remark"].(string); !strings.Contains(remark, "Cut off: ") {
				t.Errorf("remark %q", remark)
			}
			l.unkept(0)
		})
	}
}

// TestSoundFromElsewhereIsRefused: another site, another token, a second sender.
func TestSoundFromElsewhereIsRefused(t *testing.T) {
	l := newListener(t, nil)
	sound := l.api("POST", "/listening", browserOrder, 201)["sound"].(string)
	try := func(path string, h http.Header) int {
		t.Helper()
		c, resp, err := websocket.Dial(t.Context(), l.srv.URL+path, &websocket.DialOptions{HTTPHeader: h})
		if err == nil {
			t.Cleanup(func() { _ = c.CloseNow() })
			return 101
		}
		return resp.StatusCode
	}
	own := http.Header{"Origin": {l.srv.URL}}
	for name, x := range map[string]struct {
		path string
		h    http.Header
		want int
	}{
		"another site":  {sound, http.Header{"Origin": {"http://evil.example"}}, 403},
		"another port":  {sound, http.Header{"Origin": {"http://127.0.0.1:1"}}, 403},
		"null":          {sound, http.Header{"Origin": {"null"}}, 403},
		"no origin":     {sound, http.Header{"Sec-Fetch-Site": {"cross-site"}}, 403},
		"another token": {sound[:len(sound)-2] + "xx", own, 404},
		"no token":      {strings.Split(sound, "?")[0], own, 404},
		"another job":   {strings.Replace(sound, l.id, "job-9999", 1), own, 404},
	} {
		if got := try(x.path, x.h); got != x.want {
			t.Errorf("%s: status %d, want %d", name, got, x.want)
		}
	}
	if got := try(sound, own); got != 101 {
		t.Errorf("the page itself: status %d", got)
	}
	if got := try(sound, own); got != 409 {
		t.Errorf("a second sender: status %d, want 409", got)
	}
	l.api("POST", "/listening", browserOrder, 409) // one tape at a time
	l.api("POST", "/listening/stop", o{}, 409)     // nothing was heard: nothing is kept
	if list, _ := os.ReadDir(l.folder); len(list) != 0 {
		t.Errorf("left in the folder: %v", list)
	}
}

// TestACaptureThatWasCutOffIsOffered: the page goes away, the server stops, the bench is
// killed; at the next start each is offered with the reason, and kept whole.
func TestACaptureThatWasCutOffIsOffered(t *testing.T) {
	l := newListener(t, nil)
	c := l.dial()
	for i := range 8 {
		l.send(c, websocket.MessageBinary, blockOf(uint32(i), float64(1024*i), 1024))
	}
	_ = c.CloseNow()
	if u := l.unkept(1)[0]; !strings.Contains(u.Cut, "page was closed") {
		t.Errorf("the page went away: %+v", u)
	}
	c = l.dial()
	for i := range 12 {
		l.send(c, websocket.MessageBinary, blockOf(uint32(i), float64(1024*i), 1024))
	}
	l.frames(8192)
	l.stop()
	if u := l.unkept(2)[1]; u.Cut != "the bench was stopped" || !u.Ended {
		t.Errorf("the server stopped: %+v", u)
	}
	l.serve(nil, 0)
	c = l.dial()
	for i := range 12 {
		l.send(c, websocket.MessageBinary, blockOf(uint32(i), float64(1024*i), 1024))
	}
	old := l.s.ear.of(l.id).File
	var killed []byte
	for range 500 { // all is in the file, and the header does not say so
		if killed = must(os.ReadFile(filepath.Join(l.folder, old))); len(killed) > 12*1024*8 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	note := must(os.ReadFile(filepath.Join(l.folder, old+".json")))
	l.api("POST", "/listening/stop", o{}, 201)
	// As the folder was when the power went.
	if err := errors.Join(os.WriteFile(filepath.Join(l.folder, old), killed, 0o666), os.WriteFile(filepath.Join(l.folder, old+".json"), note, 0o666)); err != nil {
		t.Fatal(err)
	}
	l.serve(nil, 0)
	u := l.unkept(3)
	if !strings.Contains(u[2].Cut, "lost its power") {
		t.Errorf("killed: %+v", u[2])
	}
	page := get(t, l.s.handler(), "/jobs/"+l.id+"/listen").Body.String()
	if strings.Count(page, "not kept yet") != 3 || !strings.Contains(page, "lost its power") {
		t.Errorf("the page offers %d", strings.Count(page, "not kept yet"))
	}
	w := l.post("/listen/keep", "file", u[2].File, "played", "tape/pendle-brook-cassette", "tracks", "5,6", "case", "open", "remark", "third pass")
	if w.Code != 303 {
		t.Fatalf("kept: %d %s", w.Code, w.Body)
	}
	v := must(l.b.View(t.Context(), l.id))
	e := v.Entries[len(v.Entries)-1]
	if fmt.Sprint(e.Capture.Tracks) != "[5 6]" || e.Case != "open" || !strings.HasPrefix(e.Remark, "third pass. Heard live") {
		t.Errorf("kept as case %q, remark %q, tracks %v", e.Case, e.Remark, e.Capture.Tracks)
	}
	l.wantFrames(e, 0, 12*1024)
	l.unkept(2)
	// A form that cannot be right keeps nothing and loses nothing.
	if w := l.post("/listen/keep", "file", u[0].File, "played", "tape/pendle-brook-cassette", "tracks", "5,99"); w.Code != 422 || !strings.Contains(w.Body.String(), "The sound is kept") {
		t.Errorf("a wrong track: %d", w.Code)
	}
	for _, file := range []string{"../" + u[0].File, "nothing.wav", ".hidden", ""} {
		l.api("POST", "/listening/keep", o{"file": file}, 404)
	}
	l.unkept(2)
}

// frames waits until so many are in the file of the capture in progress.
func (l *listener) frames(n int64) {
	l.t.Helper()
	for range 500 {
		if h := l.s.ear.of(l.id); h != nil && h.sess.State().Frames >= n {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	l.t.Fatalf("%d frames did not come", n)
}

// tapeDevice is an input that plays what sound says, in real time or as fast as it is taken.
type tapeDevice struct {
	channels int
	block    time.Duration
	sound    func(frame int) []float32 // nil: the end
	fails    error
}

func (d *tapeDevice) List(context.Context) ([]Device, error) {
	return []Device{{ID: "desk", Name: "Desk, eight inputs", Channels: d.channels, Rate: 48000}}, nil
}

func (d *tapeDevice) Listen(ctx context.Context, id string, rate, channels int, to Sink) error {
	n := int(d.block.Seconds() * float64(rate))
	tick := time.NewTicker(d.block)
	defer tick.Stop()
	buf := make([]float32, 0, n*channels)
	for at := 0; ; at += n {
		buf = buf[:0]
		for i := range n {
			f := d.sound(at + i)
			if f == nil {
				return d.fails
			}
			buf = append(buf, f[:channels]...)
		}
		if err := to.Write(buf); err != nil {
			return err
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return nil
		}
	}
}

// TestADeviceWithoutScripts goes the way of a page without scripts: start, look, stop, read.
func TestADeviceWithoutScripts(t *testing.T) {
	before := goleak.IgnoreCurrent()
	d := &tapeDevice{channels: 8, block: 10 * time.Millisecond, sound: func(f int) []float32 {
		out := make([]float32, 8)
		for c := range out {
			out[c] = float32(0.1 * math.Sin(2*math.Pi*315*float64(f)/48000))
		}
		return out
	}}
	l := newListener(t, d)
	h := l.s.handler()
	page := get(t, h, "/jobs/"+l.id+"/listen").Body.String()
	for _, want := range []string{"Desk, eight inputs, 8 channels", "left is track", "1.5 m away"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for name, x := range map[string]struct {
		form []string
		says string
	}{
		"another device": {[]string{"via", "device", "device", "roof", "played", "tape/pendle-brook-cassette"}, "is not there now"},
		"no script":      {[]string{"via", "browser", "played", "tape/pendle-brook-cassette"}, "script"},
		"no source":      {[]string{"played", "tape/pendle-brook-cassette"}, "is no source"},
		"no tape":        {[]string{"via", "device", "device", "desk", "played", "tape/none"}, "none"},
		"too many":       {[]string{"via", "device", "device", "desk", "played", "tape/pendle-brook-cassette", "tracks", "1-9"}, "are more than"},
		"a wrong track":  {[]string{"via", "device", "device", "desk", "played", "tape/pendle-brook-cassette", "tracks", "7"}, "go beyond"},
		"no track":       {[]string{"via", "device", "device", "desk", "played", "tape/pendle-brook-cassette", "tracks", "0"}, "leaves every channel out"},
		"channels":       {[]string{"via", "device", "device", "desk", "played", "tape/pendle-brook-cassette", "channels", "9"}, "from 1 to 8"},
	} {
		if w := l.post("/listen", x.form...); w.Code < 400 || !strings.Contains(w.Body.String(), x.says) {
			t.Errorf("%s: %d, does not say %q", name, w.Code, x.says)
		}
	}
	if w := l.post("/listen", "via", "device", "device", "desk", "played", "tape/pendle-brook-cassette", "tracks", "1-6", "case", "open"); w.Code != 303 {
		t.Fatalf("started: %d %s", w.Code, w.Body)
	}
	l.frames(4800)
	if page = get(t, h, "/jobs/"+l.id+"/listen").Body.String(); !strings.Contains(page, "stop and keep") || !strings.Contains(page, "It goes on when this page is closed") {
		t.Error("the page does not show that the bench listens")
	}
	other := must(l.b.OpenJob(t.Context(), job.NewJob{Definition: "octogrange"})).ID
	if page = get(t, h, "/jobs/"+other+"/listen").Body.String(); !strings.Contains(page, "listens for another job") {
		t.Error("the page of another job does not say that the bench listens")
	}
	w := l.post("/listen/stop")
	if w.Code != 303 {
		t.Fatalf("stopped: %d %s", w.Code, w.Body)
	}
	e := must(l.b.View(t.Context(), l.id)).Entries[0]
	if fmt.Sprint(e.Capture.Tracks) != "[1 2 3 4 5 6 0 0]" || e.Case != "open" {
		t.Errorf("case %q, tracks %v", e.Case, e.Capture.Tracks)
	}
	if w := l.post("/listen/stop"); w.Code != 409 {
		t.Errorf("stopped again: %d", w.Code)
	}
	l.quit()
	goleak.VerifyNone(t, before)
}

// TestADeviceThatStops and one that fills the disk's share end in an order that is offered.
func TestADeviceThatStops(t *testing.T) {
	l := newListener(t, &tapeDevice{channels: 2, block: time.Millisecond, fails: errors.New("it was unplugged"), sound: func(f int) []float32 {
		if f > 4800 {
			return nil
		}
		return []float32{0.1, 0.1}
	}})
	begin := o{"via": "device", "device": "desk", "tape": "pendle-brook-cassette"}
	l.api("POST", "/listening", begin, 201)
	if u := l.unkept(1)[0]; !strings.Contains(u.Cut, "it was unplugged") {
		t.Errorf("%+v", u)
	}
	l.quit()
	l.serve(&tapeDevice{channels: 2, block: time.Millisecond, sound: func(int) []float32 { return []float32{0.1, 0.1} }}, 8*4800)
	l.api("POST", "/listening", begin, 201)
	if u := l.unkept(2)[1]; u.Cut != "" || !strings.Contains(strings.Join(u.Notes, " "), "as long as a capture may be") {
		t.Errorf("a full capture: %+v", u)
	}
}
