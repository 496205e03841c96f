package job

import (
	"context"
	"fmt"

	"headstack/lineup"
	"headstack/trim"
)

// LineUp is where the line-up of a job stands. It is a pure function of the record and of
// the test tapes on the shelf: the same entries give the same again. What the open case
// adds is also told by other jobs of the definition. Levels are in dB,
// azimuth in arcminutes, intervals 95 %; what 0 dB is, each target says.
type LineUp struct {
	// Order is the order that this was made with, for its further questions.
	Order *lineup.Order `json:"-"`
	// Log are the events of the record, each with the Seq of its entry; several events of
	// one capture share it. Indexes in Standing and in Problems count in it.
	Log []lineup.Event `json:"-"`
	// Status is what the order says of the log.
	Status *lineup.Status `json:"-"`

	Steps []LineUpStep `json:"steps"` // one for each step, in the order of the line-up
	// Next are the steps that can be worked on now and are done together: the first one, and
	// those behind it that are of its kind, phase and speed. Empty when there is none.
	Next []string `json:"next"`
	// Turns are what to turn now, reckoned together, and what to read in place of it; read what
	// they moved, and look again. Steps of which nothing was read yet are not among them.
	Turns []LineUpTurn `json:"turns"`
	// MayPlay says that a good test tape may go on; Waits are the gates else.
	MayPlay bool     `json:"may_play_test_tape"`
	Waits   []string `json:"waits"`
	// Tapes are the test tapes of the recorder's speeds, and those that were played.
	Tapes []TapeUse `json:"tapes"`
	// Passes are the least passes of test tapes of a line-up from its beginning; Rounds
	// the tracks recorded together; Hearing how tracks reach the interface, as the captures
	// show, else a stereo pair.
	Passes  []lineup.TapePass `json:"passes"`
	Rounds  [][]int           `json:"rounds"`
	Hearing lineup.Hearing    `json:"hearing"`
	// Offsets are what the open case adds, one for each figure that was read both ways or
	// is read with the case open.
	Offsets []CaseOffset `json:"offsets"`
	// OutputDBFS is what the recorder's reference output gives at the interface; nil: not
	// recorded, and captured levels cannot be judged. See [ReferenceOutput].
	OutputDBFS *lineup.Amount `json:"output_dbfs,omitempty"`
	// Proof is the closing proof, with sign-offs and, where one was begun, the soak.
	Proof *lineup.Proof `json:"proof"`
	// Doubts are what readings say against each other or against what was entered as
	// turned, and Problems what does not fit the order, in words.
	Doubts   []string `json:"doubts"`
	Problems []string `json:"problems"`

	speeds []*speedBench // what package trim makes of the record
}

// LineUpStep is a step of the line-up as it stands.
type LineUpStep struct {
	lineup.Step
	Standing lineup.Standing `json:"standing"`
	// Target is what an instrument is to show, Captured what a capture is to: the terms
	// that measuring takes off are not in it. Captured is nil where no capture tells. Both
	// hold with the case as it is now.
	Target   lineup.Target  `json:"target"`
	Captured *lineup.Target `json:"captured,omitempty"`
	// Found and Last are the entries of the first reading and of the last that counted,
	// "capture 2"; Since that of the event which made the state. Empty where there is none.
	Found string `json:"found_ref,omitempty"`
	Last  string `json:"last_ref,omitempty"`
	Since string `json:"since_ref,omitempty"`
	// Read is the last reading that counted; nil where there is none.
	Read *LineUpFigure `json:"read,omitempty"`
	// Turn is what to do about its trim now; nil where nothing was read or there is no trim.
	Turn *LineUpTurn `json:"turn,omitempty"`
	// Staircase is what bias staircases say of its trim; nil where none was planned.
	Staircase *LineUpStaircase `json:"staircase,omitempty"`

	closed lineup.Target // of the closed recorder
}

