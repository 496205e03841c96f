package measure_test

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"headstack/measure"
)

func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(measure.Schema))
	if err != nil {
		t.Fatalf("the schema is no JSON: %v", err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("report.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("report.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

var sample = measure.Report{
	Sections: []measure.SectionFound{
		{Name: "ref", Found: true, StartS: 0, EndS: 10.5, ToneHz: 315, Capture: "a.wav"},
		{Name: "10k", ToneHz: 10000, Capture: "a.wav", Reason: "no tone near 10 kHz"},
	},
	Measures: []measure.Result{
		{Name: "level", Track: 1, Section: "ref", ToneHz: 315, Value: -18, Lo: -18.01, Hi: -17.99, Unit: "dBFS", Reference: "full-scale sine = 0 dBFS", Method: "m", Warnings: []string{"clipped"},
			Conditions: measure.Conditions{Case: measure.CaseOpen, Tape: "t", SpeedCmS: 9.525, Capture: "a.wav", Channel: 1, When: time.Date(2024, 5, 6, 7, 8, 9, 0, time.UTC)}},
		{Name: "delay", Track: 1, TrackB: 2, Section: "ref", ToneHz: 315, Value: 0, Lo: -1, Hi: 1, Unit: "µs"},
		{Name: "level", Track: 2, Section: "10k", ToneHz: 10000, Unit: "dBFS", Refused: "tone absent"},
		{Name: "speed_error", Value: 0.1, Lo: 0.09, Hi: 0.11, Unit: "%"},
	},
}

func TestReportFollowsItsSchema(t *testing.T) {
	s := compiled(t)
	for name, r := range map[string]measure.Report{"sample": sample, "empty": {}} {
		data, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(v); err != nil {
			t.Errorf("%s: %v\n%s", name, err, data)
		}
		var back measure.Report
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		again, err := json.Marshal(back)
		if err != nil || string(again) != string(data) {
			t.Errorf("%s: read and written again it differs: %v\n%s", name, err, cmp.Diff(string(data), string(again)))
		}
	}
}

// What outside scripts lean on, spelled out.
func TestJSONForm(t *testing.T) {
	data, _ := json.Marshal(sample)
	for _, want := range []string{
		`{"name":"ref","found":true,"start_s":0,"end_s":10.5,"tone_hz":315,`,
		`{"name":"10k","found":false,"start_s":null,"end_s":null,"tone_hz":10000,`,
		`{"name":"level","track":1,"track_b":null,"section":"ref","tone_hz":315,"value":-18,"unit":"dBFS","lo":-18.01,"hi":-17.99,"reference":"full-scale sine = 0 dBFS","method":"m","warnings":["clipped"],"refused":null,`,
		`"track":1,"track_b":2,"section":"ref","tone_hz":315,"value":0,"unit":"µs","lo":-1,"hi":1,`,
		`"value":null,"unit":"dBFS","lo":null,"hi":null,"reference":"","method":"","warnings":[],"refused":"tone absent"`,
		`"name":"speed_error","track":null,"track_b":null,"section":"",`,
	} {
		if !strings.Contains(string(data), want) {
			t.Errorf("no %s in\n%s", want, data)
		}
	}
	empty, _ := json.Marshal(measure.Report{})
	if string(empty) != `{"sections":[],"measures":[],"traces":[],"warnings":[]}` {
		t.Errorf("empty report: %s", empty)
	}
}

func TestSchemaRejects(t *testing.T) {
	s := compiled(t)
	for name, text := range map[string]string{
		"no warnings":             `{"sections":[],"measures":[],"traces":[]}`,
		"null list":               `{"sections":null,"measures":[],"traces":[],"warnings":[]}`,
		"value with a refusal":    strings.Replace(one, `"refused":null`, `"refused":"x"`, 1),
		"neither value nor cause": strings.Replace(one, `"value":1`, `"value":null`, 1),
		"track zero":              strings.Replace(one, `"track":1`, `"track":0`, 1),
		"case":                    strings.Replace(one, `"case":"open"`, `"case":"ajar"`, 1),
		"found without time":      `{"sections":[{"name":"a","found":true,"start_s":null,"end_s":1,"tone_hz":1,"partial":false,"capture":"","reason":""}],"measures":[],"traces":[],"warnings":[]}`,
	} {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		if s.Validate(v) == nil {
			t.Errorf("%s: accepted %s", name, text)
		}
	}
	v, _ := jsonschema.UnmarshalJSON(strings.NewReader(one))
	if err := s.Validate(v); err != nil {
		t.Errorf("the unbroken one: %v", err)
	}
}

const one = `{"sections":[],"measures":[{"name":"level","track":1,"track_b":null,"section":"a","tone_hz":1,"value":1,"unit":"dB","lo":0,"hi":2,"reference":"","method":"","warnings":[],"refused":null,"conditions":{"case":"open"}}],"traces":[],"warnings":[]}`

func TestNoNumberIsWrittenForNaN(t *testing.T) {
	if _, err := json.Marshal(measure.Result{Name: "level", Value: math.NaN()}); err == nil {
		t.Error("NaN was written")
	}
	if err := json.Unmarshal([]byte(`{"name":"level","value":null,"lo":null,"hi":null,"refused":null}`), new(measure.Result)); err == nil {
		t.Error("a result with neither value nor reason was read")
	}
}
