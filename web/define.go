package web

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/machine"
)

// definePages are the pages on which a definition is written: from nothing, as a new
// version of one that the bench has, or on from a draft.
func (s *server) definePages(page func(pattern string, h func(w http.ResponseWriter, r *http.Request) error)) {
	page("GET /library/definitions/new", s.definePage)
	page("POST /library/definitions/new", s.define)
	page("GET /library/definitions/{definition}/edit", s.definePage)
	page("POST /library/definitions/{definition}/edit", s.define)
	s.draftPages(page)
}

// blankDefinition is what a definition starts from; the forms offer the rest.
const blankDefinition = `# A recorder definition. One track is described; what repeats says over which set.
machine: 1
openings: []
boards: []
connectors: []
stages: []
functions: []
test_points: []
trims: []
controls: []
`

func (s *server) definePage(w http.ResponseWriter, r *http.Request) error {
	e := defineEdit{item: -1, draft: job.Draft{Definition: r.PathValue("definition")}}
	var err error
	if e.draft.Text, err = s.begunWith(r.Context(), e.draft.Definition); err != nil {
		return err
	}
	return s.showDefinition(w, r, &e)
}

// begunWith is the text that a new version of a definition starts from; of "" the blank one.
func (s *server) begunWith(ctx context.Context, definition string) (string, error) {
	if definition == "" {
		return blankDefinition, nil
	}
	yaml, _, err := s.bench.DefinitionYAML(ctx, definition)
	return string(yaml), err
}

// showDefinition shows a draft on which nothing was done yet.
func (s *server) showDefinition(w http.ResponseWriter, r *http.Request, e *defineEdit) error {
	e.step, e.text = defineStepOf(r.URL.Query().Get("step")), normalText(e.draft.Text)
	m, err := s.defineModel(r, e)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "define", m)
}

// define changes the draft that came with the form as its button says, and keeps it on the
// bench. The whole draft goes to and fro with the form, so that a page that was left open
// still has what it shows.
func (s *server) define(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	e := defineEdit{step: defineStepOf(r.PostForm.Get("step")), item: -1, form: r.PostForm, text: normalText(r.PostForm.Get("yaml")),
		draft: job.Draft{ID: r.PathValue("draft"), SHA: r.PostForm.Get("seen"), Definition: cmp.Or(r.PathValue("definition"), r.PostForm.Get("of"))}}
	if i, err := strconv.Atoi(r.PostForm.Get("item")); err == nil && i >= 0 {
		e.item = i
	}
	op, arg, _ := strings.Cut(r.PostForm.Get("do"), ":")
	e.change(op, arg)
	s.keepDraft(r, &e)
	if e.problem == nil {
		switch op {
		case "save":
			info, err := s.bench.AddDefinition(r.Context(), "draft.yaml", []byte(e.text))
			if err == nil {
				s.draftIsSaved(r, &e)
				http.Redirect(w, r, "/library?added="+url.QueryEscape(info.Name), http.StatusSeeOther)
				return nil
			}
			e.refuseSave(err)
		case "file":
			w.Header().Set("Content-Type", "application/yaml; charset=utf-8")
			w.Header().Set("Content-Disposition", `attachment; filename="recorder.yaml"`)
			_, _ = w.Write([]byte(e.text)) // the reader has gone: nobody is left to tell
			return nil
		}
	}
	m, err := s.defineModel(r, &e)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if e.problem != nil {
		status = http.StatusUnprocessableEntity
	}
	return render(w, status, "define", m)
}

// defineEdit is one change to a draft.
type defineEdit struct {
	step    *defineStep
	item    int            // that the form is about; -1: a new one
	form    url.Values     // as typed; nil: nothing was
	text    string         // the draft
	tree    *machine.Draft // the text as it can be changed part by part
	draft   job.Draft      // as it is kept on the bench; without ID: it is not yet
	fresh   bool           // the form shows the draft, not what was typed
	focus   bool           // the form takes the focus
	done    string
	shows   string // the function whose path is drawn; empty: the one that was
	problem *problem
	wrong   map[string]string // by the key of the field
}

// normalText is text as a file has it: a browser sends line ends of its own.
func normalText(s string) string {
	s = strings.ReplaceAll(s, "\r\n", "\n")
	if !strings.HasSuffix(s, "\n") {
		s += "\n"
	}
	return s
}

func (e *defineEdit) refuse(title, what, hint string) {
	e.problem = &problem{Title: title, What: what, Hint: hint, Kept: "The draft is as it was."}
}

func (e *defineEdit) refuseSave(err error) {
	if list, ok := errors.AsType[machine.ErrorList](err); ok {
		e.problem = &problem{Title: "Not saved yet: " + plural(len(list), "thing is wrong or missing", "things are wrong or missing"),
			Hint: "They stand under “check”, each with the way to it.", Kept: "The draft is kept."}
		return
	}
	e.problem, _ = problemOf(err)
}

