package measure

// Report is what one run of measuring gives, and the JSON object that
// `headstack measure --json` prints.
type Report struct {
	Sections []SectionFound `json:"sections"`
	Measures []Result       `json:"measures"`
	Warnings []string       `json:"warnings"` // about the capture as a whole
}

// SectionFound says where a section of the test tape lies in a capture.
// When Found is false StartS and EndS are null in JSON and Reason says why.
type SectionFound struct {
	Name    string
	Found   bool
	Partial bool // cut by the start or end of the capture
	StartS  float64
	EndS    float64
	ToneHz  float64 // nominal, 0 for silence
	Capture string  // which capture, when there are several
	Reason  string
}
