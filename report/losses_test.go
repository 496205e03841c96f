package report_test

import (
	_ "embed"
	"encoding/json"
	"strings"
	"testing"

	"headstack/job"
	"headstack/report"
	"headstack/signature"
)

//go:embed testdata/explanation.json
var explanationJSON []byte

func explanation(t *testing.T) signature.Explanation {
	t.Helper()
	var x signature.Explanation
	if err := json.Unmarshal(explanationJSON, &x); err != nil {
		t.Fatal(err)
	}
	return x
}

func TestReportSaysWhatTheLossesSay(t *testing.T) {
	d := fixture(t)
	capture := d.View.Current[len(d.View.Current)-1]
	d.Explained = []job.Explained{{Captures: []job.Entry{capture}, Explanation: explanation(t)}}
	page := write(t, d)
	for _, want := range []string{
		"What the loss says", "of capture 1", "0 dB is what a sound track plays of this tape", "<b>97\u2009%</b>, very likely, <span class=\"mark\">◧ mechanical</span>",
		"Tracks 4 to 6 lose treble in proportion to frequency", "spacing of track 6: 0.580\u2009±0.060\u2009µm", "azimuth: &#43;3.10\u2009±0.30\u2009arcmin",
		"Press the shell lightly", "fingers, hair and sleeves off whatever turns", "every tape more than 1.5 m away", "◇ electrical", "bias nodes burn",
		"Spacing and gap cannot be told apart", "Track 1 at 6.3 kHz", "found1-explanation", "uneven spacing",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	d.Explained[0] = job.Explained{Captures: []job.Entry{capture}, Unexplained: "no tone was measured"}
	if page = write(t, d); !strings.Contains(page, "Nothing: no tone was measured.") {
		t.Error("the report does not say why nothing is explained")
	}
}

func TestLossesInWords(t *testing.T) {
	l := report.LossesOf(job.Explained{Explanation: explanation(t)}, "")
	if l.Sound || len(l.Findings) != 4 || !l.Findings[0].Questioned || l.Findings[3].Questioned {
		t.Errorf("%+v", l)
	}
	sound := signature.Explanation{Findings: []signature.Finding{{Cause: signature.None, Probability: 0.98, Sentence: "Nothing is out of the ordinary."}}}
	if l := report.LossesOf(job.Explained{Explanation: sound}, ""); !l.Sound || l.Findings[0].Mark != "■" || l.Findings[0].Cautions != nil || l.Picture != nil {
		t.Errorf("sound: %+v", l)
	}
	change := signature.Explanation{Findings: []signature.Finding{{Cause: signature.Spacing, Tracks: []int{4}, Nature: signature.Mechanical, Probability: 0.95, Sentence: "Pressing the shell removed 0.5 µm.",
		Parameters: []signature.Parameter{{Name: signature.SpacingUm, Track: 4, Value: -0.5, Lo: -0.6, Hi: -0.4, Unit: "µm"}}}}}
	l = report.LossesOf(job.Explained{Explanation: change, Compared: true, Between: "pressing the shell"}, "")
	if got := l.Findings[0].Figures[0]; got != "change of spacing, track 4: −0.50\u2009±0.10\u2009µm" {
		t.Errorf("a change reads %q", got)
	}
}

func TestTracksText(t *testing.T) {
	for want, in := range map[string][]int{"": nil, "track 3": {3}, "tracks 1 and 2": {1, 2}, "tracks 1 to 3": {1, 2, 3}, "tracks 1, 4 to 6": {1, 4, 5, 6}, "tracks 1 to 3 and 7": {1, 2, 3, 7}, "tracks 1, 3 and 5": {1, 3, 5}} {
		if got := report.TracksText(in); got != want {
			t.Errorf("%v: %q, want %q", in, got, want)
		}
	}
}

// Each cause whose test lays a hand on heads or opens the recorder has its caution.
func TestEveryTestHasItsCaution(t *testing.T) {
	for _, c := range []signature.Cause{signature.Spacing, signature.SpacingRamp, signature.Azimuth, signature.GapWear, signature.Height, signature.UnsteadyContact,
		signature.Gain, signature.LowCorner, signature.HighCorner, signature.GroupGain, signature.HeadOpen, signature.UnsteadyJoint} {
		x := signature.Explanation{Findings: []signature.Finding{{Cause: c, Tracks: []int{1}, Nature: signature.NatureOf(c), Probability: 0.9, Sentence: "s", WouldSeparate: "Press or probe it."}},
			Open: []signature.Confusion{{A: c, B: signature.Equalisation, WouldSeparate: "Clean it."}}}
		l := report.LossesOf(job.Explained{Explanation: x}, "")
		if len(l.Findings[0].Cautions) == 0 || len(l.Open[0].Cautions) == 0 {
			t.Errorf("%s: no caution", c)
		}
		if mechanical := strings.Contains(strings.Join(l.Findings[0].Cautions, " "), "whatever turns"); mechanical != (signature.NatureOf(c) == signature.Mechanical) {
			t.Errorf("%s: cautions %q", c, l.Findings[0].Cautions)
		}
	}
}

// Playing a tape again needs no more care than the first time.
func TestATestByEarHasNoCaution(t *testing.T) {
	x := signature.Explanation{Findings: []signature.Finding{{Cause: signature.Gain, Tracks: []int{1}, Nature: signature.Electrical, Probability: 0.9, Sentence: "s", WouldSeparate: "Play another tape (3 min)."}},
		Open: []signature.Confusion{{A: signature.Spacing, B: signature.GapWear, WouldSeparate: "A 16 kHz section, or the same tones at a second speed."}}}
	l := report.LossesOf(job.Explained{Explanation: x}, "")
	if len(l.Findings[0].Cautions)+len(l.Open[0].Cautions) != 0 {
		t.Errorf("%q, %q", l.Findings[0].Cautions, l.Open[0].Cautions)
	}
}
