package handout_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"headstack/diagnosis"
	"headstack/handout"
	"headstack/job"
	"headstack/measure"
	"headstack/paper"
	"headstack/paper/pdftest"
	"headstack/report"
)

// squeezed is the text of a document with single plain spaces.
func squeezed(t *testing.T, pdf []byte) string {
	t.Helper()
	return strings.Join(strings.Fields(pdftest.Text(t, pdf)), " ")
}

func TestCheckSheetHasEveryControl(t *testing.T) {
	for _, def := range []string{"hexastrand", "octogrange"} {
		b, id := fixture(t, def)
		v := view(t, b, id)
		for _, size := range paper.Sizes() {
			pdf, err := handout.CheckSheet(v, size)
			if err != nil {
				t.Fatal(err)
			}
			pdftest.Inside(t, pdf, paper.Margin)
			text := squeezed(t, pdf)
			for _, it := range v.Sheet {
				if !strings.Contains(text, it.Name) {
					t.Errorf("%s, %s: %q is not on the sheet", def, size.Name, it.Name)
				}
			}
			if boxes := strings.Count(text, "OK F I N"); boxes < len(v.Sheet)+len(v.Functions) {
				t.Errorf("%s, %s: %d rows of boxes, want %d", def, size.Name, boxes, len(v.Sheet)+len(v.Functions))
			}
			if !strings.Contains(text, "Local electrical codes") {
				t.Errorf("%s: no caution", def)
			}
		}
	}
}

func TestLineUpSheetHasEveryLine(t *testing.T) {
	b, id := fixture(t, "hexastrand")
	l, v, err := b.LineUp(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	s, err := l.Sheet()
	if err != nil {
		t.Fatal(err)
	}
	for _, size := range paper.Sizes() {
		pdf, err := handout.LineUpSheet(v, s, size)
		if err != nil {
			t.Fatal(err)
		}
		pdftest.Inside(t, pdf, paper.Margin)
		pages := pdftest.Pages(t, pdf)
		for _, p := range s.Pages {
			begins := 0
			for _, text := range pages {
				if strings.HasPrefix(strings.TrimSpace(text), fmt.Sprintf("%d of %d. ", p.Number, len(s.Pages))) {
					begins++
				}
			}
			if begins != 1 {
				t.Errorf("%s: round %d begins %d pages", size.Name, p.Number, begins)
			}
		}
		text := squeezed(t, pdf)
		for _, p := range s.Print().Pages {
			for _, g := range p.Groups {
				for _, r := range g.Rows {
					if !strings.Contains(text, r.No+" ") {
						t.Errorf("%s: line %s is missing", size.Name, r.No)
					}
				}
			}
		}
	}
}

func TestHandOverSaysWhatItMust(t *testing.T) {
	d := data(t)
	for _, size := range paper.Sizes() {
		pdf, err := handout.HandOver(d, size)
		if err != nil {
			t.Fatal(err)
		}
		pdftest.Inside(t, pdf, paper.Margin)
		text := squeezed(t, pdf)
		for _, want := range []string{
			"Q-0417", "Track 5 plays dull.", "±weak, 4 Ω load", "250 nWb/m, short-circuit, at 315 Hz", "1 pass in this job",
			"Electrical safety is not tested by this", "Local electrical codes",
			"+1.600 % ▲ out +0.100 % ■ in", "0.070 % ■ in 0.310 % ▲ out", "±0.020; figure 1", // as found, as left
			"is to read", "0.00 ±1 %", "at most 0.2 %", "common practice, no source",
			"cassette, playback of test tape", "As found: play a test tape", "As left: play a test tape", "Hatched border", "From capture 2: pass-2.wav",
			"repaired C31-a", "dried out, replaced", "25 min", "turned VR1",
			"track 2 dead in play was gone after work 1 (repaired C31-a)", "44 %", "tap RY1-2",
			"F1, play a test tape, track panned left, track 5: dull; by ear", "F2, fader 3: comes and goes; scratches at a third", "of 143 steps are done",
			"Hand meter (not in the register) 2031-05-04", "Pendle Brook cassette", "case closed",
			"tone absent", "All captured figures as found", "−4.000 dB", "All captured figures as left", "headstack report check FILE",
		} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the hand-over does not say %q", size.Name, want)
			}
		}
		again, err := handout.HandOver(data(t), size)
		if err != nil || !bytes.Equal(pdf, again) {
			t.Errorf("%s: two runs of the same record differ (%v)", size.Name, err)
		}
		if t.Failed() {
			t.Log(text)
		}
	}
}

func TestHandOverOfAJobWithoutAnything(t *testing.T) {
	for _, def := range []string{"hexastrand", "octogrange"} {
		b, id := fixture(t, def)
		d, err := handout.Gather(t.Context(), b, id, "", noAdvice)
		if err != nil {
			t.Fatal(err)
		}
		pdf, err := handout.HandOver(d, paper.A4)
		if err != nil {
			t.Fatal(err)
		}
		text := squeezed(t, pdf)
		for _, want := range []string{"Nothing that was recorded: no work", "Not known: nobody asked", "The line-up was not done", "Nothing was captured", "Nothing was recorded.", "Nothing was turned or worked on: as left is as found"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s does not say %q: %s", def, want, text)
			}
		}
		pdftest.Inside(t, pdf, paper.Margin)
	}
	if _, err := handout.HandOver(handout.Data{}, paper.A4); err == nil {
		t.Error("a hand-over of no job")
	}
}

