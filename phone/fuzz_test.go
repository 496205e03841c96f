package phone_test

import (
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"headstack/phone"
)

// FuzzJoin: no code but the one shown lets a device in, no cookie but the one given is
// believed, and a name is kept as one short line.
func FuzzJoin(f *testing.F) {
	dir := f.TempDir()
	g, err := phone.New(dir, phone.Options{Addresses: func() ([]net.IP, error) { return []net.IP{net.IPv4(127, 0, 0, 1)}, nil }})
	if err != nil {
		f.Fatal(err)
	}
	defer g.Close()
	if err := g.Open(http.NotFoundHandler()); err != nil {
		f.Fatal(err)
	}
	for _, s := range [][3]string{{"000000", "a phone", "AAAA"}, {"", "<b>\r\n\x00", ""}, {"１２３４５６", strings.Repeat("é", 100), `"x"; y=z`}} {
		f.Add(s[0], s[1], s[2])
	}
	f.Fuzz(func(t *testing.T, digits, name, token string) {
		if err := g.NewCode(); err != nil {
			t.Fatal(err)
		}
		right := g.State().Code
		if digits != right {
			if _, err := g.Join(digits, name); !errors.Is(err, phone.ErrCode) || len(g.State().Devices) != 0 {
				t.Fatalf("%q was taken for %s: %v", digits, right, err)
			}
		}
		joined := false
		h := g.Guard(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			guest, _ := phone.From(r.Context())
			joined = guest.Joined
		}))
		r := httptest.NewRequest("GET", "/", nil)
		r.Header.Set("Cookie", phone.Cookie+"="+token)
		if h.ServeHTTP(httptest.NewRecorder(), r); joined {
			t.Fatalf("the token %q was believed", token)
		}
		if _, err := g.Join(right, name); err != nil {
			t.Fatal(err)
		}
		d := g.State().Devices[0]
		if !utf8.ValidString(d.Name) || d.Name == "" || utf8.RuneCountInString(d.Name) > 40 || strings.ContainsAny(d.Name, "\r\n\t\x00") {
			t.Fatalf("%q is kept as %q", name, d.Name)
		}
		if err := g.Remove(d.ID); err != nil {
			t.Fatal(err)
		}
	})
}

// FuzzDevices: a list of devices that somebody changed is read or refused with its path.
func FuzzDevices(f *testing.F) {
	for _, s := range []string{"[]", `[{"id":"a","name":"b","token_sha256":""}]`, "{", "null", `[[]]`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		dir := t.TempDir()
		path := filepath.Join(dir, "devices.json")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		g, err := phone.New(dir, phone.Options{})
		if err != nil {
			if !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "remove the file") {
				t.Fatalf("%v", err)
			}
			return
		}
		g.Close()
	})
}
