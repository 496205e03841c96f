package job

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/measure"
)

// ParseOpening finds an opening by its id or its name; case does not matter. The error
// is an [InvalidError] with the nearest ids.
func ParseOpening(def *machine.Definition, s string) (id string, err error) {
	s = strings.TrimSpace(s)
	var ids []string
	for _, o := range def.Openings {
		if strings.EqualFold(o.ID, s) || strings.EqualFold(o.Name, s) {
			return o.ID, nil
		}
		ids = append(ids, o.ID)
	}
	return "", &InvalidError{Field: "opening", Value: shorten(s), Problem: "is not in the definition", Nearest: nearest(s, ids)}
}

func checkOpening(def *machine.Definition, o *Opening) error {
	id, err := ParseOpening(def, o.Opening)
	if err == nil {
		o.Opening = id
	}
	return err
}

// Text says what was done: "opened lid", "closed lid".
func (o Opening) Text() string {
	if o.Closed {
		return "closed " + o.Opening
	}
	return "opened " + o.Opening
}

// standing is the state in which a record leaves the recorder.
type standing struct {
	def   *machine.Definition
	open  []string // outermost first
	sure  []string // those of them that were recorded, and do not only follow
	said  bool     // an opening was recorded, so that open is more than a guess
	state measure.CaseState
	swaps []Work
}

// standingOf goes through what counts, in the order in which it was observed. Openings
// are recorded, or follow from what else was: a reading taken with the case open was
// taken with the test point's board opened, and where the case is closed nothing that
// opens it is open.
func standingOf(def *machine.Definition, came measure.CaseState, entries []Entry) *standing {
	s := &standing{def: def, state: came}
	first := observed(entries)
	current := Current(entries)
	slices.SortStableFunc(current, func(a, b Entry) int { return int(first[a.Seq] - first[b.Seq]) })
	for _, e := range current {
		s.take(e)
	}
	return s
}

func (s *standing) take(e Entry) {
	if o := e.Opening; o != nil {
		s.said = true
		if o.Closed {
			s.close(o.Opening)
		} else {
			s.reach(o.Opening)
			for _, id := range s.open {
				if leadsTo(s.def, id, o.Opening) {
					s.sure = append(s.sure, id)
				}
			}
		}
		s.state = s.caseOf()
		return
	}
	if w := e.Work; w != nil {
		s.work(*w)
	}
	if e.Kind == KindNote || e.Case == measure.CaseUnknown {
		return
	}
	s.state = e.Case
	if e.Case == measure.CaseClosed {
		s.open = slices.DeleteFunc(s.open, func(id string) bool {
			o, _ := s.def.Opening(id)
			return o.Case != string(measure.CaseClosed)
		})
		return
	}
	s.reach(openingFor(s.def, e))
}

// openingFor is the opening at which the place of a reading, work or turn is reached; empty
// where none is needed.
func openingFor(def *machine.Definition, e Entry) string {
	var board string
	switch {
	case e.Reading != nil:
		if tp, ok := def.TestPoint(e.Reading.TestPoint); ok {
			board = tp.Board
		}
	case e.Work != nil:
		if st, ok := def.Stage(e.Work.Stage); ok {
			board = st.Board
		}
	case e.Turn != nil:
		if t := trimOf(def, e.Turn.Trim); t != nil {
			return t.Opening
		}
	}
	if b, ok := def.Board(board); ok {
		return b.Opening
	}
	return ""
}

// reach opens an opening and those that lead to it.
func (s *standing) reach(id string) {
	o, ok := s.def.Opening(id)
	if !ok || slices.Contains(s.open, id) {
		return
	}
	s.reach(o.From) // ends at the root: a definition with a loop does not load
	s.open = append(s.open, id)
}

// close puts an opening back, and first those that hang on it.
func (s *standing) close(id string) {
	s.open = slices.DeleteFunc(s.open, func(open string) bool { return leadsTo(s.def, id, open) })
}

// leadsTo tells whether id is opening itself or on the way to it.
func leadsTo(def *machine.Definition, id, opening string) bool {
	for {
		if opening == id {
			return true
		}
		o, ok := def.Opening(opening)
		if !ok {
			return false
		}
		opening = o.From
	}
}

// caseOf is the case state of the openings: that of the most open one.
func (s *standing) caseOf() measure.CaseState {
	order := []measure.CaseState{measure.CaseClosed, measure.CasePropped, measure.CaseOpen}
	most := 0
	for _, id := range s.open {
		o, _ := s.def.Opening(id)
		most = max(most, slices.Index(order, measure.CaseState(o.Case)))
	}
	return order[most]
}

func (s *standing) work(w Work) {
	if w.With == "" {
		return
	}
	s.swaps = slices.DeleteFunc(s.swaps, w.same)
	if !w.Back {
		s.swaps = append(s.swaps, w)
	}
}

// stand puts the state into the view.
func (v *View) stand(s *standing) { v.Open, v.Case, v.Swaps = s.open, s.state, s.swaps }

// openingsSaid tells whether openings were recorded, so that Case follows them.
func (v *View) openingsSaid() bool {
	return slices.ContainsFunc(v.Current, func(e Entry) bool { return e.Opening != nil })
}

// fit holds an entry against what is open and exchanged now, and fills in the case
// state where openings say it. What a correction replaces was fitted when it was made.
func (b *Bench) fit(ctx context.Context, def *machine.Definition, j Job, e *Entry) error {
	swap := e.Work != nil && e.Work.With != ""
	unsaid := e.Kind != KindNote && e.Case == measure.CaseUnknown
	if e.Corrects != 0 || e.Opening == nil && !swap && !unsaid {
		return nil
	}
	entries, err := b.rec.Entries(ctx, j.ID)
	if err != nil {
		return err
	}
	now := standingOf(def, j.Case, entries)
	if e.Opening != nil {
		return now.fitOpening(e)
	}
	if swap {
		if err := now.fitSwap(e.Work); err != nil {
			return err
		}
	}
	if unsaid && now.said {
		e.Case = now.state
	}
	return nil
}

func (s *standing) fitOpening(e *Entry) error {
	o := e.Opening
	switch {
	case o.Closed && !slices.Contains(s.open, o.Opening):
		return &InvalidError{Field: "opening", Value: o.Opening, Problem: "is not open", Nearest: s.open}
	case !o.Closed && slices.Contains(s.open, o.Opening) && slices.Contains(s.sure, o.Opening):
		return &InvalidError{Field: "opening", Value: o.Opening, Problem: "is open already"}
	}
	s.take(*e)
	e.Case = s.state
	return nil
}

// fitSwap brings an exchange back into the order of keys in which it was made.
func (s *standing) fitSwap(w *Work) error {
	i := slices.IndexFunc(s.swaps, w.same)
	switch {
	case w.Back && i < 0:
		var stand []string
		for _, o := range s.swaps {
			stand = append(stand, o.Part(s.def))
		}
		return &InvalidError{Field: "swap", Value: w.Part(s.def), Problem: "does not stand, so that it cannot be undone", Nearest: stand}
	case !w.Back && i >= 0:
		return &InvalidError{Field: "swap", Value: w.Part(s.def), Problem: fmt.Sprintf("stands already (%s); to undo it, record it as exchanged back", s.swaps[i].Part(s.def))}
	case w.Back:
		w.Key, w.With = s.swaps[i].Key, s.swaps[i].With
	}
	return nil
}
