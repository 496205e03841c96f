package web

import (
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"rsc.io/qr"

	"headstack/phone"
)

// phonePages are those by which a phone is let in.
func (s *server) phonePages(page func(string, func(http.ResponseWriter, *http.Request) error)) {
	if s.opt.Phone == nil {
		page("GET /phone", func(http.ResponseWriter, *http.Request) error {
			return &pageError{status: http.StatusNotFound, title: "This bench lets no phones in",
				hint: "headstack serve does; this one was started otherwise.", kept: "The record is as it was."}
		})
		return
	}
	page("GET /phone", s.phonePage)
	page("POST /phone/open", s.openPhone)
	page("POST /phone/shut", s.shutPhone)
	page("POST /phone/code", s.newPhoneCode)
	page("POST /phone/devices/{device}/away", s.sendAway)
	page("GET /join", s.joinPage)
	page("POST /join", s.join)
}

type phoneModel struct {
	base
	phone.State
	Links   []string
	Picture template.HTML // of the first link with its code
	Left    int           // minutes that the code holds
	Guest   string        // the name of the device that looks, "" at the bench machine
}

// here refuses what is only done at the bench machine itself.
func here(r *http.Request, what string) error {
	if _, remote := phone.From(r.Context()); remote {
		return &pageError{status: http.StatusForbidden, title: "That is done at the bench machine only",
			what: what, hint: "Go to the machine on which the bench runs.", kept: "Nothing was changed."}
	}
	return nil
}

func (s *server) phonePage(w http.ResponseWriter, r *http.Request) error {
	m := phoneModel{base: base{Title: "Phone", Here: "phone"}}
	if guest, remote := phone.From(r.Context()); remote {
		m.Guest = guest.Device.Name // and nothing of codes and others
		return render(w, http.StatusOK, "phone", m)
	}
	m.State = s.opt.Phone.State()
	for _, u := range m.URLs {
		m.Links = append(m.Links, u+"/join")
	}
	if m.Code != "" {
		m.Left = int(m.Until.Sub(s.opt.Now()).Minutes() + 1)
		code, err := qr.Encode(m.Links[0]+"?code="+m.Code, qr.M)
		if err != nil {
			return err
		}
		m.Picture = drawCode(code)
	}
	return render(w, http.StatusOK, "phone", m)
}

// drawCode draws a code as ISO/IEC 18004 has it, with its quiet zone of four modules.
func drawCode(c *qr.Code) template.HTML {
	var path strings.Builder
	for y := range c.Size {
		for x := range c.Size {
			if c.Black(x, y) {
				path.WriteString("M" + strconv.Itoa(x+4) + " " + strconv.Itoa(y+4) + "h1v1h-1z")
			}
		}
	}
	side := strconv.Itoa(c.Size + 8)
	return template.HTML(`<svg class="qr" role="img" aria-label="The address with its code, for the camera of a phone" viewBox="0 0 ` + side + " " + side +
		`" shape-rendering="crispEdges"><rect width="` + side + `" height="` + side + `" fill="#fff"/><path fill="#000" d="` + path.String() + `"/></svg>`)
}

func (s *server) changePhone(w http.ResponseWriter, r *http.Request, change func() error) error {
	if err := here(r, "letting phones in"); err != nil {
		return err
	}
	if err := change(); err != nil {
		hint := "Try once more."
		if errors.Is(err, phone.ErrNoNetwork) {
			hint = "Join both to the same network, then open it again."
		}
		return &pageError{status: http.StatusConflict, title: "The bench was not opened to phones", what: err.Error(), hint: hint, kept: "The record is as it was.", err: err}
	}
	http.Redirect(w, r, "/phone", http.StatusSeeOther)
	return nil
}

func (s *server) openPhone(w http.ResponseWriter, r *http.Request) error {
	return s.changePhone(w, r, func() error {
		if err := s.opt.Phone.Open(s.handler()); err != nil {
			return err
		}
		return s.opt.Phone.NewCode()
	})
}

func (s *server) shutPhone(w http.ResponseWriter, r *http.Request) error {
	return s.changePhone(w, r, func() error { s.opt.Phone.Close(); return nil })
}

func (s *server) newPhoneCode(w http.ResponseWriter, r *http.Request) error {
	return s.changePhone(w, r, s.opt.Phone.NewCode)
}

func (s *server) sendAway(w http.ResponseWriter, r *http.Request) error {
	return s.changePhone(w, r, func() error { return s.opt.Phone.Remove(r.PathValue("device")) })
}

type joinModel struct {
	base
	Code, Name string
	Wrong      bool
}

func (s *server) joinPage(w http.ResponseWriter, r *http.Request) error {
	return s.askToJoin(w, r, http.StatusOK, joinModel{Code: r.URL.Query().Get("code")})
}

func (s *server) askToJoin(w http.ResponseWriter, r *http.Request, status int, m joinModel) error {
	guest, remote := phone.From(r.Context())
	switch {
	case !remote: // the bench machine itself
		http.Redirect(w, r, "/phone", http.StatusSeeOther)
		return nil
	case guest.Joined:
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	m.base = base{Title: "Join the bench", Here: "join", Outside: true}
	return render(w, status, "join", m)
}

// join takes a code. A wrong one is answered after a second: at five tries a code no one
// guesses it anyway, but this keeps the answers few.
func (s *server) join(w http.ResponseWriter, r *http.Request) error {
	if _, remote := phone.From(r.Context()); !remote {
		return s.askToJoin(w, r, http.StatusOK, joinModel{})
	}
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	if err := r.ParseForm(); err != nil {
		return &pageError{status: http.StatusBadRequest, title: "The form could not be read", what: err.Error(), hint: "Open the page again and send it once more.", kept: "Nothing was changed.", err: err}
	}
	m := joinModel{Code: strings.Join(strings.Fields(r.PostForm.Get("code")), ""), Name: r.PostForm.Get("name")}
	cookie, err := s.opt.Phone.Join(m.Code, m.Name)
	if errors.Is(err, phone.ErrCode) {
		select {
		case <-time.After(time.Second):
		case <-r.Context().Done():
		}
		m.Wrong, m.Code = true, ""
		return s.askToJoin(w, r, http.StatusForbidden, m)
	}
	if err != nil {
		return err
	}
	http.SetCookie(w, cookie)
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

// admit lets a guest of the local network through, or answers it and returns false.
func (s *server) admit(w http.ResponseWriter, r *http.Request, guest phone.Guest) bool {
	if !guest.MayCall(r.Host) {
		s.refuse(w, r, &pageError{status: http.StatusMisdirectedRequest, title: "The bench does not answer under this name",
			what: r.Host, hint: "Call it by the address that stands on the bench machine's phone page.", kept: "Nothing was read or written."})
		return false
	}
	if guest.Joined || r.URL.Path == "/join" || r.Method == http.MethodGet && strings.HasPrefix(r.URL.Path, "/static/") {
		return true
	}
	if r.Method == http.MethodGet && !strings.HasPrefix(r.URL.Path, "/api/") && r.Header.Get("Upgrade") == "" {
		http.Redirect(w, r, (&url.URL{Path: "/join"}).String(), http.StatusSeeOther)
		return false
	}
	s.refuse(w, r, &pageError{status: http.StatusUnauthorized, title: "This device has not joined the bench",
		hint: "Open its first page and type the code that the bench machine shows.", kept: "Nothing was read or written."})
	return false
}
