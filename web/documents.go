package web

import (
	"bytes"
	"errors"
	"io"
	"net/http"

	"headstack/job"
)

// maxDocument bounds a definition or test-tape file, in bytes.
const maxDocument = 4 << 20

// readDocument takes the file of a multipart form, or the body as it is.
func readDocument(w http.ResponseWriter, r *http.Request) (name string, data []byte, err error) {
	r.Body = http.MaxBytesReader(w, r.Body, maxDocument+maxForm)
	mr, err := r.MultipartReader()
	if errors.Is(err, http.ErrNotMultipart) {
		data, err = io.ReadAll(r.Body)
		if name = r.URL.Query().Get("name"); name == "" {
			name = "body"
		}
		return name, data, err
	}
	if err != nil {
		return "", nil, formError(err)
	}
	for {
		p, err := mr.NextPart()
		if err == io.EOF {
			return "", nil, &job.InvalidError{Field: "file", Problem: "was not chosen"}
		}
		if err != nil {
			return "", nil, formError(err)
		}
		if p.FormName() != "file" || p.FileName() == "" {
			continue
		}
		data, err = io.ReadAll(p)
		return p.FileName(), data, err
	}
}

// documentProblem explains a refused file: what a loader says about line and
// column is the message itself.
func documentProblem(err error) (*problem, int) {
	p, status := problemOf(err)
	if status == http.StatusInternalServerError {
		return &problem{Title: "The file was not added", What: err.Error(), Hint: "Correct it at the place named and add it again.", Kept: "Nothing was kept of it.", Field: "file"}, http.StatusUnprocessableEntity
	}
	return p, status
}

// text reads at most n bytes of a form part.
func text(r io.Reader, n int64) (string, error) {
	var b bytes.Buffer
	m, err := io.Copy(&b, io.LimitReader(r, n+1))
	if err != nil {
		return "", err
	}
	if m > n {
		return "", &http.MaxBytesError{Limit: n}
	}
	return b.String(), nil
}
