package web

import (
	"context"
	"crypto/tls"
	"flag"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"headstack/phone"
)

// phoneBench is a bench with a gate whose local network is the loopback one.
func phoneBench(t *testing.T) (*phone.Gate, http.Handler, string) {
	t.Helper()
	g, err := phone.New(t.TempDir(), phone.Options{Addresses: func() ([]net.IP, error) { return []net.IP{net.IPv4(127, 0, 0, 1)}, nil }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(g.Close)
	b, id := goodStory()
	return g, newServer(b, Options{Phone: g, Program: "headstack test", Export: storyExport}).handler(), id
}

func phoneClient(t *testing.T) *http.Client {
	jar, _ := cookiejar.New(nil)
	c := &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	t.Cleanup(c.CloseIdleConnections)
	return c
}

func call(t *testing.T, c *http.Client, r *http.Request) (int, string, string) {
	t.Helper()
	res, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, _ := io.ReadAll(res.Body)
	return res.StatusCode, string(b), res.Request.URL.Path
}

func toPhone(method, url, body string) *http.Request {
	r, _ := http.NewRequestWithContext(context.Background(), method, url, strings.NewReader(body))
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	return r
}

// TestAPhoneJoins goes the way of a person: open the bench, call it on the phone, type
// the code, write an entry, be sent away.
func TestAPhoneJoins(t *testing.T) {
	g, h, id := phoneBench(t)
	if p := get(t, h, "/phone").Body.String(); strings.Contains(p, "https://") || !strings.Contains(p, "answers on this machine only") {
		t.Fatalf("a bench that nobody opened is open: %s", p)
	}
	if w := post(t, h, "/phone/open", nil); w.Code != http.StatusSeeOther {
		t.Fatalf("opening: %d %s", w.Code, w.Body)
	}
	s := g.State()
	page := get(t, h, "/phone").Body.String()
	for _, want := range []string{s.URLs[0] + "/join", s.Code, s.Fingerprint, `class="qr"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	c := phoneClient(t)
	status, body, at := call(t, c, toPhone("GET", s.URLs[0]+"/jobs/"+id, ""))
	if status != 200 || at != "/join" || strings.Contains(body, id) {
		t.Fatalf("a stranger gets %d at %s: %.200s", status, at, body)
	}
	if status, body, at = call(t, c, toPhone("POST", s.URLs[0]+"/join", url.Values{"code": {s.Code[:3] + " " + s.Code[3:]}, "name": {"<b>phone</b>"}}.Encode())); status != 200 || at != "/" {
		t.Fatalf("joining: %d at %s: %.300s", status, at, body)
	}
	r := toPhone("POST", s.URLs[0]+"/jobs/"+id+"/notes", "text=from+the+phone&case=open")
	if status, body, _ = call(t, c, r); status != 200 || !strings.Contains(body, "from the phone") {
		t.Errorf("an entry of the phone: %d %.300s", status, body)
	}
	if page = get(t, h, "/phone").Body.String(); !strings.Contains(page, "&lt;b&gt;phone&lt;/b&gt;") || strings.Contains(page, s.Code) {
		t.Errorf("the list of devices, escaped, and no code that was used: %s", page)
	}
	for _, path := range []string{"/phone/open", "/phone/code", "/phone/shut", "/phone/devices/x/away"} {
		if status, _, _ := call(t, c, toPhone("POST", s.URLs[0]+path, "")); status != http.StatusForbidden {
			t.Errorf("a phone may do %s: %d", path, status)
		}
	}
	meter := url.Values{"id": {"dmm1"}, "name": {"meter"}, "kind": {"true r.m.s."}, "address": {"tcp://192.0.2.1:5025"}}.Encode()
	if status, body, _ := call(t, c, toPhone("POST", s.URLs[0]+"/library/instruments", meter)); status != http.StatusForbidden || !strings.Contains(body, "bench machine only") {
		t.Errorf("a phone gives the bench an address to connect to: %d", status)
	}
	asJSON := toPhone("POST", s.URLs[0]+"/api/v1/instruments", `{"id":"dmm1","name":"meter","kind":"true r.m.s.","address":"tcp://192.0.2.1:5025"}`)
	asJSON.Header.Set("Content-Type", "application/json")
	if status, body, _ := call(t, c, asJSON); status != http.StatusForbidden {
		t.Errorf("and by the API: %d %s", status, body)
	}
	for _, path := range []string{"/take-away/bench.zip", apiRoot + "/export"} {
		if status, body, _ := call(t, c, toPhone("GET", s.URLs[0]+path, "")); status != http.StatusForbidden || strings.Contains(body, "PK zip") {
			t.Errorf("a phone takes the whole bench by %s: %d", path, status)
		}
	}
	if status, body, _ := call(t, c, toPhone("GET", s.URLs[0]+"/take-away", "")); status != 200 || strings.Contains(body, "take bench.zip") || !strings.Contains(body, "bench machine only") {
		t.Errorf("what a phone is told of it: %d", status)
	}
	if _, body, _ = call(t, c, toPhone("GET", s.URLs[0]+"/phone", "")); strings.Contains(body, "Fingerprint") || strings.Contains(body, "/away") {
		t.Errorf("a phone sees the list of devices")
	}
	if w := post(t, h, "/phone/devices/"+g.State().Devices[0].ID+"/away", nil); w.Code != http.StatusSeeOther {
		t.Errorf("sending away: %d", w.Code)
	}
	if _, _, at = call(t, c, toPhone("GET", s.URLs[0]+"/jobs/"+id, "")); at != "/join" {
		t.Errorf("sent away, it still sees %s", at)
	}
	if w := post(t, h, "/phone/shut", nil); w.Code != http.StatusSeeOther {
		t.Errorf("shutting: %d", w.Code)
	}
	if _, err := c.Do(toPhone("GET", s.URLs[0]+"/", "")); err == nil {
		t.Error("shut, it still answers")
	}
}

// TestStrangersOnTheNetwork tries what somebody in the same network would.
func TestStrangersOnTheNetwork(t *testing.T) {
	g, h, id := phoneBench(t)
	post(t, h, "/phone/open", nil)
	s := g.State()
	c := phoneClient(t)
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	try := func(what string, want int, r *http.Request) {
		t.Helper()
		if status, body, _ := call(t, c, r); status != want || strings.Contains(body, s.Code) {
			t.Errorf("%s: %d, want %d: %.200s", what, status, want, body)
		}
	}
	at := s.URLs[0]
	rebound := toPhone("GET", at+"/", "")
	rebound.Host = "evil.example"
	try("a name bound to the address", http.StatusMisdirectedRequest, rebound)
	local := toPhone("GET", at+"/phone", "")
	local.Host = "localhost"
	try("the name of the bench machine itself", http.StatusMisdirectedRequest, local)
	try("reading by the API", http.StatusUnauthorized, toPhone("GET", at+"/api/v1/jobs", ""))
	try("writing", http.StatusUnauthorized, toPhone("POST", at+"/jobs/"+id+"/notes", "text=x&case=open"))
	socket := toPhone("GET", at+"/jobs/"+id+"/listen", "")
	socket.Header.Set("Upgrade", "websocket")
	socket.Header.Set("Origin", at)
	try("a WebSocket", http.StatusUnauthorized, socket)
	guessed := toPhone("GET", at+"/jobs/"+id, "")
	guessed.AddCookie(&http.Cookie{Name: phone.Cookie, Value: "AAAA"})
	try("a made-up token", http.StatusSeeOther, guessed)
	foreign := toPhone("POST", at+"/join", "code="+s.Code)
	foreign.Header.Set("Origin", "https://evil.example")
	try("joining from another site's form", http.StatusForbidden, foreign)
	try("a join form of 1 MB", http.StatusBadRequest, toPhone("POST", at+"/join", "code="+strings.Repeat("1", 1<<20)))
	wrong := "000000"
	if s.Code == wrong {
		wrong = "111111"
	}
	try("a wrong code", http.StatusForbidden, toPhone("POST", at+"/join", "code="+wrong))
	for range phone.Tries - 1 { // as the page does, without its second
		g.Join(wrong, "") //nolint:errcheck // it is wrong
	}
	try("the right code after five wrong ones", http.StatusForbidden, toPhone("POST", at+"/join", "code="+s.Code))
	if page := get(t, h, "/phone").Body.String(); !strings.Contains(page, "Five wrong codes") {
		t.Error("the bench machine does not say that somebody guessed")
	}
	if n := len(g.State().Devices); n != 0 {
		t.Errorf("%d devices joined", n)
	}
	w := httptest.NewRecorder()
	r := request("GET", "/join", nil)
	h.ServeHTTP(w, r)
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/phone" {
		t.Errorf("the bench machine itself is asked to join: %d %s", w.Code, w.Header())
	}
}

// TestPhoneScreens looks at the pages on both sides, and joins in a browser.
func TestPhoneScreens(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	g, h, _ := phoneBench(t)
	srv := httptest.NewServer(h)
	defer srv.Close()
	ctx := browser(t, chromedp.Flag("ignore-certificate-errors", true))
	watchConsole(t, ctx)
	look := func(name, url string, phone bool) {
		t.Helper()
		w, tall := int64(1280), int64(800)
		if phone {
			w, tall = 390, 844
		}
		dark(t, ctx, phone)
		do(t, ctx, name, chromedp.EmulateViewport(w, tall), chromedp.Navigate(url), chromedp.WaitReady(chromedp.CSS("main")))
		checkFit(t, ctx, name, float64(w), false)
		checkAxe(t, ctx, name)
		if *screens != "" || flag.Lookup("test.artifacts").Value.String() == "true" {
			dir := *screens
			if dir == "" {
				dir = t.ArtifactDir()
			}
			savePicture(t, ctx, filepath.Join(dir, "phone-"+name+".png"), true)
		}
	}
	look("shut-laptop", srv.URL+"/phone", false)
	look("shut-phone", srv.URL+"/phone", true)
	do(t, ctx, "opening", chromedp.Click(chromedp.CSS(`form[action="/phone/open"] button`)), chromedp.WaitVisible(chromedp.CSS(".code")))
	look("open-laptop", srv.URL+"/phone", false)
	look("open-phone", srv.URL+"/phone", true)
	s := g.State()
	look("join-phone", s.URLs[0]+"/", true)
	look("join-laptop", s.URLs[0]+"/", false)
	do(t, ctx, "joining", chromedp.EmulateViewport(390, 844), chromedp.SendKeys(chromedp.CSS("#code"), s.Code+"\r"), chromedp.WaitVisible(chromedp.CSS(`nav a[href="/library"]`)))
	look("joined-phone", s.URLs[0]+"/phone", true)
	look("one-joined-laptop", srv.URL+"/phone", false)
}
