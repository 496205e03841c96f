package phone_test

import (
	"crypto/sha256"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"headstack/phone"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

type clock struct{ t time.Time }

func (c *clock) now() time.Time { return c.t }

func newGate(t *testing.T, dir string) (*phone.Gate, *clock) {
	t.Helper()
	c := &clock{time.Now()}
	g, err := phone.New(dir, phone.Options{Now: c.now, Addresses: func() ([]net.IP, error) { return []net.IP{net.IPv4(127, 0, 0, 1)}, nil }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(g.Close)
	return g, c
}

// who answers who calls.
var who = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
	guest, remote := phone.From(r.Context())
	fmt.Fprintf(w, "%v %v %s %v", remote, guest.Joined, guest.Device.Name, guest.MayCall(r.Host))
})

func client(t *testing.T) *http.Client {
	c := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}, DisableKeepAlives: true}}
	t.Cleanup(c.CloseIdleConnections)
	return c
}

func ask(t *testing.T, c *http.Client, url string, cookie *http.Cookie) string {
	t.Helper()
	r, _ := http.NewRequest(http.MethodGet, url, nil)
	if cookie != nil {
		r.AddCookie(cookie)
	}
	res, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, _ := io.ReadAll(res.Body)
	return string(b)
}

func TestADeviceJoinsWithTheCodeAndIsSentAway(t *testing.T) {
	dir := t.TempDir()
	g, _ := newGate(t, dir)
	if s := g.State(); s.Open || s.Code != "" || len(s.URLs) != 0 {
		t.Fatalf("a new gate is shut: %+v", s)
	}
	if g.NewCode() == nil {
		t.Error("a shut gate has no codes")
	}
	if err := g.Open(who); err != nil {
		t.Fatal(err)
	}
	if err := g.NewCode(); err != nil {
		t.Fatal(err)
	}
	s := g.State()
	if len(s.Code) != 6 || len(s.URLs) != 1 {
		t.Fatalf("%+v", s)
	}
	c := client(t)
	if got := ask(t, c, s.URLs[0], nil); got != "true false  true" {
		t.Errorf("a stranger is seen as %q", got)
	}
	cookie, err := g.Join(s.Code, " my\nphone \x00")
	if err != nil {
		t.Fatal(err)
	}
	if !cookie.Secure || !cookie.HttpOnly || cookie.SameSite != http.SameSiteStrictMode || !strings.HasPrefix(cookie.Name, "__Host-") || cookie.Path != "/" || cookie.Domain != "" {
		t.Errorf("cookie %+v", cookie)
	}
	if got := ask(t, c, s.URLs[0], cookie); got != "true true my phone true" {
		t.Errorf("the device is seen as %q", got)
	}
	if _, err := g.Join(s.Code, "second"); !errors.Is(err, phone.ErrCode) {
		t.Errorf("a code lets two devices in: %v", err)
	}
	kept, err := os.ReadFile(filepath.Join(dir, "devices.json"))
	if err != nil || strings.Contains(string(kept), cookie.Value) {
		t.Errorf("the file of devices holds the token itself (%v)", err)
	}
	for _, name := range []string{"devices.json", "certificate.pem"} {
		if i, err := os.Stat(filepath.Join(dir, name)); err != nil || i.Mode().Perm() != 0o600 && os.PathSeparator == '/' {
			t.Errorf("%s: %v %v", name, i.Mode(), err)
		}
	}

	again, _ := newGate(t, dir) // the bench is started anew: the phone is still known
	if err := again.Open(who); err != nil {
		t.Fatal(err)
	}
	s2 := again.State()
	if got := ask(t, c, s2.URLs[0], cookie); got != "true true my phone true" {
		t.Errorf("after a new start the device is seen as %q", got)
	}
	if s2.Fingerprint != s.Fingerprint {
		t.Error("a new start made a new certificate: every phone would warn again")
	}
	if err := again.Remove(s2.Devices[0].ID); err != nil {
		t.Fatal(err)
	}
	if got := ask(t, c, s2.URLs[0], cookie); got != "true false  true" {
		t.Errorf("sent away, the device is seen as %q", got)
	}
}

