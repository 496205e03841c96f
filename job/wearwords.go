package job

import (
	"fmt"
	"math"
	"slices"

	"headstack/signature"
	"headstack/tape"
	"headstack/unit"
)

// LimitDB is the loss of the highest common tone that projections are for: a head that
// loses more cannot be lined up with the reach of the usual treble trims. Common practice,
// no source.
const LimitDB = 3.0

// trends fits every track of a series.
func (s *WearSeries) trends() {
	var tracks []int
	for _, p := range s.Points {
		for _, t := range p.Condition.Tracks {
			if !slices.Contains(tracks, t.Track) {
				tracks = append(tracks, t.Track)
			}
		}
	}
	slices.Sort(tracks)
	for _, track := range tracks {
		w := WearTrack{Track: track}
		w.Spacing = s.trend(track, "µm", func(t signature.TrackCondition) signature.Amount { return t.Spacing })
		w.Gap = s.trend(track, "µm", func(t signature.TrackCondition) signature.Amount { return t.Gap })
		w.Loss = s.trend(track, "dB", func(t signature.TrackCondition) signature.Amount { return t.Loss })
		for _, p := range s.Points {
			if p.Condition.TrebleHz != s.TrebleHz {
				w.Loss = Trend{Unit: "dB", Line: []TrendPoint{}, Refused: "the tapes end at different tones: spacing and gap can be compared, levels cannot"}
			}
		}
		s.project(track, &w)
		w.Sentence = s.sentence(w, len(tracks))
		s.Tracks = append(s.Tracks, w)
	}
}

// figures are the captures of a track that have a figure, and why others have none.
func (s *WearSeries) figures(track int, of func(signature.TrackCondition) signature.Amount) (list []dated, refused string) {
	for _, p := range s.Points {
		for _, t := range p.Condition.Tracks {
			switch a := of(t); {
			case t.Track != track:
			case a.Refused != "":
				refused = a.Refused
			default:
				list = append(list, dated{p.At, p.TapeSHA, a})
			}
		}
	}
	return list, refused
}

func (s *WearSeries) trend(track int, unitName string, of func(signature.TrackCondition) signature.Amount) Trend {
	list, why := s.figures(track, of)
	if len(list) == 0 && why != "" {
		return Trend{Unit: unitName, Line: []TrendPoint{}, Refused: why}
	}
	return trendOf(list, unitName)
}

// project says when growing losses reach LimitDB.
func (s *WearSeries) project(track int, w *WearTrack) {
	c := s.Points[len(s.Points)-1].Condition
	lambda := tape.Wavelength(unit.MetrePerSecond(c.SpeedCmS/100), unit.Hertz(s.TrebleHz))
	if w.Gap.Grows() {
		list, _ := s.figures(track, func(t signature.TrackCondition) signature.Amount { return t.Gap })
		limit := gapOfLoss(c.DesignGapUm, LimitDB, lambda)
		w.Gap.Limit = s.projection(list, limit)
	}
	if w.Spacing.Grows() {
		list, _ := s.figures(track, func(t signature.TrackCondition) signature.Amount { return t.Spacing })
		w.Spacing.Limit = s.projection(list, LimitDB/float64(tape.SpacingLoss(1e-6, lambda)))
	}
	if w.Loss.Grows() {
		list, _ := s.figures(track, func(t signature.TrackCondition) signature.Amount { return t.Loss })
		w.Loss.Limit = s.projection(list, LimitDB)
	}
}

func (s *WearSeries) projection(list []dated, limit float64) *Projection {
	years, lo, hi := newLine(list).reaches(limit)
	if math.IsInf(years, 1) {
		return nil
	}
	p := &Projection{LossDB: LimitDB, Hz: s.TrebleHz, Years: years, Lo: lo}
	if !math.IsInf(hi, 1) {
		p.Hi = &hi
	}
	return p
}

