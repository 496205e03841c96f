package programme

import "fmt"

// finding places every part.
func (l *locator) finding() *Finding {
	out := &Finding{Parts: make([]Located, len(l.p.Parts))}
	for i := range out.Parts {
		out.Parts[i].Index = i
	}
	if len(l.heard) == 0 || !l.solve() {
		for i := range out.Parts {
			out.Parts[i].Reason = "the programme was not recognised: too few of its tones were heard in their order"
		}
		l.warn("the programme %q was not recognised: is this its replay, at that speed, played forwards, on these tracks?", l.p.Name)
		out.Warnings = l.warnings[len(l.warnings)-1:] // what else was noticed is of no use then
		return out
	}
	out.SpeedRatio = l.ratio
	first, last := l.reach()
	for i := range out.Parts {
		l.place(&out.Parts[i], first, last)
	}
	out.Warnings = l.warnings
	return out
}

// place fills in one part.
func (l *locator) place(out *Located, first, last int) {
	at := l.p.Start(out.Index)
	start, end := l.when(at), l.when(at+l.p.Parts[out.Index].Seconds)
	switch {
	case out.Index < first:
		out.Reason = fmt.Sprintf("what should lie before %q is not there: the recording begins after this part", l.p.Parts[first].Name)
		return
	case out.Index > last:
		out.Reason = fmt.Sprintf("what should follow %q is not there: the recording ends before this part", l.p.Parts[last].Name)
		return
	case end < leastPart:
		out.Reason = fmt.Sprintf("the capture begins %.1f s after this part", -end)
		if end >= 0 {
			out.Reason = fmt.Sprintf("the capture holds only the last %.2f s of this part", end)
		}
		return
	case start > l.seconds-leastPart:
		out.Reason = fmt.Sprintf("the capture ends %.1f s before this part", start-l.seconds)
		if start < l.seconds {
			out.Reason = fmt.Sprintf("the capture holds only the first %.2f s of this part", l.seconds-start)
		}
		return
	}
	const slack = 0.05 // s: within the error of place nothing is called cut
	out.Found = true
	out.Partial = start < -slack || end > l.seconds+slack
	out.StartS, out.EndS = max(0, start), min(l.seconds, end)
}
