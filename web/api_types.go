package web

import (
	"encoding/json"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
)

// The types of the API. They are copies of the domain's own, so that a change
// there cannot change what programs outside read; openapi.yaml describes them.

type apiJob struct {
	ID            string            `json:"id"`
	Definition    string            `json:"definition"`
	DefinitionSHA string            `json:"definition_sha256"`
	Name          string            `json:"name"`
	Serial        string            `json:"serial"`
	Owner         string            `json:"owner"`
	Claim         string            `json:"claim"`
	Case          measure.CaseState `json:"case"`
	Opened        time.Time         `json:"opened"`
}

type apiSummary struct {
	apiJob
	Checks   int       `json:"checks"`
	Readings int       `json:"readings"`
	Captures int       `json:"captures"`
	Notes    int       `json:"notes"`
	Works    int       `json:"works"`
	LastAt   time.Time `json:"last_at,omitzero"`
}

type apiDefinition struct {
	ID      string `json:"id"`
	Name    string `json:"name"`
	SHA     string `json:"sha256"`
	Builtin bool   `json:"builtin"`
}

type apiEntry struct {
	Seq         int64             `json:"seq"`
	Ref         string            `json:"ref"`
	Job         string            `json:"job"`
	At          time.Time         `json:"at"`
	Kind        job.Kind          `json:"kind"`
	Corrects    int64             `json:"corrects,omitempty"`
	Withdraws   bool              `json:"withdraws,omitempty"`
	CorrectedBy int64             `json:"corrected_by,omitempty"` // in a job's list of entries only
	Case        measure.CaseState `json:"case"`
	Remark      string            `json:"remark,omitempty"`
	Minutes     float64           `json:"minutes,omitempty"`
	Check       *apiCheck         `json:"check,omitempty"`
	Reading     *apiReading       `json:"reading,omitempty"`
	Capture     *apiCapture       `json:"capture,omitempty"`
	Work        *apiWork          `json:"work,omitempty"`
	Opening     *apiOpening       `json:"opening,omitempty"`
	Closing     *apiClosing       `json:"closing,omitempty"`
	Photograph  *apiPhotograph    `json:"photograph,omitempty"`
	apiLineUpEntry
}

type apiCheck struct {
	Item     string            `json:"item,omitempty"`
	Function string            `json:"function,omitempty"`
	Key      string            `json:"key,omitempty"`
	Outcome  diagnosis.Outcome `json:"outcome"`
	Symptom  diagnosis.Symptom `json:"symptom,omitempty"`
	Provoked string            `json:"provoked,omitempty"`
	Fault    int               `json:"fault,omitempty"`
}

type apiReading struct {
	TestPoint  string  `json:"test_point"`
	Key        string  `json:"key,omitempty"`
	Value      float64 `json:"value"`
	Unit       string  `json:"unit"`
	ToneHz     float64 `json:"tone_hz,omitempty"`
	Instrument string  `json:"instrument,omitempty"`
	Session    string  `json:"session,omitempty"`
	Setting    string  `json:"setting,omitempty"`
	Provoked   string  `json:"provoked,omitempty"`
	// CannotTell is what the instrument leaves open; in a job's list of entries only.
	CannotTell []string `json:"cannot_tell,omitempty"`
}

type apiWork struct {
	Kind  diagnosis.WorkKind `json:"kind"`
	Stage string             `json:"stage"`
	Key   string             `json:"key,omitempty"`
	With  string             `json:"with,omitempty"`
	Back  bool               `json:"back,omitempty"`
	Part  string             `json:"part,omitempty"` // as printed
}

type apiOpening struct {
	Opening string `json:"opening"`
	Closed  bool   `json:"closed,omitempty"`
}

type apiInstrument struct {
	ID          string                   `json:"id"`
	Name        string                   `json:"name"`
	Kind        diagnosis.InstrumentKind `json:"kind"`
	BandwidthHz float64                  `json:"bandwidth_hz"`
	ACPercent   float64                  `json:"ac_percent"`
	DCPercent   float64                  `json:"dc_percent"`
	InputOhm    float64                  `json:"input_ohm"`
	InputF      float64                  `json:"input_f"`
	LeadsOhm    float64                  `json:"leads_ohm"`
	Autorange   bool                     `json:"autorange"`
	Leads       string                   `json:"leads"`
	Address     string                   `json:"address"`
	Dialect     string                   `json:"dialect"`
}

