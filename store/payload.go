package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"headstack/job"
)

// payloadVersion is that of the JSON in entries.payload. A change of package
// job's or measure's types that this version could not read back needs a new
// one, and a reader for the old one here. A program that does not know of works,
// openings, closings and what belongs to a line-up refuses the whole bench by its schema.
const payloadVersion = 1

type payload struct {
	V       int          `json:"v"`
	Check   *job.Check   `json:"check,omitempty"`
	Reading *job.Reading `json:"reading,omitempty"`
	Capture *job.Capture `json:"capture,omitempty"`
	Work    *job.Work    `json:"work,omitempty"`
	Opening *job.Opening `json:"opening,omitempty"`
	Closing *job.Closing `json:"closing,omitempty"`
	Turn    *job.Turn    `json:"turn,omitempty"`
	Gate    *job.Gate    `json:"gate,omitempty"`
	Pass    *job.Pass    `json:"pass,omitempty"`
	Figure  *job.Figure  `json:"figure,omitempty"`
	SignOff *job.SignOff `json:"sign_off,omitempty"`
	Soak    *job.Soak    `json:"soak,omitempty"`

	Staircase  *job.Staircase  `json:"staircase,omitempty"`
	Photograph *job.Photograph `json:"photograph,omitempty"`
}

func encodePayload(e job.Entry) (string, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false) // "<" is easier to read in an export than its escape
	err := enc.Encode(payload{V: payloadVersion, Check: e.Check, Reading: e.Reading, Capture: e.Capture,
		Work: e.Work, Opening: e.Opening, Closing: e.Closing,
		Turn: e.Turn, Gate: e.Gate, Pass: e.Pass, Figure: e.Figure, SignOff: e.SignOff, Soak: e.Soak, Staircase: e.Staircase, Photograph: e.Photograph})
	if err != nil {
		return "", fmt.Errorf("writing a %s as JSON: %w", e.Kind, err)
	}
	return string(bytes.TrimSpace(buf.Bytes())), nil
}

func decodePayload(text string, e *job.Entry) error {
	var v struct {
		V int `json:"v"`
	}
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		return fmt.Errorf("entry %d: %w", e.Seq, err)
	}
	if v.V != payloadVersion {
		return fmt.Errorf("entry %d has payload version %d and this program reads %d; use the newer headstack", e.Seq, v.V, payloadVersion)
	}
	var p payload
	dec := json.NewDecoder(bytes.NewReader([]byte(text)))
	dec.DisallowUnknownFields() // better an error than a field that is dropped in silence
	if err := dec.Decode(&p); err != nil {
		return fmt.Errorf("entry %d: %w", e.Seq, err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return fmt.Errorf("entry %d: more than one JSON value", e.Seq)
	}
	e.Check, e.Reading, e.Capture = p.Check, p.Reading, p.Capture
	e.Work, e.Opening, e.Closing = p.Work, p.Opening, p.Closing
	e.Turn, e.Gate, e.Pass, e.Figure, e.SignOff, e.Soak = p.Turn, p.Gate, p.Pass, p.Figure, p.SignOff, p.Soak
	e.Staircase = p.Staircase
	e.Photograph = p.Photograph
	return nil
}
