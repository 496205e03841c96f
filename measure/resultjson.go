package measure

import (
	"encoding/json"
	"fmt"
	"math"
)

// resultJSON is the published form of a Result: what is not known is null, and
// warnings is a list even when empty.
type resultJSON struct {
	Name       string     `json:"name"`
	Track      *int       `json:"track"`
	TrackB     *int       `json:"track_b"`
	Section    string     `json:"section"`
	ToneHz     float64    `json:"tone_hz"`
	Value      *float64   `json:"value"`
	Unit       string     `json:"unit"`
	Lo         *float64   `json:"lo"`
	Hi         *float64   `json:"hi"`
	Reference  string     `json:"reference"`
	Method     string     `json:"method"`
	Warnings   []string   `json:"warnings"`
	Refused    *string    `json:"refused"`
	Conditions Conditions `json:"conditions"`
}

// MarshalJSON writes the form of [Schema]. A value that is not finite is an
// error of the program, reported rather than written.
func (r Result) MarshalJSON() ([]byte, error) {
	j := resultJSON{
		Name: r.Name, Section: r.Section, ToneHz: r.ToneHz, Unit: r.Unit,
		Reference: r.Reference, Method: r.Method, Warnings: r.Warnings, Conditions: r.Conditions,
	}
	if j.Warnings == nil {
		j.Warnings = []string{}
	}
	if r.Track != 0 {
		j.Track = &r.Track
	}
	if r.TrackB != 0 {
		j.TrackB = &r.TrackB
	}
	if r.Refused != "" {
		j.Refused = &r.Refused
		return json.Marshal(j)
	}
	for _, v := range []float64{r.Value, r.Lo, r.Hi} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("measure %s of track %d in section %q is not a finite number: %g [%g, %g]", r.Name, r.Track, r.Section, r.Value, r.Lo, r.Hi)
		}
	}
	j.Value, j.Lo, j.Hi = &r.Value, &r.Lo, &r.Hi
	return json.Marshal(j)
}

// UnmarshalJSON reads the form of [Schema].
func (r *Result) UnmarshalJSON(data []byte) error {
	var j resultJSON
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	*r = Result{
		Name: j.Name, Section: j.Section, ToneHz: j.ToneHz, Unit: j.Unit,
		Reference: j.Reference, Method: j.Method, Conditions: j.Conditions,
	}
	if len(j.Warnings) > 0 {
		r.Warnings = j.Warnings
	}
	if j.Track != nil {
		r.Track = *j.Track
	}
	if j.TrackB != nil {
		r.TrackB = *j.TrackB
	}
	if j.Refused != nil {
		r.Refused = *j.Refused
		return nil
	}
	if j.Value == nil || j.Lo == nil || j.Hi == nil {
		return fmt.Errorf("measure %q has neither value with lo and hi nor a reason in refused", j.Name)
	}
	r.Value, r.Lo, r.Hi = *j.Value, *j.Lo, *j.Hi
	return nil
}