type apiCapture struct {
	File           string         `json:"file"`
	SHA256         string         `json:"sha256"`
	Bytes          int64          `json:"bytes"`
	Tape           string         `json:"tape"`
	TapeSHA        string         `json:"tape_sha256"`
	Programme      string         `json:"programme"`
	ProgrammeSHA   string         `json:"programme_sha256"`
	Interface      string         `json:"interface"`
	InterfaceSHA   string         `json:"interface_sha256"`
	WhileRecording bool           `json:"while_recording"`
	Function       string         `json:"function"`
	Tracks         []int          `json:"tracks"`
	Report         measure.Report `json:"report"`
}

type apiProgramme struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	SHA  string `json:"sha256"`
}

type apiRound struct {
	Round   int      `json:"round"`
	Tracks  []int    `json:"tracks"`
	Seconds float64  `json:"seconds"`
	Steps   []string `json:"steps"`
}

type apiInterface struct {
	ID       string    `json:"id"`
	Name     string    `json:"name"`
	SHA      string    `json:"sha256"`
	LoopedAt time.Time `json:"looped_back"`
}

type apiLoopback struct {
	Response     measure.Interface `json:"response"`
	File         string            `json:"file"`
	FileSHA      string            `json:"file_sha256"`
	Programme    string            `json:"programme"`
	ProgrammeSHA string            `json:"programme_sha256"`
}

type apiView struct {
	Job       apiJob        `json:"job"`
	Entries   []apiEntry    `json:"entries"`
	Sheet     []apiItem     `json:"sheet"`
	Functions []apiFunction `json:"functions"`
	// What is open now, outermost first, the case state that goes with it, and the swaps
	// that were not undone.
	Open  []string          `json:"open"`
	Case  measure.CaseState `json:"case"`
	Swaps []apiWork         `json:"swaps"`
}

type apiItem struct {
	Item     string   `json:"item"`
	Name     string   `json:"name"`
	Kind     string   `json:"kind"`
	Board    string   `json:"board"`
	Try      string   `json:"try,omitempty"`
	Minutes  float64  `json:"minutes"`
	Cautions []string `json:"cautions"`
	Latest   int64    `json:"latest,omitempty"` // seq of the entry that counts
}

type apiFunction struct {
	Function string  `json:"function"`
	Name     string  `json:"name"`
	Key      string  `json:"key,omitempty"`
	Minutes  float64 `json:"minutes"`
	Latest   int64   `json:"latest,omitempty"`
}

func jobJSON(j job.Job) apiJob {
	return apiJob{j.ID, j.Definition, j.DefinitionSHA, j.Name, j.Serial, j.Owner, j.Claim, j.Case, j.Opened.UTC()}
}

func summaryJSON(s job.Summary) apiSummary {
	return apiSummary{jobJSON(s.Job), s.Checks, s.Readings, s.Captures, s.Notes, s.Works, s.LastAt.UTC()}
}

func entryJSON(e job.Entry) apiEntry {
	out := apiEntry{Seq: e.Seq, Ref: e.Ref, Job: e.Job, At: e.At.UTC(), Kind: e.Kind, Corrects: e.Corrects, Withdraws: e.Withdraw, Case: e.Case, Remark: e.Remark, Minutes: float64(e.Minutes)}
	if c := e.Closing; c != nil {
		out.Closing = closingJSON(*c)
	}
	if w := e.Work; w != nil {
		out.Work = &apiWork{w.Kind, w.Stage, w.Key, w.With, w.Back, ""}
	}
	if p := e.Opening; p != nil {
		out.Opening = &apiOpening{p.Opening, p.Closed}
	}
	out.apiLineUpEntry = lineUpEntry(e)
	out.Photograph = photographJSON(e.Photograph)
	if c := e.Check; c != nil {
		out.Check = &apiCheck{c.Item, c.Function, c.Key, c.Outcome, c.Symptom, string(c.Provoked), c.Fault}
	}
	if r := e.Reading; r != nil {
		out.Reading = &apiReading{r.TestPoint, r.Key, r.Value, r.Unit, r.ToneHz, r.Instrument, r.Session, r.Setting, string(r.Provoked), nil}
	}
	if c := e.Capture; c != nil {
		out.Capture = &apiCapture{c.File, c.SHA256, c.Bytes, c.Tape, c.TapeSHA, c.Programme, c.ProgrammeSHA, c.Interface, c.InterfaceSHA, c.WhileRecording,
			c.Function, list(c.Tracks), c.Report}
	}
	return out
}

