package web

import (
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"headstack/phone"
)

// policy allows the page its own style sheet and scripts and nothing else.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guard sets the headers of every answer and refuses calls under a foreign name:
// a page elsewhere could else bind its own name to the loopback address and read.
func (s *server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		// Not no-referrer: it would turn the Origin of a form into "null".
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if guest, remote := phone.From(r.Context()); remote {
			if !s.admit(w, r, guest) {
				return
			}
		} else if !s.hostAllowed(r.Host) {
			s.refuse(w, r, &pageError{status: http.StatusMisdirectedRequest, title: "The bench does not answer under this name",
				what: r.Host, hint: "Call it by a loopback name, such as http://localhost and the port it was started on.", kept: "Nothing was read or written."})
			return
		}
		// A WebSocket is a read by its method and not held to the origin by the browser: a
		// page elsewhere could else send sound and look on.
		if r.Header.Get("Upgrade") != "" && !sameOrigin(r) {
			s.refuse(w, r, &pageError{status: http.StatusForbidden, title: "A connection from another site was refused",
				what: r.Header.Get("Origin"), hint: "Open the pages of the bench themselves and listen there.", kept: "Nothing was written."})
			return
		}
		next.ServeHTTP(w, r)
	})
}

// sameOrigin tells whether a call comes from a page of this server, under the name under
// which it was called. One without an origin is no browser's.
func sameOrigin(r *http.Request) bool {
	origin := r.Header.Get("Origin")
	if origin == "" {
		return r.Header.Get("Sec-Fetch-Site") == "" || r.Header.Get("Sec-Fetch-Site") == "same-origin"
	}
	u, err := url.Parse(origin)
	return err == nil && strings.EqualFold(u.Host, r.Host)
}

func (s *server) hostAllowed(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	name = strings.ToLower(strings.TrimSuffix(strings.Trim(name, "[]"), "."))
	if name == "localhost" {
		return true
	}
	if ip := net.ParseIP(name); ip != nil && ip.IsLoopback() {
		return true
	}
	return slices.Contains(s.opt.Hosts, name)
}

// refuse answers a call that never reached a handler, in the caller's kind.
func (s *server) refuse(w http.ResponseWriter, r *http.Request, err error) {
	if e := explain(err); e.status < 500 {
		s.log(r, "a call was refused", e.status, nil)
	}
	if strings.HasPrefix(r.URL.Path, "/api/") {
		s.problem(w, r, err)
		return
	}
	s.errorPage(w, r, err)
}
