package report

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/machine"
	"headstack/plot"
	"headstack/signature"
	"headstack/unit"
)

// Losses sets out what the losses on captures say, for pages, report and command line.
type Losses struct {
	Of          string // "capture 1 and capture 2"
	Between     string // of a comparison: what was done
	Compared    bool
	Unexplained string // why there is nothing more; empty when there is
	Sound       bool   // nothing is out of the ordinary
	Findings    []LossFinding
	Open        []LossOpen
	SetAside    []string
	Warnings    []string
	Reference   string
	Method      string
	Picture     *Picture // nil: no track has a curve
}

// LossFinding is one cause, in words.
type LossFinding struct {
	Cause      string // "uneven spacing"
	Tracks     string // "tracks 4 to 6"; empty for none
	Nature     string // "mechanical", "electrical"; empty for none
	Mark       string // shape beside the word: ◧, ◇, ■
	P          float64
	Chance     string   // "97 %"
	Likely     string   // "very likely"
	Sentence   string   //
	Figures    []string // "spacing of track 4: 0.31 ±0.05 µm"
	WouldTell  string
	Cautions   []string // that belong to trying it
	Questioned bool     // at least as likely as not, and something
}

// LossOpen is a pair of causes that stays open.
type LossOpen struct {
	Sentence, WouldTell string
	Cautions            []string
}

// LossesOf puts an explanation into words and draws it. prefix begins the ids of the
// picture's elements.
func LossesOf(x job.Explained, prefix string) Losses {
	e := x.Explanation
	out := Losses{Of: x.Refs(), Between: x.Between, Unexplained: x.Unexplained, SetAside: e.SetAside, Warnings: e.Warnings,
		Reference: e.Reference, Method: e.Method, Compared: x.Compared}
	if x.Unexplained != "" {
		return out
	}
	out.Sound = true
	for _, f := range e.Findings {
		lf := findingText(f, x.Compared)
		out.Findings = append(out.Findings, lf)
		out.Sound = out.Sound && !lf.Questioned
	}
	for _, o := range e.Open {
		lo := LossOpen{Sentence: o.Sentence, WouldTell: o.WouldSeparate}
		if needsHands(o.WouldSeparate) {
			for _, c := range []signature.Cause{o.A, o.B} {
				for _, s := range lossCautions(c) {
					add(&lo.Cautions, s)
				}
			}
		}
		out.Open = append(out.Open, lo)
	}
	if len(e.Curves) > 0 {
		opt := plot.Options{ID: prefix + "explanation"}
		if x.Compared {
			opt.Title = "What changed, by track"
		}
		d := plot.Explain(e, opt)
		out.Picture = &Picture{Name: "explanation", ID: opt.ID, Title: d.Title(), Words: d.Describe(), SVG: d.SVG(), Drawing: d, Table: plot.TableOf(d)}
	}
	return out
}

func findingText(f signature.Finding, change bool) LossFinding {
	out := LossFinding{Cause: f.Cause.Words(), Tracks: TracksText(f.Tracks), Nature: string(f.Nature), P: f.Probability, Chance: unit.Probability(f.Probability),
		Likely: Likely(f.Probability), Sentence: f.Sentence, WouldTell: f.WouldSeparate, Questioned: NotInOrder(f)}
	switch f.Nature {
	case signature.Mechanical:
		out.Mark = "◧"
	case signature.Electrical:
		out.Mark = "◇"
	default:
		out.Mark = "■"
	}
	for _, p := range f.Parameters {
		out.Figures = append(out.Figures, parameterText(p, change))
	}
	if f.WouldSeparate != "" && (f.Nature == signature.Mechanical || needsHands(f.WouldSeparate)) {
		out.Cautions = lossCautions(f.Cause)
	}
	return out
}

// NotInOrder says whether a finding is a fault that is at least as likely as not.
func NotInOrder(f signature.Finding) bool {
	return f.Cause != signature.None && f.Probability >= 0.5
}

// parameterWords name what a figure is of, and whether its sign says something.
var parameterWords = map[string]struct {
	name   string
	signed bool
}{
	signature.GainDB: {"gain", true}, signature.SpacingUm: {"spacing", false}, signature.AzimuthArcmin: {"azimuth", true},
	signature.GapUm: {"gap", false}, signature.CornerHz: {"corner", false},
}