// gapOfLoss is the gap in µm at which a head loses so many dB more than with its design
// gap.
func gapOfLoss(designUm, db float64, lambda unit.Metre) float64 {
	loss := func(um float64) float64 { return float64(tape.GapLoss(unit.Metre(um*1e-6), lambda)) }
	lo, hi := designUm, 0.85*float64(lambda)*1e6 // just before the first null
	for range 60 {
		if mid := (lo + hi) / 2; loss(mid)-loss(designUm) < db {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// Changes says whether the interval of the slope excludes 0.
func (t Trend) Changes() bool { return t.Refused == "" && (t.Lo > 0 || t.Hi < 0) }

// Grows says whether the figure grows beyond its interval.
func (t Trend) Grows() bool { return t.Refused == "" && t.Lo > 0 }

// sentence says what became of a track, where something did.
func (s *WearSeries) sentence(w WearTrack, tracks int) string {
	what, t := "gap", w.Gap
	other, o := "spacing", w.Spacing
	if s.When == AsFound || w.Gap.Refused != "" {
		// Dirt is what comes and goes before cleaning.
		what, t, other, o = other, o, what, t
	}
	if !t.Changes() {
		return ""
	}
	verb := "grows"
	if t.Hi < 0 {
		verb = "falls"
	}
	out := fmt.Sprintf("Track %d, %s: taken as %s, the loss of treble %s by %s a year", w.Track, s.When, what, verb, t.Rate())
	if o.Changes() {
		out += fmt.Sprintf("; taken as %s, by %s", other, o.Rate())
	}
	out += "." + t.Limit.words()
	switch any := s.ByChance(t, tracks); {
	case any > likelyChance:
		out += fmt.Sprintf(" Of machines with %s that do not change, %s show as much on one by chance: another date would tell.", counted(tracks, "track"), unit.Probability(any))
	case t.Hi < 0:
		out += " Cleaned, adjusted or trimmed since: no head mends itself."
	}
	return out
}

// likelyChance is from where on a trend may be the largest of many that are none.
const likelyChance = 0.05

// ByChance is the probability that of so many tracks that do not change one or more shows
// a trend as far from 0 as t.
func (s WearSeries) ByChance(t Trend, tracks int) float64 {
	return 1 - math.Pow(1-t.Chance, float64(tracks))
}

// Wears says whether a track loses treble as time goes on: beyond its interval, and
// beyond what the worst of all tracks shows by chance.
func (s WearSeries) Wears(w WearTrack) bool {
	t := w.Gap
	if t.Refused != "" {
		t = w.Spacing
	}
	return t.Grows() && s.ByChance(t, len(s.Tracks)) <= likelyChance
}

// Rate is the slope without its sign, for a sentence that has a word for it.
func (t Trend) Rate() string {
	f := unit.Figure{Value: t.PerYear, Lo: t.Lo, Hi: t.Hi, Unit: t.Unit}
	if t.PerYear < 0 {
		f.Value, f.Lo, f.Hi = -t.PerYear, -t.Hi, -t.Lo
	}
	return f.String()
}

func (p *Projection) words() string {
	if p == nil {
		return ""
	}
	tone := unit.Frequency(unit.Hertz(p.Hz))
	if p.Years == 0 {
		return fmt.Sprintf(" The %s loss has reached %g%sdB.", tone, p.LossDB, unit.ThinSpace)
	}
	return fmt.Sprintf(" At this rate the %s loss reaches %g%sdB %s.", tone, p.LossDB, unit.ThinSpace, p.When())
}

// When says it in words: "in about 4 years (2.2 to 9)".
func (p *Projection) When() string {
	if p.Years == 0 {
		return "reached"
	}
	hi := "more than 100"
	if p.Hi != nil {
		hi = roughly(*p.Hi)
	}
	return fmt.Sprintf("in about %s years (%s to %s)", roughly(p.Years), roughly(p.Lo), hi)
}

// roughly writes years as well as they are known.
func roughly(years float64) string {
	if years < 9.95 {
		return fmt.Sprintf("%.2g", years)
	}
	return fmt.Sprintf("%.0f", years)
}
