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

// reach gives the first and last part that may be taken as recorded: not beyond a mark
// that should be in the capture and is not there, since the recording may begin or end
// before it.
func (l *locator) reach() (first, last int) {
	_, index := l.p.anchors()
	first, last = 0, len(l.p.Parts)-1
	lowest, highest := l.heard[0].part, l.heard[len(l.heard)-1].part
	for _, i := range index {
		if l.p.Parts[i].All[0].Hz > robustHz || !l.inside(i) {
			continue
		}
		if i < lowest {
			first = lowest
		}
		if i > highest {
			last = min(last, highest)
		}
	}
	return first, last
}

// inside reports whether most of part i, and 1.5 s, should lie in the capture.
func (l *locator) inside(i int) bool {
	from, to := l.when(l.p.Start(i)), l.when(l.p.Start(i)+l.p.Parts[i].Seconds)
	in := min(to, l.seconds) - max(from, 0)
	return in > 1.5 && in > 0.6*(to-from)
}

// place fills in one part.
func (l *locator) place(out *Located, first, last int) {
	at := l.p.Start(out.Index)
	start, end := l.when(at), l.when(at+l.p.Parts[out.Index].Seconds)
	switch {
	case out.Index < first:
		out.Reason = fmt.Sprintf("what should lie before %q was not heard: the recording may begin after it", l.p.Parts[first].Name)
		return
	case out.Index > last:
		out.Reason = fmt.Sprintf("what should follow %q was not heard: the recording may end before it", l.p.Parts[last].Name)
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
