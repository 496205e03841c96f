package lineup

import (
	"fmt"

	"headstack/measure"
)

// Proof is the closing proof: what was found, what is left, and what stands between the
// recorder and "done".
type Proof struct {
	// Rows are one for each measure, track and speed, in the order of the line-up.
	Rows []ProofRow `json:"rows"`
	// Notes are rows that rest on a target which is itself in doubt: measuring again does
	// not help, so they do not block.
	Notes []string `json:"notes,omitempty"`
	// Blocks are what keeps the job from being done; empty when it is.
	Blocks   []Block    `json:"blocks,omitempty"`
	SignOffs []SignOff  `json:"sign_offs,omitempty"`
	Soak     *SoakState `json:"soak,omitempty"`
	Done     bool       `json:"done"`
}

// ProofRow is one measure of the proof.
type ProofRow struct {
	Step     string  `json:"step"`
	Kind     Kind    `json:"kind"`
	Title    string  `json:"title"`
	Measure  string  `json:"measure"`
	Track    int     `json:"track,omitempty"`
	SpeedCmS float64 `json:"speed_cm_s"`
	ToneHz   float64 `json:"tone_hz,omitempty"`
	// AsFound is the first reading, taken before anything was touched; AsLeft the last
	// one that counts. nil where there is none.
	AsFound *measure.Result `json:"as_found,omitempty"`
	AsLeft  *measure.Result `json:"as_left,omitempty"`
	Target  Target          `json:"target"`
	// Found and Left hold them against the target.
	Found Judgement `json:"found"`
	Left  Judgement `json:"left"`
	// Verdict is that of what is left; not measured too where something moved since.
	Verdict Verdict  `json:"verdict"`
	State   State    `json:"state"`
	Why     string   `json:"why,omitempty"`
	Signed  *SignOff `json:"signed,omitempty"`
}

// Block is a step that keeps the job from being done, and why.
type Block struct {
	Step string `json:"step"`
	Why  string `json:"why"`
}

// Proof computes the closing proof from a log. Readings are held against the target that
// was recorded with them, or else against that of the setup. Anything stale, out, not
// measured, or in doubt by its reading blocks, and so does an unfinished soak where a plan is given;
// a sign-off with a reason lifts the block of its step until something moves it again.
func (o *Order) Proof(log []Event, set Setup, soak *SoakPlan) *Proof {
	st := o.Status(log)
	p := &Proof{}
	for i, x := range st.Steps {
		s := &o.Steps[i]
		if x.Signed != nil {
			p.SignOffs = append(p.SignOffs, *x.Signed)
		}
		if s.Kind.Proof() {
			row := o.proofRow(s, x, st, log, set)
			p.Rows = append(p.Rows, row)
			switch {
			case row.Signed != nil || row.State == StateDone && row.Verdict == In:
			case row.State == StateDone && row.Verdict == Doubt && row.Left.Reading == In:
				p.Notes = append(p.Notes, fmt.Sprintf("%s: %s", s.label(), row.Why))
			default:
				p.Blocks = append(p.Blocks, Block{s.ID, fmt.Sprintf("%s: %s", s.label(), said(row.Why, string(row.Verdict)))})
			}
			continue
		}
		if x.State != StateDone && x.State != StateNotNeeded {
			p.Blocks = append(p.Blocks, Block{s.ID, fmt.Sprintf("%s is %s%s", s.label(), x.State, colon(x.Why))})
		}
	}
	if soak != nil {
		state := soak.State(log)
		p.Soak = &state
		if !state.Done {
			p.Blocks = append(p.Blocks, Block{"soak", said(state.Why, "the soak is not finished")})
		}
	}
	p.Done = len(p.Blocks) == 0
	return p
}

func colon(s string) string {
	if s == "" {
		return ""
	}
	return ": " + s
}

func (o *Order) proofRow(s *Step, x Standing, st *Status, log []Event, set Setup) ProofRow {
	row := ProofRow{Step: s.ID, Kind: s.Kind, Title: s.Name, Measure: s.Measure, SpeedCmS: s.SpeedCmS, ToneHz: s.Source.ToneHz, State: x.State, Signed: x.Signed, Target: o.Target(s.ID, set)}
	if len(s.Tracks) == 1 {
		row.Track = s.Tracks[0]
	}
	found, left := row.Target, row.Target
	if x.Found >= 0 && (st.Touched < 0 || x.Found < st.Touched) {
		row.AsFound = log[x.Found].Result
		if t := log[x.Found].Target; t != nil {
			found = *t
		}
	}
	if x.Last >= 0 {
		row.AsLeft = log[x.Last].Result
		if t := log[x.Last].Target; t != nil {
			left, row.Target = *t, *t
		}
	}
	row.Found, row.Left = Judge(&found, row.AsFound), Judge(&left, row.AsLeft)
	row.Verdict, row.Why = row.Left.Verdict, row.Left.Why
	switch {
	case x.State == StateStale:
		row.Verdict, row.Why = NotMeasured, "measured before something moved: "+x.Why
	case x.State != StateDone && x.Judgement != nil && x.Judgement.Verdict == NotMeasured:
		row.Verdict, row.Why = NotMeasured, x.Judgement.Why
	case x.State != StateDone && row.AsLeft == nil:
		row.Why = said(x.Why, "not measured")
	}
	if row.Signed != nil {
		row.Why = "signed off: " + row.Signed.Reason
	}
	return row
}
