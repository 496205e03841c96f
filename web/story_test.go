package web

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"
)

// story is one page in one state.
type story struct {
	name, path string
	status     int
	want       []string // texts that must be on it
}

func stories(state, id string) []story {
	if state == "first" {
		return []story{{"jobs", "/", 200, []string{"No job yet", "as found", "headstack demo", "Open a job"}}}
	}
	root := "/jobs/" + id
	if state == "staircase" {
		return staircaseStories(root)
	}
	common := []story{
		{"overview", root, 200, []string{"local electrical codes"}},
		{"sheet", root + "/sheet", 200, []string{"left, about"}},
		{"path", root + "/path", 200, []string{"Stages in signal order"}},
		{"captures", root + "/captures", 200, []string{"Bring a capture"}},
		{"record", root + "/record", 200, nil},
		{"report", root + "/report", 200, []string{"Local electrical codes", "SHA-256"}},
	}
	if state == "good" || state == "enormous" { // these do not depend on the job
		common = append(common, story{"jobs", "/", 200, []string{"Open a job"}},
			story{"library", "/library", 200, []string{"Hexastrand", "Make a standard one", "Bench box", "2 April 2031", "Hand meter", "3\u2009dB low at 20", "loads with 10\u2009MΩ"}},
			story{"programme", "/library/programmes/6-tracks-9-525-cm-s-reference-315-hz-3-rounds", 200, []string{"Round 1 of 3: tracks 1, 2", "Caution: this records over whatever is on the tape", "silence for the second pass", "9.525 cm/s"}},
			story{"interface", "/library/interfaces/bench-box", 200, []string{"Response of the interface", "input 3: not measured: nothing was heard on it", "16 kHz"}},
			story{"take-away", "/take-away", 200, []string{"Take everything with you", "sha256sum -c", "take bench.zip"}},
			story{"lost", root + "/nowhere", 404, []string{"no such page"}})
	}
	common = append(common,
		story{"intake", root + "/intake", 200, []string{"Before it is switched on", "First power, class", "Local electrical codes"}},
		story{"prove", root + "/prove", 200, []string{"no capture of the test tape with the case closed", "Soak", "minutes since the soak began"}},
		story{"hand-over", root + "/hand-over", 200, []string{"Not done", "open the report", "close the job"}})
	if state == "good" {
		common = append(common,
			story{"help", "/help", 200, []string{"Drop-outs", "Charged capacitors", "AES6-2008"}},
			story{"help-one", "/help/caution-capacitors", 200, []string{"creep back", "4700", "discharge each through a resistor"}},
			story{"help-none", "/help/nothing", 404, []string{"no such explanation"}},
			story{"words", "/words", 200, []string{"one machine's passage over the bench", "Words"}})
	}
	switch state {
	case "good":
		for i := range common[:5] { // the card stands on every page of the job, what misleads before what to do
			common[i].want = append(common[i].want, "◆ re-take reading 5, 97\u2009% likely wrong", "volts for millivolts", "with the range fixed", "Read TP21-a and TP21-b",
				"burn at a point", "opened: Squeeze lifted off Tape", "about 0.31 V: C31-a or X1-a, 81\u2009%", "about 6\u2009min, saves 14\u2009min", "1 cure without a proved cause",
				"other actions, 2", "Clean H-5 and play the treble again. 9\u2009min, saves 6\u2009min", "Solvent: no flame", "costs 3\u2009min more", "wrong fix: 21\u2009%", "put back: lid unscrewed")
		}
		common[0].want = append(common[0].want, "Cures that are not proved", "C31-a weak (dried out) and H-5 weak (dirt on the face)", "71\u2009%", "TP21-a", "re-take", "scratches at a third")
		common[1].want = append(common[1].want, "≈ intermittent", "✕ faulty", "Next open one")
		common[2].want = append(common[2].want, "C31-a", "74\u2009%", "is cleared by", "Read TP21-a")
		common[3].want = append(common[3].want, "8 of 9 sections found")
		common[4].want = append(common[4].want, "withdrawn by", "cleaned RY1-2, 4\u2009min", "opened: lid unscrewed")
		common[5].want = append(common[5].want, "Record programme: 6 tracks", "Bench box, looped back on 2 April 2031; its response is taken off")
		common = append(common,
			story{"path-play", root + "/path?function=play&key=3&saved=38", 200, []string{"re-take reading 5", "it was 38\u2009mV: correct it", "TP10-3", "4 siblings"}},
			story{"capture", root + "/captures/1", 200, []string{"not measured: tone absent", "not found: the capture starts after it", "Azimuth", "signal to noise below 20",
				"What the loss says", "97\u2009%, very likely: uneven spacing, tracks 4 to 6 ◧ mechanical", "Tracks 4 to 6 lose treble", "spacing of track 6: 0.580", "What would tell: Press the shell lightly",
				"fingers, hair and sleeves off whatever turns", "every tape more than 1.5 m away", "◇ electrical", "Spacing and gap cannot be told apart", "Set aside, not used", "uneven spacing"}},
			story{"wear", root + "/wear", 200, []string{"Over 5 jobs of Quernmoor Hexastrand, serial QH 0417", "Track 3, as left: taken as gap, the loss of treble grows by 0.", "a year", "reaches 3\u2009dB in about", "5 tracks do not change by more than their intervals", "As found",
				"taken off as electrical, no wear: high corner, track 5: job-0001, capture 1; job-0001, capture 2; ", "one capture hardly parts them", "loss at 12.5\u2009kHz", "job-0910"}},
			story{"capture-compared", root + "/captures/42?against=1&doing=pressing+the+shell", 200, []string{"What pressing the shell changed, from capture 1 to capture 5", "the earlier capture", "change of spacing, track 4: +0.310"}},
			story{"capture-not-compared", root + "/captures/42?against=42", 200, []string{"Not compared: capture to compare with is the same capture", "What the loss says"}},
			story{"capture-own", root + "/captures/41", 200, []string{"Which track, which way round", "this channel carries track 4", "reversed", "Crosstalk at 10 kHz", "below −85.4", "into 6",
				"Capture interface: Bench box, looped back on 2 April 2031; its response is taken off", "captured while it was recorded", "the tone was lost for 0.4 s", "level against time, 2 pictures", "output still rises", "■ sound", "All tracks play as sound ones do."}},
			story{"level-time", root + "/captures/41/level-time?of=p-level-speed-tone", 200, []string{"Level against time, speed tone", "10 kHz"}},
			story{"correct", root + "/entries/38", 200, []string{"Correct reading 5"}},
			story{"works", root + "/works", 200, []string{"put back: lid unscrewed and propped at 70 degrees", "exchanged back: RY1-3 with RY1-5", "opened: Squeeze lifted off Tape", "discharge each through a resistor",
				"H-5 93\u2009%", "cleaned RY1-2: contacts grey, exercised", "◨ unproven track 2 dead in play was gone after work 1", "44\u2009%", "tap RY1-2 while track 2 plays (2 min)"}},
			story{"labels", root + "/labels", 200, []string{"Labels and paper", "F1", "comes and goes", "record here, rewind, play here, track 1: weak", "3 x 8, 70 x 37 mm, A4", "card for the buyer", "print the strips"}},
			story{"works-offered", root + "/works?part=C31-a", 200, nil},
			story{"correct-work", root + "/entries/44", 200, []string{"Correct work 1", "on which part, as printed"}},
			story{"correct-opening", root + "/entries/43", 200, []string{"Correct opening 1", "Squeeze lifted off Tape"}})
	case "lining":
		common = append(common, liningStories(root)...)
	case "enormous":
		common = append(common,
			story{"wear", root + "/wear", 200, []string{"Over 12 jobs", "track 24"}},
			story{"capture-own", root + "/captures/47", 200, []string{"Level against time, 2 pictures", "Crosstalk at 1 kHz"}},
			story{"level-time", root + "/captures/47/level-time", 200, []string{"Level against time, 10 kHz"}})
	case "empty":
		common[0].want = append(common[0].want, "Measure as found", "nothing known yet")
		common = append(common, story{"library", "/library", 200, []string{"Make a record programme above first"}})
		common[3].want = append(common[3].want, "No capture yet")
		common = append(common, story{"openings", root + "/openings", 200, []string{"No plan: nothing to do inside the recorder"}},
			story{"line-up", root + "/line-up", 200, []string{"Next: whole tape path clean and dry", "‖ blocked", "38.1\u2009cm/s", "19.05\u2009cm/s", "The good test tape stays in its box"}},
			story{"line-up-sheet", root + "/line-up/sheet", 200, []string{"12 of ", "Recording, 38.1 cm/s"}},
			story{"read-out", root + "/line-up/read-out", 200, []string{"whole tape path clean and dry", "see to it"}})
		common = append(common, story{"wear", root + "/wear", 200, []string{"Nothing to say yet"}})
		common[4].want = append(common[4].want, "Nothing was recorded yet")
		common = append(common, story{"works", root + "/works", 200, []string{"Nothing that was recorded", "No work was recorded", "opened: card bay door"}})
	case "failed":
		common[0].want = append(common[0].want, "No verdict", "contradicts itself")
		common[3].want = append(common[3].want, "not measured")
		common = append(common, story{"works", root + "/works", 200, []string{"Record a work"}})
		common = append(common, story{"wear", root + "/wear", 200, []string{"captures of 2 dates only: a trend wants 3"}},
			story{"capture", root + "/captures/1", 200, []string{"Nothing was measured", "no tone stands out"}},
			story{"no-job", "/jobs/job-9999", 404, []string{"no such job", "job-9999"}})
	}
	return common
}

