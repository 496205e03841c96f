package measure

import "encoding/json"

// Report is what one run of measuring gives, and the JSON object that
// `headstack measure --json` prints. Its form is published as [Schema].
type Report struct {
	Sections []SectionFound `json:"sections"`
	Measures []Result       `json:"measures"`
	Traces   []Trace        `json:"traces"`
	Warnings []string       `json:"warnings"` // about the capture as a whole
}

// MarshalJSON writes empty lists as [], never as null.
func (r Report) MarshalJSON() ([]byte, error) {
	type plain Report
	p := plain(r)
	if p.Sections == nil {
		p.Sections = []SectionFound{}
	}
	if p.Measures == nil {
		p.Measures = []Result{}
	}
	if p.Traces == nil {
		p.Traces = []Trace{}
	}
	if p.Warnings == nil {
		p.Warnings = []string{}
	}
	return json.Marshal(p)
}

// SectionFound says where a section of the test tape lies in a capture.
// When Found is false StartS and EndS are null in JSON and Reason says why.
type SectionFound struct {
	Name    string
	Found   bool
	Partial bool    // cut by the start or end of the capture
	StartS  float64 // seconds from the start of the capture
	EndS    float64
	ToneHz  float64 // nominal, 0 for silence
	Capture string  // which capture, when there are several
	Reason  string
}

// sectionJSON is the published form of a SectionFound.
type sectionJSON struct {
	Name    string   `json:"name"`
	Found   bool     `json:"found"`
	StartS  *float64 `json:"start_s"`
	EndS    *float64 `json:"end_s"`
	ToneHz  float64  `json:"tone_hz"`
	Partial bool     `json:"partial"`
	Capture string   `json:"capture"`
	Reason  string   `json:"reason"`
}

// MarshalJSON writes the form of [Schema].
func (s SectionFound) MarshalJSON() ([]byte, error) {
	j := sectionJSON{Name: s.Name, Found: s.Found, ToneHz: s.ToneHz, Partial: s.Partial, Capture: s.Capture, Reason: s.Reason}
	if s.Found {
		j.StartS, j.EndS = &s.StartS, &s.EndS
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads the form of [Schema].
func (s *SectionFound) UnmarshalJSON(data []byte) error {
	var j sectionJSON
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	*s = SectionFound{Name: j.Name, Found: j.Found, ToneHz: j.ToneHz, Partial: j.Partial, Capture: j.Capture, Reason: j.Reason}
	if j.StartS != nil {
		s.StartS = *j.StartS
	}
	if j.EndS != nil {
		s.EndS = *j.EndS
	}
	return nil
}