func viewJSON(v *job.View) apiView {
	out := apiView{Job: jobJSON(v.Job), Entries: []apiEntry{}, Sheet: []apiItem{}, Functions: []apiFunction{}, Open: list(v.Open), Case: v.Case, Swaps: []apiWork{}}
	for _, w := range v.Swaps {
		out.Swaps = append(out.Swaps, apiWork{w.Kind, w.Stage, w.Key, w.With, w.Back, w.Part(v.Def)})
	}
	for _, e := range v.Entries {
		a := entryJSON(e)
		if by := v.CorrectedBy(e.Seq); by != nil {
			a.CorrectedBy = by.Seq
		}
		if e.Reading != nil {
			a.Reading.CannotTell = v.CannotTell(*e.Reading)
		}
		if e.Work != nil {
			a.Work.Part = e.Work.Part(v.Def)
		}
		out.Entries = append(out.Entries, a)
	}
	for _, it := range v.Sheet {
		out.Sheet = append(out.Sheet, apiItem{it.Item, it.Name, it.Kind, it.Board, it.Try, float64(it.Minutes), list(it.Cautions), seqOf(it.Latest)})
	}
	for _, f := range v.Functions {
		out.Functions = append(out.Functions, apiFunction{f.Function, f.Name, f.Key, float64(f.Minutes), seqOf(f.Latest)})
	}
	return out
}

func seqOf(e *job.Entry) int64 {
	if e == nil {
		return 0
	}
	return e.Seq
}

// list is never null in JSON.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

type apiVerdict struct {
	Sentences    []string         `json:"sentences"`
	Explanations []apiExplanation `json:"explanations"`
	Stages       []apiStage       `json:"stages"`
	Next         []apiAction      `json:"next"`
	Doubts       []apiDoubt       `json:"doubts"`
	OutsideMass  float64          `json:"outside_mass"`
	PFaultFree   float64          `json:"p_fault_free"`
	WrongFix     float64          `json:"wrong_fix"`
}

type apiExplanation struct {
	Faults []apiFault `json:"faults"`
	P      float64    `json:"p"`
}

type apiFault struct {
	Stage string `json:"stage"`
	Key   string `json:"key,omitempty"`
	Part  string `json:"part"`
	Mode  string `json:"mode"`
	Cause string `json:"cause,omitempty"`
}

type apiStage struct {
	Stage     string       `json:"stage"`
	Key       string       `json:"key,omitempty"`
	Part      string       `json:"part"`
	Name      string       `json:"name"`
	Board     string       `json:"board"`
	Status    string       `json:"status"`
	P         float64      `json:"p"`
	Modes     []apiMode    `json:"modes"`
	ClearedBy []apiBecause `json:"cleared_by"`
	AccusedBy []apiBecause `json:"accused_by"`
}

type apiMode struct {
	Mode  string  `json:"mode"`
	Cause string  `json:"cause,omitempty"`
	P     float64 `json:"p"`
}

type apiBecause struct {
	Ref  string  `json:"ref"`
	Text string  `json:"text"`
	Bits float64 `json:"bits"`
}

type apiDoubt struct {
	Ref  string  `json:"ref"`
	P    float64 `json:"p"`
	Text string  `json:"text"`
}

type apiAction struct {
	Kind      string   `json:"kind"`
	Text      string   `json:"text"`
	Function  string   `json:"function,omitempty"`
	TestPoint string   `json:"test_point,omitempty"`
	Key       string   `json:"key,omitempty"`
	ToneHz    float64  `json:"tone_hz,omitempty"`
	Siblings  []string `json:"siblings"`
	Where     string   `json:"where,omitempty"`
	Opening   string   `json:"opening,omitempty"`
	Expect    string   `json:"expect,omitempty"`
	Minutes   float64  `json:"minutes"`
	GainBits  float64  `json:"gain_bits"`
	Why       string   `json:"why,omitempty"`
	Cautions  []string `json:"cautions"`
}

