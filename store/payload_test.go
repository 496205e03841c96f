package store

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/diagnosis"
	"headstack/job"
)

// What version 1 of the payload looks like on the disk. This text is in
// people's records: when this test fails the version has to go up and version 1
// still has to be read.
func TestPayloadVersion1IsRead(t *testing.T) {
	for text, want := range map[string]job.Entry{
		`{"v":1,"check":{"Item":"fader/3","Function":"","Key":"","Outcome":"faulty","Symptom":"noisy"}}`: {
			Check: &job.Check{Item: "fader/3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomNoisy}},
		`{"v":1,"reading":{"TestPoint":"TP10","Key":"2","Value":38.25,"Unit":"mV","ToneHz":315,"Instrument":"meter","Session":"s","Setting":"r"}}`: {
			Reading: &job.Reading{TestPoint: "TP10", Key: "2", Value: 38.25, Unit: "mV", ToneHz: 315, Instrument: "meter", Session: "s", Setting: "r"}},
		`{"v":1}`: {},
	} {
		var got job.Entry
		if err := decodePayload(text, &got); err != nil {
			t.Errorf("%s: %v", text, err)
		} else if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", text, diff)
		}
		again, err := encodePayload(want)
		if err != nil || again != text {
			t.Errorf("written as %s (%v)\nwant       %s", again, err, text)
		}
	}
}

func TestPayloadsThatAreRefused(t *testing.T) {
	for text, want := range map[string]string{
		`{"v":2,"check":{}}`:          "version 2",
		`{"check":{}}`:                "version 0",
		`{"v":1,"weather":{}}`:        "weather",
		`{"v":1,"check":{"Mood":""}}`: "Mood",
		`{"v":1}{"v":1}`:              "",
		``:                            "",
	} {
		err := decodePayload(text, &job.Entry{Seq: 7})
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "entry 7") {
			t.Errorf("%s: error %v, want one with %q and the entry's number", text, err, want)
		}
	}
}

// The same for what came with the second schema.
func TestPayloadsOfWorksAndOpenings(t *testing.T) {
	for text, want := range map[string]job.Entry{
		`{"v":1,"check":{"Item":"","Function":"record","Key":"3","Outcome":"faulty","Symptom":"","Provoked":"pressed"}}`: {
			Check: &job.Check{Function: "record", Key: "3", Outcome: diagnosis.Faulty, Provoked: diagnosis.Pressed}},
		`{"v":1,"work":{"Kind":"swap","Stage":"K1","Key":"3","With":"5","Back":true}}`: {
			Work: &job.Work{Kind: diagnosis.WorkSwap, Stage: "K1", Key: "3", With: "5", Back: true}},
		`{"v":1,"work":{"Kind":"repair","Stage":"C31","Key":"a"}}`: {Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31", Key: "a"}},
		`{"v":1,"opening":{"Opening":"lid"}}`:                      {Opening: &job.Opening{Opening: "lid"}},
		`{"v":1,"opening":{"Opening":"lid","Closed":true}}`:        {Opening: &job.Opening{Opening: "lid", Closed: true}},
	} {
		var got job.Entry
		if err := decodePayload(text, &got); err != nil {
			t.Errorf("%s: %v", text, err)
		} else if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", text, diff)
		}
		if again, err := encodePayload(want); err != nil || again != text {
			t.Errorf("written as %s (%v)\nwant       %s", again, err, text)
		}
	}
}
