package export

import (
	"bytes"
	"cmp"
	_ "embed"
	"html/template"
	"io"
	"time"

	"headstack/job"
)

//go:embed index.html
var indexPage string

//go:embed readme.txt
var readmeText []byte

var indexTemplate = template.Must(template.New("index").Funcs(template.FuncMap{
	"counted": func(n int) string { return counted(n, "row", "rows") },
	"date":    func(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") },
}).Parse(indexPage))

// index is what the page index.html leads to.
type index struct {
	Content   Content
	Held      string // Content in words
	Jobs      []indexJob
	Tables    []indexTable
	Files     []indexFile
	Documents []indexDocument
	Lost      []Lost
}

type indexJob struct {
	job.Summary
	Entries  int
	JSON     string
	Report   string // "" where there is none; NoReport says why, where one was wanted
	NoReport string
}

type indexTable struct {
	Name, File string
	Rows       int
}

type indexFile struct {
	File, Name string
	What       []string
	Bytes      int64
}

type indexDocument struct {
	job.Listing
	File string
}

func (w *writer) readme() error { return w.addBytes(readmeName, readmeText) }

func (w *writer) writeIndex() error {
	x := &w.index
	x.Content, x.Held, x.Lost = w.out.Content, w.out.Content.held(), w.out.Lost
	for _, t := range w.tables.list {
		if t.rows > 0 {
			x.Tables = append(x.Tables, indexTable{t.name, t.file(), t.rows})
		}
	}
	for i, f := range x.Files { // by then all uses are known
		uses := w.uses[f.Name]
		for _, u := range uses {
			x.Files[i].What = append(x.Files[i].What, u.What)
		}
		if len(uses) > 0 {
			x.Files[i].Name = cmp.Or(uses[0].Name, f.Name)
		} else {
			x.Files[i].What = []string{"nothing in the record names it"}
		}
	}
	for _, l := range w.listings {
		l.Name = cmp.Or(l.Name, l.ID, l.SHA256)
		x.Documents = append(x.Documents, indexDocument{l, w.documents[l.SHA256]})
	}
	var b bytes.Buffer
	if err := indexTemplate.Execute(&b, x); err != nil {
		return err
	}
	return w.add(indexName, func(f io.Writer) error {
		_, err := b.WriteTo(f)
		return err
	})
}
