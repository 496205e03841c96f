package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

// TestADraftOutlivesItsPage is a tab that is closed in the middle of a description.
func TestADraftOutlivesItsPage(t *testing.T) {
	p, b := newDefinePage(t)
	p.open("/library/definitions/new")
	if list := must(b.Drafts(t.Context())); len(list) != 0 {
		t.Errorf("%d drafts of a page that was only looked at", len(list))
	}
	p.press("step:speeds", 200)
	p.form.Set("f.cm_s", "9,525")
	p.press("put", 200)
	p.sees("draft-1")
	p.form.Set("f.cm_s", "4.76")
	p.press("step:heads", 200) // going elsewhere puts in what was typed, and keeps it
	want := p.form.Get("yaml")
	if !strings.Contains(want, "4.76") {
		t.Fatalf("the draft lacks what was typed: %s", want)
	}

	p.h = NewServer(b, Options{Patience: time.Minute})
	p.open("/library")
	p.sees("go on with draft-1")
	p.open("/library/definitions/new")
	p.sees("go on with draft-1")
	p.open("/library/drafts/draft-1")
	if p.form.Get("yaml") != want {
		t.Errorf("it came back as\n%s\nwant\n%s", p.form.Get("yaml"), want)
	}
	old := *p
	p.press("step:heads", 200)
	p.form.Set("f.id", "HE")
	p.press("put", 200)
	old.form.Set("yaml", old.form.Get("yaml")+"# from another window\r\n")
	old.press("text", 200)
	old.sees("kept beside it as draft-2")

	w := post(t, p.h, "/library/drafts/draft-1/removal", url.Values{})
	if to := w.Header().Get("Location"); w.Code != http.StatusSeeOther || !strings.HasPrefix(to, "/library?dropped=draft-1") {
		t.Fatalf("thrown away: %d to %q", w.Code, to)
	}
	p.open("/library?dropped=draft-1")
	p.sees("take it back")
	if strings.Contains(p.body, "go on with draft-1") {
		t.Error("it is still offered")
	}
	if w := get(t, p.h, "/library/drafts/draft-1"); w.Code != http.StatusNotFound {
		t.Errorf("its page: %d", w.Code)
	}
	if w := post(t, p.h, "/library/drafts/draft-1/return", url.Values{}); w.Header().Get("Location") != "/library/drafts/draft-1" {
		t.Errorf("taken back: %d to %q", w.Code, w.Header().Get("Location"))
	}
	if d, err := b.Draft(t.Context(), "draft-1"); err != nil || !strings.Contains(d.Text, "HE") {
		t.Errorf("it came back without the last change: %v, %s", err, d.Text)
	}
}

// TestASavedDraftIsNoneAnyMore: what stands in the library is not offered again.
func TestASavedDraftIsNoneAnyMore(t *testing.T) {
	p, b := newDefinePage(t)
	p.open("/library/definitions/hexastrand/edit")
	p.form.Set("yaml", p.form.Get("yaml")+"# looked through\r\n")
	p.press("text", 200)
	if list := must(b.Drafts(t.Context())); len(list) != 1 || list[0].Definition != "hexastrand" || list[0].Name != "Quernmoor Hexastrand" {
		t.Fatalf("drafts %+v", list)
	}
	p.sees("New version of Quernmoor Hexastrand")
	p.press("save", http.StatusSeeOther)
	if list := must(b.Drafts(t.Context())); len(list) != 0 {
		t.Errorf("still listed: %+v", list)
	}
}