func benchOf(state string) (*storyBench, string) {
	switch state {
	case "good":
		return goodStory()
	case "empty":
		return emptyStory()
	case "failed":
		return failedStory()
	case "lining":
		return liningStory()
	case "staircase":
		return staircaseStory()
	case "first":
		return newStoryBench(), ""
	}
	return enormousStory()
}

var states = []string{"first", "good", "empty", "failed", "lining", "staircase", "enormous"}

func TestStories(t *testing.T) {
	for _, state := range states {
		b, id := benchOf(state)
		h := newStoryServer(b).handler()
		for _, s := range stories(state, id) {
			t.Run(state+"/"+s.name, func(t *testing.T) {
				w := get(t, h, s.path)
				if w.Code != s.status {
					t.Fatalf("GET %s: status %d, want %d\n%s", s.path, w.Code, s.status, w.Body)
				}
				p := parse(t, w.Body.String())
				for _, want := range s.want {
					if !strings.Contains(p.text, want) {
						t.Errorf("%s does not say %q", s.path, want)
					}
				}
				checkMarkup(t, p, s.name == "report")
				if w.Header().Get("Content-Security-Policy") == "" || w.Header().Get("X-Content-Type-Options") != "nosniff" {
					t.Errorf("headers: %v", w.Header())
				}
			})
		}
	}
}