// LineUpFigure is a value with its 95 % interval.
type LineUpFigure struct {
	Value float64 `json:"value"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
	Unit  string  `json:"unit"`
}

func figureOf(f trim.Figure) LineUpFigure { return LineUpFigure(f) }

// LineUpTurn is what to do about one trim or figure next.
type LineUpTurn struct {
	Step string `json:"step"`
	// Do is turn, read, fault or enough, as in package trim; enough only of a step that is
	// done or waits.
	Do   trim.Do `json:"do"`
	Trim string  `json:"trim,omitempty"` // machine.Trim id
	Key  string  `json:"key,omitempty"`
	Part string  `json:"part,omitempty"` // designator
	// By is how far to turn, clockwise positive, in Unit; Lo and Hi the 95 % interval of the
	// turn that would meet the target exactly.
	By   float64         `json:"by"`
	Lo   float64         `json:"lo"`
	Hi   float64         `json:"hi"`
	Unit trim.TravelUnit `json:"unit,omitempty"`
	// Now and After are how far off the target the figure is now, and what is to be expected
	// after the turn: reading less target, in the target's unit.
	Now   LineUpFigure `json:"now"`
	After LineUpFigure `json:"after"`
	// Chance is that of being inside the tolerance now, AfterChance that after the turn.
	Chance      float64  `json:"chance"`
	AfterChance float64  `json:"after_chance"`
	Text        string   `json:"text"`
	Cautions    []string `json:"cautions"`
}

// TapeUse is a test tape and how often it was played in this job.
type TapeUse struct {
	Name     string  `json:"name"`
	ID       string  `json:"id,omitempty"` // on the shelf; empty for one that is not there any more
	SpeedCmS float64 `json:"speed_cm_s"`
	Passes   int     `json:"passes"`
	// Fits says that the recorder has its speed.
	Fits bool `json:"fits"`
}

// CaseOffset is what the open case adds to a figure of this recorder: read open less
// read closed.
type CaseOffset struct {
	Figure   string  `json:"figure"` // "response at 10 kHz, track 3"
	Measure  string  `json:"measure"`
	Track    int     `json:"track,omitempty"`
	ToneHz   float64 `json:"tone_hz,omitempty"`
	SpeedCmS float64 `json:"speed_cm_s"`
	// Steps are those that are set to it.
	Steps []string `json:"steps"`
	// Closed and Open are what was read before anything was turned, as deviation from the
	// target; nil where it was not.
	Closed *LineUpFigure `json:"closed,omitempty"`
	Open   *LineUpFigure `json:"open,omitempty"`
	// Offset is to the next closing; Pairs how often it was read both ways at one setting. Of
	// none the interval is that of recorders as such, and wide.
	Offset LineUpFigure `json:"offset"`
	Pairs  int          `json:"pairs"`
	// Usable says that the figure can be set with the case open; Why, and Instead what helps
	// where it cannot.
	Usable  bool     `json:"usable"`
	Why     string   `json:"why"`
	Instead []string `json:"instead"`
}

// LineUp says where the line-up of a job stands, what is next and how far to turn. The
// view is the one that it is about. No list in it is nil. Errors: [NotFoundError],
// [NoLineUpError].
func (b *Bench) LineUp(ctx context.Context, jobID string) (*LineUp, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	shelf, err := b.tapesAtHand(ctx, v.Def, v.Current)
	if err != nil {
		return nil, nil, fmt.Errorf("line-up of %s: %w", jobID, err)
	}
	others, err := b.otherCases(ctx, v)
	if err != nil {
		return nil, nil, fmt.Errorf("line-up of %s: %w", jobID, err)
	}
	if shelf.stairs, err = b.staircases(ctx, v, shelf); err != nil {
		return nil, nil, fmt.Errorf("line-up of %s: %w", jobID, err)
	}
	l, err := newLineUp(v, shelf, others)
	if err != nil {
		return nil, nil, err
	}
	return l, v, nil
}

// NoLineUpError says that no order of a line-up can be made of a job's definition.
type NoLineUpError struct {
	Job, Definition string
	Err             error
}

func (e *NoLineUpError) Error() string {
	return fmt.Sprintf("%s has no line-up: definition %s: %v", e.Job, e.Definition, e.Err)
}

// Unwrap returns the reason alone.
func (e *NoLineUpError) Unwrap() error { return e.Err }

// Hint says what to do next.
func (e *NoLineUpError) Hint() string {
	return "headstack machine check says what the definition lacks; a line-up needs tracks and speeds"
}

// Step returns a step by its id.
func (l *LineUp) Step(id string) (*LineUpStep, bool) {
	for i := range l.Steps {
		if l.Steps[i].ID == id {
			return &l.Steps[i], true
		}
	}
	return nil, false
}

// Sheet lays the line-up out on pages for paper, for the tapes at hand and the way in
// which the tracks are heard. The error is lineup.ErrRounds.
func (l *LineUp) Sheet() (*lineup.Sheet, error) {
	return l.Order.Sheet(lineup.SheetOptions{Hearing: l.Hearing})
}