func verdictJSON(v *diagnosis.Verdict) apiVerdict {
	out := apiVerdict{Sentences: list(v.Sentences), Explanations: []apiExplanation{}, Stages: []apiStage{}, Next: []apiAction{}, Doubts: []apiDoubt{},
		OutsideMass: v.OutsideMass, PFaultFree: v.PFaultFree, WrongFix: v.WrongFix}
	for _, x := range v.Explanations {
		e := apiExplanation{Faults: []apiFault{}, P: x.P}
		for _, f := range x.Faults {
			e.Faults = append(e.Faults, apiFault{f.Stage, f.Key, f.Part, string(f.Mode), f.Cause})
		}
		out.Explanations = append(out.Explanations, e)
	}
	for _, s := range v.Stages {
		st := apiStage{s.Stage, s.Key, s.Part, s.Name, s.Board, string(s.Status), s.P, []apiMode{}, because(s.ClearedBy), because(s.AccusedBy)}
		for _, m := range s.Modes {
			st.Modes = append(st.Modes, apiMode{string(m.Mode), m.Cause, m.P})
		}
		out.Stages = append(out.Stages, st)
	}
	for _, a := range v.Next {
		out.Next = append(out.Next, apiAction{a.Kind, a.Text, a.Function, a.TestPoint, a.Key, a.ToneHz, list(a.Siblings), a.Where, a.Opening, a.Expect,
			float64(a.Minutes), a.GainBits, a.Why, list(a.Cautions)})
	}
	for _, d := range v.Doubts {
		out.Doubts = append(out.Doubts, apiDoubt{d.Ref, d.P, d.Text})
	}
	return out
}

func because(in []diagnosis.Because) []apiBecause {
	out := []apiBecause{}
	for _, b := range in {
		out = append(out, apiBecause{b.Ref, b.Text, b.Bits})
	}
	return out
}

// apiProblem is an error as RFC 9457 writes it, with what to do and what was kept.
type apiProblem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
	Field  string `json:"field,omitempty"`
	Hint   string `json:"hint,omitempty"`
	Kept   string `json:"kept,omitempty"`
}

// What the API takes.

type newJobJSON struct {
	Definition string `json:"definition"`
	Serial     string `json:"serial"`
	Owner      string `json:"owner"`
	Claim      string `json:"claim"`
	Case       string `json:"case"`
}

type newCheckJSON struct {
	apiCheck
	Case    string  `json:"case"`
	Remark  string  `json:"remark"`
	Minutes float64 `json:"minutes"`
}

type newReadingJSON struct {
	apiReading
	Value   *float64 `json:"value"` // a missing value is not zero
	Case    string   `json:"case"`
	Remark  string   `json:"remark"`
	Minutes float64  `json:"minutes"`
}

type newProgrammeJSON struct {
	Tracks      int      `json:"tracks"`
	SpeedCmS    float64  `json:"speed_cm_s"`
	AtOnce      int      `json:"tracks_at_once"`
	ReferenceHz float64  `json:"reference_hz"`
	Kinds       []string `json:"kinds"`
	Name        string   `json:"name"`
}

type newNoteJSON struct {
	Text    string  `json:"text"`
	Case    string  `json:"case"`
	Minutes float64 `json:"minutes"`
}

type newWorkJSON struct {
	apiWork
	Case    string  `json:"case"`
	Remark  string  `json:"remark"`
	Minutes float64 `json:"minutes"`
}

type newOpeningJSON struct {
	apiOpening
	Remark  string  `json:"remark"`
	Minutes float64 `json:"minutes"`
}

type withdrawalJSON struct {
	Remark string `json:"remark"`
}

type correctionJSON struct {
	Check   *apiCheck       `json:"check"`
	Reading json.RawMessage `json:"reading"`
	Work    *apiWork        `json:"work"`
	Opening *apiOpening     `json:"opening"`

	Photograph *correctPhotographJSON `json:"photograph"`
	Minutes    float64                `json:"minutes"`
	Text       string                 `json:"text"`
	Case       string                 `json:"case"`
	Remark     string                 `json:"remark"`
}