// TestGuessing: five wrong codes void the one in force, and the right one no longer holds.
func TestGuessing(t *testing.T) {
	g, c := newGate(t, t.TempDir())
	if err := g.Open(who); err != nil {
		t.Fatal(err)
	}
	_ = g.NewCode()
	right := g.State().Code
	wrong := "000000"
	if right == wrong {
		wrong = "000001"
	}
	for range phone.Tries {
		if _, err := g.Join(wrong, ""); !errors.Is(err, phone.ErrCode) {
			t.Fatal(err)
		}
	}
	if _, err := g.Join(right, ""); !errors.Is(err, phone.ErrCode) || !g.State().Void {
		t.Errorf("after %d wrong codes the right one holds (%v), void: %v", phone.Tries, err, g.State().Void)
	}
	_ = g.NewCode()
	c.t = c.t.Add(phone.CodeLife)
	if _, err := g.Join(g.State().Code, ""); !errors.Is(err, phone.ErrCode) {
		t.Errorf("no code: %v", err)
	}
	if g.State().Code != "" {
		t.Error("a code is shown past its time")
	}
	if _, err := g.Join("", ""); !errors.Is(err, phone.ErrCode) {
		t.Errorf("an empty code joins: %v", err)
	}
}

// TestSentAwayWhileLooking: a display that is being fed ends with the device's leave.
func TestSentAwayWhileLooking(t *testing.T) {
	g, _ := newGate(t, t.TempDir())
	began, ended := make(chan bool, 1), make(chan bool, 1)
	err := g.Open(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.(http.Flusher).Flush()
		began <- true
		<-r.Context().Done()
		ended <- true
	}))
	if err != nil {
		t.Fatal(err)
	}
	_ = g.NewCode()
	cookie, err := g.Join(g.State().Code, "display")
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		r, _ := http.NewRequest(http.MethodGet, g.State().URLs[0], nil)
		r.AddCookie(cookie)
		if res, err := client(t).Do(r); err == nil {
			io.Copy(io.Discard, res.Body) //nolint:errcheck // it is cut
			res.Body.Close()
		}
	}()
	<-began
	if err := g.Remove(g.State().Devices[0].ID); err != nil {
		t.Fatal(err)
	}
	<-ended
}

func TestFingerprintIsThatOfTheCertificate(t *testing.T) {
	g, _ := newGate(t, t.TempDir())
	if err := g.Open(who); err != nil {
		t.Fatal(err)
	}
	s := g.State()
	conn, err := tls.Dial("tcp", strings.TrimPrefix(s.URLs[0], "https://"), &tls.Config{InsecureSkipVerify: true})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	leaf := conn.ConnectionState().PeerCertificates[0]
	if got := fmt.Sprintf("%X", sha256.Sum256(leaf.Raw)); got != strings.ReplaceAll(s.Fingerprint, ":", "") {
		t.Errorf("%s is shown, %s is served", s.Fingerprint, got)
	}
	if err := leaf.VerifyHostname("127.0.0.1"); err != nil || time.Until(leaf.NotAfter) > 398*24*time.Hour {
		t.Errorf("%v, until %v", err, leaf.NotAfter)
	}
}

func TestWhatCannotBe(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "devices.json"), []byte("[{"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := phone.New(dir, phone.Options{}); err == nil || !strings.Contains(err.Error(), "remove the file") {
		t.Errorf("a damaged list: %v", err)
	}
	g, err := phone.New(t.TempDir(), phone.Options{Addresses: func() ([]net.IP, error) { return nil, nil }})
	if err != nil {
		t.Fatal(err)
	}
	if err := g.Open(who); !errors.Is(err, phone.ErrNoNetwork) {
		t.Errorf("no network: %v", err)
	}
	if g.Remove("x") == nil {
		t.Error("an unknown device was sent away")
	}
	// A damaged certificate is made anew.
	dir = t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "certificate.pem"), []byte("no"), 0o600); err != nil {
		t.Fatal(err)
	}
	g, _ = newGate(t, dir)
	if err := g.Open(who); err != nil {
		t.Error(err)
	}
}
