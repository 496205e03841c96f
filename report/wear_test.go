package report_test

import (
	"strings"
	"testing"
	"time"

	"headstack/job"
	"headstack/report"
	"headstack/signature"
)

// wear is two tracks on three dates, the second of which wears; figures typed, not
// computed.
func wear() job.Wear {
	w := job.Wear{Name: "Quernmoor Hexastrand", Serial: "0417", Jobs: []string{"job-0001", "job-0002", "job-0003"}}
	s := job.WearSeries{When: job.AsLeft, TrebleHz: 12500}
	amount := func(v float64) signature.Amount {
		return signature.Amount{Value: v, Lo: v - 0.4, Hi: v + 0.4, Unit: "µm", RepeatSD: 0.05, TapeSD: 0.15}
	}
	for i := range 3 {
		c := signature.HeadCondition{TrebleHz: 12500, DesignGapUm: 1.5}
		for t := range 2 {
			g := 1.6 + 0.5*float64(t*i)
			c.Tracks = append(c.Tracks, signature.TrackCondition{Track: t + 1, Gap: amount(g), Spacing: amount(g / 9)})
		}
		s.Points = append(s.Points, job.WearPoint{Job: w.Jobs[i], Entries: []int64{int64(i + 1)}, At: time.Date(2031+i, 5, 1, 0, 0, 0, 0, time.UTC), Tape: "Fen 12", Condition: c})
	}
	hi := 5.2
	grows := job.Trend{Unit: "µm", PerYear: 0.5, Lo: 0.4, Hi: 0.6, Limit: &job.Projection{LossDB: 3, Hz: 12500, Years: 2.1, Lo: 1.2, Hi: &hi}}
	still := job.Trend{Unit: "µm", PerYear: 0.01, Lo: -0.1, Hi: 0.12}
	none := job.Trend{Unit: "dB", Refused: "the tapes end at different tones"}
	s.Tracks = []job.WearTrack{{Track: 1, Gap: still, Spacing: still, Loss: none}, {Track: 2, Gap: grows, Spacing: grows, Loss: none, Sentence: "Track 2 wears."}}
	w.Series = append(w.Series, s)
	return w
}

func TestWearInWords(t *testing.T) {
	x := report.WearOf(wear(), "w-")
	if x.Of != "3 jobs of Quernmoor Hexastrand, serial 0417" || len(x.Series) != 1 {
		t.Fatalf("%+v", x)
	}
	s := x.Series[0]
	if s.Title != "As left" || len(s.Sentences) != 1 || s.Steady != "One track does not change by more than its interval." || s.Picture.ID != "w-as-left" {
		t.Errorf("%q %q %q %q", s.Title, s.Sentences, s.Steady, s.Picture.ID)
	}
	cells := s.Table.Rows[1].Cells
	if cells[0].Value != "+0.50\u2009µm" || cells[0].Spread != "±0.10" || !cells[2].Refused || cells[3].Text != "in about 2.1 years (1.2 to 5.2)" || s.Table.Rows[0].Cells[3].Text != "not in sight" {
		t.Errorf("%+v", s.Table.Rows)
	}
	if tb := s.Picture.Table; tb.Rows[1][3] != "2.60\u2009±0.40\u2009µm" || tb.Head[3] != "1 May 2033, job-0003" {
		t.Errorf("%q %q", tb.Head, tb.Rows)
	}
	if svg := string(s.Picture.SVG); !strings.Contains(svg, "+0.50\u2009±0.10\u2009µm/year") {
		t.Error("the picture does not name the trend")
	}
}

func TestWearThatIsRefused(t *testing.T) {
	w := wear()
	for i := range w.Series[0].Tracks {
		w.Series[0].Tracks[i] = job.WearTrack{Track: i + 1, Gap: job.Trend{Refused: "captures of 2 dates only"}, Spacing: job.Trend{Refused: "captures of 2 dates only"}}
	}
	if s := report.WearOf(w, "").Series[0]; s.Steady != "No trend: captures of 2 dates only." || s.Table.Rows[0].Cells[3].Text != "not known" {
		t.Errorf("%+v", s)
	}
	one := job.Wear{Name: "Quernmoor Hexastrand", Jobs: []string{"job-0001"}, Refused: "one job only"}
	if x := report.WearOf(one, ""); x.Of != "one job of Quernmoor Hexastrand" || x.Refused != "one job only" || x.Series != nil {
		t.Errorf("%+v", x)
	}
	// Where the design gap is not known the loss is drawn as spacing.
	w = wear()
	w.Series[0].Points[0].Condition.DesignGapUm = 0
	if p := report.WearPlots(w); len(p) != 1 || p[0].Name != "wear-as-left" || !strings.HasSuffix(p[0].Drawing.Title(), "taken as spacing") {
		t.Errorf("%+v", p)
	}
}
