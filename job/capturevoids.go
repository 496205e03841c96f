package job

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/live"
	"headstack/measure"
)

// Void is a stretch of a capture that is not to be believed, in seconds from its first frame:
// samples are missing there or repeated.
type Void struct {
	FromS float64
	ToS   float64
	Why   string // without full stop
}

func (v Void) text() string {
	return fmt.Sprintf("a slip lies in it, %.2f to %.2f s: %s", v.FromS, v.ToS, v.Why)
}

// LiveVoids are the voids of a capture that was heard live, and the figures that its session
// has beside them: what a [CaptureUpload] takes.
func LiveVoids(k live.Kept, st live.State) (voids []Void, beside []measure.Result) {
	for _, v := range k.Voids {
		voids = append(voids, Void{FromS: v.FromS, ToS: v.ToS, Why: v.Reason})
	}
	if len(voids) == 0 {
		return nil, nil
	}
	for _, s := range st.Sections {
		beside = append(beside, s.Figures...)
	}
	return voids, append(beside, st.Azimuth...)
}

// maxVoids is how many of a capture are kept.
const maxVoids = 1000

func checkVoids(voids []Void) error {
	if len(voids) > maxVoids {
		return &InvalidError{Field: "voids", Value: strconv.Itoa(len(voids)), Problem: fmt.Sprintf("are more than %d", maxVoids)}
	}
	for _, v := range voids {
		if !(v.FromS >= 0 && v.ToS >= v.FromS) || math.IsInf(v.ToS, 0) {
			return &InvalidError{Field: "voids", Value: fmt.Sprintf("%g to %g s", v.FromS, v.ToS), Problem: "is no stretch of a capture"}
		}
	}
	return nil
}

// withoutVoids takes out of a report what voids touch: figures of a section in which one
// lies, or that are held against such a section, are refused; where beside has the same
// figure of the stretch beside the void, that one stands in its place. What joins several
// sections is warned of.
func withoutVoids(rep *measure.Report, voids []Void, beside []measure.Result) {
	touched := map[string]Void{}
	for i := range rep.Sections {
		s := &rep.Sections[i]
		for _, v := range voids {
			if s.Found && v.FromS < s.EndS && v.ToS > s.StartS {
				touched[s.Name] = v
				s.Partial, s.Reason = true, v.text()
				break
			}
		}
	}
	if len(touched) == 0 {
		return
	}
	for i := range rep.Measures {
		r := &rep.Measures[i]
		section, v, ok := touches(r.Section, r.Reference, touched)
		if r.Refused != "" || !ok {
			continue
		}
		b := slices.IndexFunc(beside, func(b measure.Result) bool {
			return b.Name == r.Name && b.Track == r.Track && b.TrackB == r.TrackB && b.Section == r.Section && b.ToneHz == r.ToneHz && b.Unit == r.Unit && b.Refused == ""
		})
		switch {
		case b >= 0:
			r.Value, r.Lo, r.Hi = beside[b].Value, beside[b].Lo, beside[b].Hi
			r.Warnings = append(slices.Clip(r.Warnings), "section "+section+": "+v.text()+"; the figure is of the stretch beside it")
		case r.Section == "":
			r.Warnings = append(slices.Clip(r.Warnings), "section "+section+": "+v.text())
		default:
			r.Refused = "section " + section + ": " + v.text()
		}
	}
	for i := range rep.Traces {
		t := &rep.Traces[i]
		if v, ok := touched[t.Section]; ok {
			t.Warnings = append(slices.Clip(t.Warnings), v.text())
		}
	}
}

// touches tells whether a figure draws on a section with a void: its own, the one that it is
// held against, or, where it joins sections, any.
func touches(own, reference string, touched map[string]Void) (section string, v Void, ok bool) {
	if v, ok := touched[own]; ok {
		return own, v, true
	}
	var names []string
	for name := range touched {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		if own == "" || strings.Contains(reference, strconv.Quote(name)) {
			return name, touched[name], true
		}
	}
	return "", v, false
}
