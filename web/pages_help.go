package web

import (
	"net/http"
	"slices"
	"strings"

	"headstack/doc"
	"headstack/help"
	"headstack/job"
	"headstack/machine"
)

func (s *server) helpPages(page func(pattern string, h func(w http.ResponseWriter, r *http.Request) error)) {
	page("GET /help", s.helpPage)
	page("GET /help/{id}", s.helpPage)
	page("GET /words", s.wordsPage)
}

type helpModel struct {
	base
	Entries  []help.Entry
	One      *help.Entry
	Cautions []helpCaution // what standard caution leads to the one
}

type helpCaution struct{ Name, Text string }

func (s *server) helpPage(w http.ResponseWriter, r *http.Request) error {
	m := helpModel{base: base{Title: "Explained", Here: "help", Back: "/help"}, Entries: help.Entries()}
	if id := r.PathValue("id"); id != "" {
		e, ok := help.ByID(id)
		if !ok {
			return &job.NotFoundError{What: "explanation", ID: id}
		}
		m.One, m.Title = &e, e.Title
		for _, n := range e.Of {
			if name, ok := strings.CutPrefix(n, "caution: "); ok {
				text, _ := machine.StandardCaution(name)
				m.Cautions = append(m.Cautions, helpCaution{name, text})
			}
		}
	}
	return render(w, http.StatusOK, "help", m)
}

// helpOf is the id of what explains a measure or a test; empty: nothing does.
func helpOf(name string) string {
	e, _ := help.Of(name)
	return e.ID
}

// helpOfCaution is the id of what explains a caution, by its sentence; empty for one that
// a definition wrote itself.
func helpOfCaution(text string) string { return cautionHelp[text] }

var cautionHelp = func() map[string]string {
	out := map[string]string{}
	for _, name := range machine.StandardCautions() {
		text, _ := machine.StandardCaution(name)
		out[text] = helpOf("caution: " + name)
	}
	return out
}()

type wordsModel struct {
	base
	Intro []string
	Words []glossaryWord
}

type glossaryWord struct{ Word, Meaning, ID string }

func (s *server) wordsPage(w http.ResponseWriter, _ *http.Request) error {
	m := wordsModel{base: base{Title: "Words", Here: "words", Back: "/words"}}
	m.Intro, m.Words = glossary()
	return render(w, http.StatusOK, "words", m)
}

// glossary reads the document: paragraphs before the table, then its rows.
func glossary() (intro []string, words []glossaryWord) {
	for _, part := range strings.Split(doc.Glossary, "\n\n") {
		part = strings.TrimSpace(part)
		if !strings.HasPrefix(part, "|") {
			if part != "" && !strings.HasPrefix(part, "#") {
				intro = append(intro, strings.ReplaceAll(part, "\n", " "))
			}
			continue
		}
		for _, line := range strings.Split(part, "\n")[2:] {
			cells := strings.SplitN(strings.Trim(line, "| "), " | ", 2)
			if len(cells) == 2 {
				words = append(words, glossaryWord{cells[0], strings.TrimSpace(cells[1]), anchor(cells[0])})
			}
		}
	}
	slices.SortStableFunc(words, func(a, b glossaryWord) int { return strings.Compare(a.ID, b.ID) })
	return intro, words
}

// anchor is a word as the id of its place on a page.
func anchor(word string) string {
	return "w-" + strings.Trim(strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		}
		return '-'
	}, word), "-")
}