// parsed is what a test wants to know of a page.
type parsed struct {
	text     string
	ids      map[string]int
	labelled map[string]bool // ids that a label is for
	elements []xml.StartElement
}

// parse reads a page with the forgiving mode of the XML reader, which is enough
// for markup that templates wrote.
func parse(t *testing.T, page string) parsed {
	t.Helper()
	p := parsed{ids: map[string]int{}, labelled: map[string]bool{}}
	dec := xml.NewDecoder(strings.NewReader(page))
	dec.Strict, dec.AutoClose, dec.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var b strings.Builder
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("page does not parse: %v", err)
		}
		switch k := tok.(type) {
		case xml.CharData:
			b.Write(k)
		case xml.StartElement:
			p.elements = append(p.elements, k.Copy())
			if id := attr(k, "id"); id != "" {
				p.ids[id]++
			}
			if k.Name.Local == "label" {
				p.labelled[attr(k, "for")] = true
			}
		}
	}
	p.text = strings.Join(strings.FieldsFunc(b.String(), func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }), " ")
	return p
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// checkMarkup holds what must be true of each page: ids once, no inline script or
// handler, no inline style but the report's own, no link that leaves the machine,
// and a name for each figure.
func checkMarkup(t *testing.T, p parsed, isReport bool) {
	t.Helper()
	for id, n := range p.ids {
		if n > 1 {
			t.Errorf("id %q stands %d times", id, n)
		}
	}
	for _, e := range p.elements {
		name := e.Name.Local
		if name == "style" && !isReport {
			t.Error("inline style element")
		}
		if name == "script" && (isReport || attr(e, "src") == "") {
			t.Error("inline script, or a script in the report")
		}
		for _, a := range e.Attr {
			if a.Name.Local == "style" || strings.HasPrefix(a.Name.Local, "on") {
				t.Errorf("<%s %s>", name, a.Name.Local)
			}
			if (a.Name.Local == "href" || a.Name.Local == "src" || a.Name.Local == "action") && (strings.Contains(a.Value, "//") || isReport) {
				t.Errorf("<%s %s=%q> leaves the page", name, a.Name.Local, a.Value)
			}
		}
		if (name == "input" && attr(e, "type") != "hidden" || name == "textarea") && attr(e, "id") != "" && !p.labelled[attr(e, "id")] {
			t.Errorf("field %q has no label", attr(e, "id"))
		}
	}
}
