package plot_test

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"headstack/plot"
)

// worn is a head whose third track wears, on five dates; the fifth was never measured.
func worn(tracks int) plot.Dated {
	d := plot.Dated{Quantity: "gap", Unit: "µm", Sound: 1.5, HasSound: true, Bars: "Bars are 95 % of what repeating a capture of one tape differs by.", Notes: []string{"job-0001: a note."}}
	for i := range 5 {
		at := time.Date(2031+i, time.Month(3+i), 7, 9, 0, 0, 0, time.UTC)
		d.Columns = append(d.Columns, plot.DatedColumn{At: at, Name: at.Format("2006-01-02")})
	}
	for t := range tracks {
		k := plot.DatedTrack{Track: t + 1, Trend: "+0.002 ±0.041 µm/year"}
		for i, c := range d.Columns {
			v := 1.6
			if t == 2 {
				v += 0.3 * float64(i)
			}
			k.Points = append(k.Points, plot.DatedPoint{At: c.At, Value: v, Lo: v - 0.15, Hi: v + 0.15, Whole: [2]float64{v - 0.4, v + 0.4}})
			k.Line = append(k.Line, plot.DatedPoint{At: c.At, Value: v, Lo: v - 0.3, Hi: v + 0.3})
		}
		if t == 4 {
			k.Points, k.Line, k.Trend = nil, nil, "no trend: its tones do not reach far enough into the treble"
		}
		d.Tracks = append(d.Tracks, k)
	}
	return d
}

func TestWearShowsCoursesOverDates(t *testing.T) {
	d := plot.Wear(worn(6), plot.Options{})
	save(t, "wear", d.SVG())
	save(t, "wear-many", plot.Wear(worn(24), plot.Options{}).SVG())
	save(t, "wear-phone", plot.Wear(worn(6), plot.Options{Width: 360}).SVG())
	texts := wellFormed(t, d.SVG(), "text")
	for _, want := range []string{"track 1", "track 6", "gap, µm", "a sound head", "2032", "2034", "not measured"} {
		if !contains(texts, want) {
			t.Errorf("no text %q in %q", want, texts)
		}
	}
	svg := string(d.SVG())
	// 25 captures and the one in the key.
	if n := strings.Count(svg, "<circle"); n != 26 {
		t.Errorf("%d points, want 26", n)
	}
	tb := plot.TableOf(d)
	if len(tb.Rows) != 6 || len(tb.Head) != 7 || tb.Rows[2][5] != "2.80\u2009±0.40\u2009µm" || tb.Rows[4][1] != "–" {
		t.Errorf("table %q %q", tb.Head, tb.Rows)
	}
	if !strings.Contains(d.Describe(), "Track 5: 0 captures; no trend: its tones") {
		t.Error(d.Describe())
	}
}

// A short span is marked in months, a long one in years, never closer than the room.
func TestDatesAreMarkedByMonthOrYear(t *testing.T) {
	for _, c := range []struct {
		days int
		want string
	}{{40, "2031-04"}, {300, "2031-07"}, {1500, "2033-01"}, {20000, "2050"}} {
		d := worn(1)
		for i := range d.Tracks[0].Points {
			at := time.Date(2031, 3, 10, 0, 0, 0, 0, time.UTC).Add(time.Duration(c.days*i/4) * 24 * time.Hour)
			d.Tracks[0].Points[i].At, d.Tracks[0].Line[i].At, d.Columns[i].At = at, at, at
		}
		if texts := wellFormed(t, plot.Wear(d, plot.Options{}).SVG(), "text"); !contains(texts, c.want) {
			t.Errorf("%d days: no %q in %q", c.days, c.want, texts)
		}
	}
}

func TestAnyWearIsReadable(t *testing.T) {
	when := rapid.Custom(func(t *rapid.T) time.Time {
		return time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "second"), 0)
	})
	rapid.Check(t, func(t *rapid.T) {
		d := worn(rapid.IntRange(0, 26).Draw(t, "tracks"))
		for i := range d.Tracks {
			for j := range d.Tracks[i].Points {
				f := awkward()
				d.Tracks[i].Points[j] = plot.DatedPoint{At: when.Draw(t, "at"), Value: f.Draw(t, "v"), Lo: f.Draw(t, "lo"), Hi: f.Draw(t, "hi")}
			}
		}
		d.Sound = awkward().Draw(t, "sound")
		sound(t, plot.Wear(d, plot.Options{Width: widths.Draw(t, "width")}))
	})
	sound0 := plot.Wear(plot.Dated{}, plot.Options{})
	readable(t, sound0)
	if !contains(wellFormed(t, sound0.SVG(), "text"), "nothing was measured") {
		t.Error("an empty picture does not say so")
	}
}
