package signature_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"headstack/signature"
)

func compiledSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(signature.Schema))
	if err != nil {
		t.Fatalf("the schema is no JSON: %v", err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("explanation.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("explanation.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func validates(t *testing.T, s *jsonschema.Schema, text []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(v)
}

// whole has every member of the form.
var whole = signature.Explanation{
	Findings: []signature.Finding{{Cause: signature.Spacing, Tracks: []int{4, 5}, Nature: signature.Mechanical, Probability: 0.97,
		Sentence: "Tracks 4 and 5 lose treble in proportion to frequency.", WouldSeparate: "Press the shell.",
		Parameters: []signature.Parameter{{Name: signature.SpacingUm, Track: 4, Value: 0.4, Unit: "µm", Lo: 0.3, Hi: 0.5}, {Name: signature.AzimuthArcmin, Value: 1, Unit: "arcmin", Lo: 0, Hi: 2}}}},
	Open: []signature.Confusion{{A: signature.Spacing, B: signature.GapWear, Tracks: []int{4}, Sentence: "Not told apart.", WouldSeparate: "A 14 kHz section."}},
	Curves: []signature.Curve{{Track: 4, Points: []signature.CurvePoint{{Hz: 315, Section: "ref", Lo: -0.1, Hi: 0.1}, {Hz: 10000, Section: "10k", MeasuredDB: -2, Lo: -2.1, Hi: -1.9, FittedDB: -2, SetAside: true}},
		Contributions: []signature.Contribution{{Cause: signature.Spacing, DB: []float64{0, -2}}}}},
	SetAside: []string{"track 4 at 10 kHz"}, Warnings: []string{"w"}, Reference: "r", Method: "m",
}

func TestExplanationFollowsItsSchema(t *testing.T) {
	data, err := json.Marshal(whole)
	if err != nil {
		t.Fatal(err)
	}
	s := compiledSchema(t)
	if err := validates(t, s, data); err != nil {
		t.Errorf("%v\n%s", err, data)
	}
	var back signature.Explanation
	if err := json.Unmarshal(data, &back); err != nil {
		t.Fatal(err)
	}
	if again, err := json.Marshal(back); err != nil || !bytes.Equal(again, data) {
		t.Errorf("read and written again it differs: %v\n%s\n%s", err, data, again)
	}
	for name, change := range map[string][2]string{
		"a cause of its own":       {`"cause":"spacing","tracks"`, `"cause":"goblins","tracks"`},
		"no tracks":                {`"tracks":[4,5]`, `"tracks":[]`},
		"track zero":               {`"track":4,"value"`, `"track":0,"value"`},
		"a probability above one":  {`0.97`, `1.97`},
		"a nature of its own":      {`"nature":"mechanical"`, `"nature":"thermal"`},
		"a fault without nature":   {`"nature":"mechanical"`, `"nature":""`},
		"null curves":              {`"set_aside":["track 4 at 10 kHz"]`, `"set_aside":null`},
		"a parameter without unit": {`"unit":"µm"`, `"unit":""`},
	} {
		broken := strings.Replace(string(data), change[0], change[1], 1)
		if broken == string(data) {
			t.Fatalf("%s: nothing was changed", name)
		}
		if validates(t, s, []byte(broken)) == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestEmptyListsAreNoNulls(t *testing.T) {
	empty := signature.Explanation{Findings: []signature.Finding{{Cause: signature.None, Sentence: "Nothing is out of the ordinary.", Probability: 0.99}},
		Curves: []signature.Curve{{Track: 1, Contributions: []signature.Contribution{{Cause: signature.Gain}}}}}
	for _, x := range []signature.Explanation{{}, empty} {
		data, err := json.Marshal(x)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(data, []byte("null")) {
			t.Errorf("null in %s", data)
		}
		if err := validates(t, compiledSchema(t), data); err != nil {
			t.Errorf("%v\n%s", err, data)
		}
	}
	if empty.Findings[0].Tracks != nil {
		t.Error("what was written was changed")
	}
}