// The card is one page, whatever there is to say.
func TestCardIsOnePage(t *testing.T) {
	d := data(t)
	b, id := worked(t)
	for _, it := range view(t, b, id).Sheet {
		check(t, b, id, job.Check{Item: it.Item, Outcome: diagnosis.Faulty}, strings.Repeat("a long story of what it does, ", 8))
	}
	many, err := handout.Gather(t.Context(), b, id, "", noAdvice)
	if err != nil {
		t.Fatal(err)
	}
	for name, d := range map[string]handout.Data{"some": d, "many faults": many} {
		for _, size := range paper.Sizes() {
			pdf, err := handout.Card(d, size)
			if err != nil {
				t.Fatal(err)
			}
			pdftest.Inside(t, pdf, paper.Margin)
			if n := len(pdftest.Pages(t, pdf)); n != 1 {
				t.Errorf("%s, %s: %d pages", name, size.Name, n)
			}
			text := squeezed(t, pdf)
			for _, want := range []string{"Q-0417", "cassette, 3.81 mm, 6 tracks", "3180 + 70 µs", "Not an electrical safety test", "reads 0.310", "▲ 0 of 1", "■ 1 of 1", "SHA-256", "repaired C31-a"} {
				if !strings.Contains(text, want) {
					t.Errorf("%s, %s: the card does not say %q: %s", name, size.Name, want, text)
				}
			}
			if name == "many faults" && !strings.Contains(text, "more, in the report") {
				t.Errorf("%s: what is left out is not counted: %s", size.Name, text)
			}
		}
	}
}

func TestStampFollowsTheRecord(t *testing.T) {
	b, id := worked(t)
	d, err := handout.Gather(t.Context(), b, id, "", noAdvice)
	if err != nil {
		t.Fatal(err)
	}
	pdf, err := handout.HandOver(d, paper.A4)
	if err != nil {
		t.Fatal(err)
	}
	card, err := handout.Card(d, paper.A4)
	if err != nil {
		t.Fatal(err)
	}
	var html bytes.Buffer
	if err := report.HTML(&html, report.Data{View: d.View, When: noon}); err != nil {
		t.Fatal(err)
	}
	want, _ := report.RecordHash(d.View)
	for name, doc := range map[string][]byte{"PDF": pdf, "card": card, "HTML": html.Bytes()} {
		s, err := handout.ReadStamp(doc)
		if err != nil || s.SHA256 != want || s.Job != id || s.Entries != len(d.View.Entries) {
			t.Errorf("%s: %+v, %v", name, s, err)
		}
	}
	s, _ := handout.ReadStamp(pdf)
	if held, more, err := s.Check(view(t, b, id)); held != handout.Same || more != 0 || err != nil {
		t.Errorf("unchanged: %s, %d, %v", held, more, err)
	}
	if _, err := b.RecordNote(t.Context(), id, measure.CaseClosed, "fetched"); err != nil {
		t.Fatal(err)
	}
	if held, more, err := s.Check(view(t, b, id)); held != handout.Grown || more != 1 || err != nil {
		t.Errorf("a note more: %s, %d, %v", held, more, err)
	}
	v := view(t, b, id)
	v.Entries[3].Remark += "."
	if held, _, err := s.Check(v); held != handout.Differs || err != nil {
		t.Errorf("a remark altered: %s, %v", held, err)
	}
	v = view(t, b, id)
	v.Entries = v.Entries[:3]
	if held, _, err := s.Check(v); held != handout.Differs || err != nil {
		t.Errorf("entries lost: %s, %v", held, err)
	}
	for _, bad := range []string{"", "no report", "job=job-0001 entries=3 sha256=" + strings.Repeat("0", 64), "/Keywords (headstack-record job=job-0001 entries=99999999999999 sha256=" + want} {
		if _, err := handout.ReadStamp([]byte(bad)); !errors.Is(err, handout.ErrNoStamp) {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// Free text of a record cannot look like the stamp of a report.
func TestStampCannotBeForgedByFreeText(t *testing.T) {
	b, id := fixture(t, "hexastrand")
	forged := `<meta name="headstack-record" content="job=job-9999 entries=1 sha256=` + strings.Repeat("0", 64) + `"> /Keywords (headstack-record job=job-9999 entries=1 sha256=` + strings.Repeat("0", 64) + `)`
	if _, err := b.RecordNote(t.Context(), id, measure.CaseClosed, forged); err != nil {
		t.Fatal(err)
	}
	d, err := handout.Gather(t.Context(), b, id, "", noAdvice)
	if err != nil {
		t.Fatal(err)
	}
	pdf, err := handout.HandOver(d, paper.A4)
	if err != nil {
		t.Fatal(err)
	}
	var html bytes.Buffer
	if err := report.HTML(&html, report.Data{View: d.View, When: noon}); err != nil {
		t.Fatal(err)
	}
	for _, doc := range [][]byte{pdf, html.Bytes()} {
		if s, err := handout.ReadStamp(doc); err != nil || s.Job != id {
			t.Errorf("%+v, %v", s, err)
		}
	}
}
