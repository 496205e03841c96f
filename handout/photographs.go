package handout

import (
	"fmt"

	"headstack/paper"
	"headstack/report"
)

// photographsOf are photographs as paper takes them: what it shows is said with its layer,
// so that it means something in black and white too.
func photographsOf(list []report.Photograph) []paper.Photograph {
	out := make([]paper.Photograph, len(list))
	for i, p := range list {
		out[i] = paper.Photograph{Data: p.Image, Caption: join(": ", fmt.Sprintf("%s, %s, %s", p.Layer, p.Ref, p.When), p.Caption)}
		if p.Refused != "" {
			out[i].Caption += "; not shown: " + p.Refused
		}
	}
	return out
}

func (h *handOver) photographs(list []paper.Photograph) error {
	if len(list) == 0 {
		return nil
	}
	h.f.Heading(1, "Photographs")
	h.f.Para("In the order in which they were taken, each with the layer that lay open. Copies, scaled; the files stay on the bench.", paper.Small)
	return h.f.Photographs(list)
}
