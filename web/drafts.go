package web

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"

	"headstack/job"
)

// draftBench is what definitions in the making need of the domain.
type draftBench interface {
	Drafts(ctx context.Context) ([]job.Draft, error)
	Draft(ctx context.Context, id string) (job.Draft, error)
	KeepDraft(ctx context.Context, d job.Draft) (job.Draft, error)
	DropDraft(ctx context.Context, id string) (job.Draft, error)
	ReturnDraft(ctx context.Context, id string) (job.Draft, error)
}

// draftPages are the addresses of drafts that are kept.
func (s *server) draftPages(page route) {
	page("GET /library/drafts/{draft}", s.draftPage)
	page("POST /library/drafts/{draft}", s.define)
	page("POST /library/drafts/{draft}/removal", s.dropDraft)
	page("POST /library/drafts/{draft}/return", s.returnDraft)
}

func (s *server) draftPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.bench.Draft(r.Context(), r.PathValue("draft"))
	if err != nil {
		return err
	}
	return s.showDefinition(w, r, &defineEdit{item: -1, draft: d})
}

// keepDraft keeps the text of an edit where it differs from what is kept or was begun with.
// Where that fails the page still has it and says so.
func (s *server) keepDraft(r *http.Request, e *defineEdit) {
	was := e.draft
	if was.ID == "" {
		if begun, err := s.begunWith(r.Context(), was.Definition); err == nil && e.text == normalText(begun) {
			return // nothing was written yet
		}
	} else {
		if d, err := s.bench.Draft(r.Context(), was.ID); err == nil && d.SHA == was.SHA && normalText(d.Text) == e.text {
			e.draft = d
			return
		}
	}
	was.Text = e.text
	d, err := s.bench.KeepDraft(r.Context(), was)
	if err != nil {
		p, _ := problemOf(err)
		e.problem = &problem{Title: "The draft could not be kept on the bench", What: cmp.Or(p.What, p.Title),
			Hint: "Take it as a file before this page is closed, then look after the folder of the bench.", Kept: "The draft stands in this page."}
		return
	}
	e.draft = d
	if was.ID != "" && d.ID != was.ID {
		e.done = joinSentences(e.done, "The draft "+was.ID+" was changed or thrown away elsewhere since this page came; what stands here is kept beside it as "+d.ID+".")
	}
}

func joinSentences(a, b string) string {
	if a == "" {
		return b
	}
	return a + " " + b
}

// draftIsSaved takes a draft that became a definition off the list. That it did not is no
// reason to tell a person that saving failed.
func (s *server) draftIsSaved(r *http.Request, e *defineEdit) {
	if e.draft.ID == "" {
		return
	}
	if _, err := s.bench.DropDraft(r.Context(), e.draft.ID); err != nil {
		s.opt.Log.Error("a saved draft stays on the list", "draft", e.draft.ID, "err", err)
	}
}

// draftsOf are the drafts of one definition; of "" those of new recorders.
func (s *server) draftsOf(ctx context.Context, definition string) ([]job.Draft, error) {
	list, err := s.bench.Drafts(ctx)
	return slices.DeleteFunc(list, func(d job.Draft) bool { return d.Definition != definition }), err
}

func (s *server) dropDraft(w http.ResponseWriter, r *http.Request) error {
	d, err := s.bench.DropDraft(r.Context(), r.PathValue("draft"))
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/library?dropped="+url.QueryEscape(d.ID)+"#recorders", http.StatusSeeOther)
	return nil
}

func (s *server) returnDraft(w http.ResponseWriter, r *http.Request) error {
	d, err := s.bench.ReturnDraft(r.Context(), r.PathValue("draft"))
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/library/drafts/"+url.PathEscape(d.ID), http.StatusSeeOther)
	return nil
}