// change does what a button says. What was typed into the form before another button was
// pressed is put in first, so that going elsewhere loses nothing.
func (e *defineEdit) change(op, arg string) {
	d, err := machine.ParseDraft("draft.yaml", []byte(e.text))
	if err != nil {
		first := err
		if list, ok := errors.AsType[machine.ErrorList](err); ok && len(list) > 0 {
			first = list[0]
		}
		if op == "file" {
			return
		}
		e.refuse("The text is not YAML, so no form can change it", first.Error(), "Correct it in the text below.")
		e.wrong = map[string]string{"yaml": first.Error()}
		return
	}
	e.tree = d
	typed := e.step.digest(posted(e.step, e.form)) != e.form.Get("was")
	if op == "put" || typed && op != "clear" && op != "show" && op != "preview" {
		if !e.put(typed) {
			return
		}
	} else if op == "preview" || op == "show" {
		e.focus = op == "show"
		return
	}
	e.fresh, e.focus = true, true
	switch op {
	case "step":
		e.step, e.item = defineStepOf(arg), -1
	case "go":
		id, at, _ := strings.Cut(arg, ":")
		e.step, e.item = defineStepOf(id), -1
		e.edit(at)
	case "edit":
		e.edit(arg)
	case "remove", "up", "down":
		e.rearrange(op, arg)
	case "clear":
		e.item = -1
	case "save", "file", "text":
		e.focus = false
	}
}

func (e *defineEdit) edit(arg string) {
	if i, err := strconv.Atoi(arg); err == nil && i >= 0 && i < len(e.step.items(e.tree)) {
		e.item = i
		if e.step.List == "functions" {
			e.shows = shownValue(e.tree.Items("functions")[i].Get("id"), fieldText)
		}
	}
}

// put puts what was typed into the draft; false: it was refused.
func (e *defineEdit) put(typed bool) bool {
	st := e.step
	items := st.items(e.tree)
	if st.List == "" {
		e.item = 0
	}
	if e.item >= len(items) {
		e.item = -1
	}
	item := machine.Fields{}
	if e.item >= 0 {
		item = items[e.item]
	} else if !typed {
		e.refuse("Nothing was typed", "", "Fill in the form, or go on to another step.")
		return false
	}
	item, e.wrong = st.filled(item, e.form)
	if len(e.wrong) > 0 {
		for _, f := range st.Fields {
			if w, ok := e.wrong[f.Key]; ok {
				e.refuse("Not put in: "+f.Label, w, "Change it and put it in again.")
				break
			}
		}
		return false
	}
	at := e.item
	if at < 0 {
		at = len(items)
	}
	next, err := st.put(e.tree, at, item)
	if err != nil {
		e.refuse("Not put in", err.Error(), "Look at the text below.")
		return false
	}
	e.tree, e.text, e.item = next, string(next.Text()), -1
	e.done = "The fields are in the draft."
	if st.List == "functions" {
		e.shows = shownValue(item.Get("id"), fieldText)
	}
	if st.List != "" {
		e.done = titleOf(item, st) + " is in the draft." + makes(machine.Sketch(next.Text()), st, item)
	}
	if e.form.Get("do") == "put" && st.List != "" && len(errorsAt(next.Text(), st, at)) > 0 {
		e.item, e.done = at, e.done+" Something about it is still wrong: see the fields."
	}
	return true
}

func (e *defineEdit) rearrange(op, arg string) {
	i, err := strconv.Atoi(arg)
	var next *machine.Draft
	if err == nil {
		switch op {
		case "remove":
			next, err = e.step.remove(e.tree, i)
		case "up":
			next, err = e.step.move(e.tree, i, -1)
		case "down":
			next, err = e.step.move(e.tree, i, 1)
		}
	}
	if err != nil {
		e.refuse("Not changed", err.Error(), "Look at the text below.")
		return
	}
	e.tree, e.text, e.item = next, string(next.Text()), -1
	e.done = map[string]string{"remove": "Taken out of the draft.", "up": "Moved up.", "down": "Moved down."}[op]
}

// titleOf is what an item is called: its first field.
func titleOf(item machine.Fields, st *defineStep) string {
	for _, f := range st.Fields {
		if s := shownValue(valueAt(item, f.Key), f.Kind); s != "" {
			return st.One + " " + s
		}
	}
	return st.One
}

// inBench reports whether the bench has a definition of an id.
func (s *server) inBench(ctx context.Context, id string) (bool, error) {
	defs, err := s.bench.Definitions(ctx)
	for _, d := range defs {
		if d.ID == id {
			return true, err
		}
	}
	return false, err
}