// parameterText is one figure with its interval: "spacing of track 4: 0.31 ±0.05 µm".
func parameterText(p signature.Parameter, change bool) string {
	w, ok := parameterWords[p.Name]
	if !ok {
		w.name = strings.ReplaceAll(p.Name, "_", " ")
	}
	s := w.name
	change = change && p.Name != signature.CornerHz // of which a comparison gives the one that came or went
	if change {
		s = "change of " + s
	}
	if p.Track > 0 {
		s += " of track " + strconv.Itoa(p.Track)
		if change {
			s = strings.Replace(s, " of track", ", track", 1)
		}
	}
	f := unit.Figure{Value: p.Value, Lo: p.Lo, Hi: p.Hi, Unit: p.Unit, Difference: w.signed || change}
	return s + ": " + f.String()
}

// Likely says a probability in words. The bounds are those of the guidance note for
// authors of the IPCC's Fifth Assessment Report on treatment of uncertainties
// (Mastrandrea and others 2010, table 1), quoted from memory.
func Likely(p float64) string {
	switch {
	case math.IsNaN(p):
		return "not known"
	case p >= 0.99:
		return "virtually certain"
	case p >= 0.9:
		return "very likely"
	case p >= 0.66:
		return "likely"
	case p >= 0.33:
		return "about as likely as not"
	case p >= 0.1:
		return "unlikely"
	}
	return "very unlikely"
}

// TracksText names tracks, runs of three and more by their ends: "tracks 1, 4 to 6".
func TracksText(tracks []int) string {
	if len(tracks) == 0 {
		return ""
	}
	var parts []string
	for i := 0; i < len(tracks); {
		j := i
		for j+1 < len(tracks) && tracks[j+1] == tracks[j]+1 {
			j++
		}
		if j-i >= 2 {
			parts = append(parts, fmt.Sprintf("%d to %d", tracks[i], tracks[j]))
			i = j + 1
			continue
		}
		parts = append(parts, strconv.Itoa(tracks[i]))
		i++
	}
	if len(tracks) == 1 {
		return "track " + parts[0]
	}
	if n := len(parts); n > 1 && !strings.Contains(parts[n-1], " to ") {
		return "tracks " + strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return "tracks " + strings.Join(parts, ", ")
}

// The cautions of the tests that are proposed: common practice at the bench, no single
// source; local codes and licensed practice come first.
const (
	handsOnHeads = "Before you press, clean or touch anything at the heads: fingers, hair and sleeves off whatever turns; press lightly, the shell or the tape with a dry cotton bud, never with metal. " +
		"Solvent only with the recorder stopped, ventilated and away from flames, and let it dry before a tape goes in."
	handsInside = "Inside the recorder: pull the plug first; supply capacitors stay charged and bias nodes burn at a point. Local electrical codes and licensed practice come first."
)

// needsHands says whether a test lays a hand on the recorder beyond playing a tape: rather
// once too often.
func needsHands(test string) bool {
	return handsWords.MatchString(test)
}

var handsWords = regexp.MustCompile(`(?i)press|clean|wip|touch|guide|\bpad|shell|shim|adjust|turn|screw|probe|read |reading|resistance|ohm|open|inside|board|swap|exchang|capacitor|connector|plug|lead|wind|solder|trim|tap |warm|cool|bend|relay|switch`)

// lossCautions belong beside a test of a cause.
func lossCautions(c signature.Cause) []string {
	demagnetise, _ := machine.StandardCaution("demagnetise")
	ohmmeter, _ := machine.StandardCaution("ohmmeter")
	switch c {
	case signature.Spacing, signature.SpacingRamp, signature.UnsteadyContact, signature.Azimuth, signature.Height, signature.GapWear:
		return []string{handsOnHeads, demagnetise}
	case signature.HeadOpen:
		return []string{handsInside, ohmmeter, demagnetise}
	case signature.Gain, signature.LowCorner, signature.HighCorner, signature.GroupGain, signature.UnsteadyJoint:
		return []string{handsInside}
	}
	return nil
}

// lossesFound puts what each set of captures says beside it.
func lossesFound(found []Found, explained []job.Explained) {
	for i := range found {
		f := &found[i]
		for _, x := range explained {
			mine := func(c string) bool { return len(x.Captures) > 0 && strings.HasPrefix(c, x.Captures[0].Ref+": ") }
			if slices.ContainsFunc(f.Captures, mine) {
				l := LossesOf(x, fmt.Sprintf("found%d-", i+1))
				f.Losses = &l
			}
		}
	}
}
