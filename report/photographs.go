package report

import (
	"context"
	"encoding/base64"
	"fmt"
	"html/template"

	"headstack/job"
)

// PhotographWidth is that of a photograph in a report, in pixels: half an A4 page at 200
// dots per inch.
const PhotographWidth = 720

// Photograph is a photograph of the job as the report shows it, whole in the file.
type Photograph struct {
	Ref, When, Layer, Caption string
	Data                      template.URL // the copy, scaled, as a data address
	Image                     []byte       // the same, JPEG or PNG
	Width, Height             int
	Refused                   string // why it cannot be shown
}

// Alt says what is on it for those who do not see it.
func (p Photograph) Alt() string {
	s := "Photograph of the recorder, layer " + p.Layer
	if p.Caption != "" {
		s += ": " + p.Caption
	}
	return s
}

// PhotographsOf asks the bench for the photographs of a job that count. One that cannot be
// read stands with the reason.
func PhotographsOf(ctx context.Context, v *job.View, bench interface {
	PhotographImage(ctx context.Context, jobID string, seq int64, width int) (job.Image, error)
}) []Photograph {
	var out []Photograph
	for _, e := range v.Photographs() {
		p := Photograph{Ref: e.Ref, When: date(e.At), Layer: e.Photograph.Layer(v.Def), Caption: e.Photograph.Caption}
		i, err := bench.PhotographImage(ctx, v.Job.ID, e.Seq, PhotographWidth)
		if err != nil {
			p.Refused = err.Error()
		} else {
			p.Image = i.Data
			p.Data = template.URL(fmt.Sprintf("data:%s;base64,%s", i.Type, base64.StdEncoding.EncodeToString(i.Data)))
			p.Width, p.Height = i.Width, i.Height
		}
		out = append(out, p)
	}
	return out
}
