package job_test

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
	"headstack/job/memory"
	"headstack/machine"
	"headstack/measure"
	"headstack/picture"
	"headstack/sim/board"
)

func pictureBench(t *testing.T, opt job.BenchOptions) (*job.Bench, *memory.Files) {
	t.Helper()
	files := &memory.Files{}
	return job.NewBench(&memory.Record{}, files, opt), files
}

// tapeBoard is the drawn board Tape of the built-in recorder as a file, and its places.
func tapeBoard(t *testing.T) ([]byte, []board.Place) {
	t.Helper()
	def, _ := machine.Builtin("hexastrand")
	img, places := board.Draw(def, "Tape")
	data, err := picture.Encode(img, picture.PNG)
	if err != nil {
		t.Fatal(err)
	}
	return data, places
}

func addBoard(t *testing.T, b *job.Bench) (job.Picture, []board.Place) {
	t.Helper()
	data, places := tapeBoard(t)
	p, err := b.AddPicture(t.Context(), job.PictureUpload{Definition: "hexastrand", Board: "tape", Title: "Tape, parts side", File: "shots/tape.png", Data: bytes.NewReader(data)})
	if err != nil {
		t.Fatal(err)
	}
	return p, places
}

func TestPicturesAreKeptAndShown(t *testing.T) {
	b, files := pictureBench(t, job.BenchOptions{})
	p, _ := addBoard(t, b)
	if p.ID != "tape-parts-side" || p.Board != "Tape" || p.Kind != job.BoardPicture || p.File != "tape.png" || p.Width != board.Width || p.Type != picture.PNG {
		t.Errorf("kept %+v", p)
	}
	data, _ := tapeBoard(t)
	f, err := files.Open(t.Context(), p.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	if got, _ := io.ReadAll(f); !bytes.Equal(got, data) {
		t.Error("the file was altered")
	}
	// Again: nothing new. Another file under the title: refused.
	if again, _ := addBoard(t, b); again != p {
		t.Errorf("again %+v", again)
	}
	other, err := picture.Encode(image.NewGray(image.Rect(0, 0, 40, 30)), picture.PNG)
	if err != nil {
		t.Fatal(err)
	}
	up := job.PictureUpload{Definition: "hexastrand", Title: "tape: PARTS side", File: "x.png", Data: bytes.NewReader(other)}
	if _, err := b.AddPicture(t.Context(), up); !invalidIn(err, "title") {
		t.Errorf("another file under the same title: %v", err)
	}
	for _, width := range []int{0, 400, 4000} {
		i, err := b.PictureImage(t.Context(), "hexastrand", p.ID, width)
		want := width
		if width == 0 || width > board.Width {
			want = board.Width
		}
		if err != nil || i.Width != want {
			t.Fatalf("at %d: %d wide (%v)", width, i.Width, err)
		}
		if info, err := picture.Inspect(i.Data); err != nil || info.Width != i.Width || info.Height != i.Height || info.Type != i.Type {
			t.Errorf("at %d: %+v, said %d by %d (%v)", width, info, i.Width, i.Height, err)
		}
	}
	if _, err := b.PictureImage(t.Context(), "hexastrand", p.ID, 5); !invalidIn(err, "width") {
		t.Errorf("5 pixels wide: %v", err)
	}
}

func TestPicturesThatAreRefused(t *testing.T) {
	b, _ := pictureBench(t, job.BenchOptions{})
	good, _ := tapeBoard(t)
	for name, c := range map[string]struct {
		up   job.PictureUpload
		data []byte
		want string
	}{
		"no such recorder": {job.PictureUpload{Definition: "hexastrnd", Title: "x"}, good, "hexastrand"},
		"no such board":    {job.PictureUpload{Definition: "hexastrand", Title: "x", Board: "Tap"}, good, "Tape"},
		"no name":          {job.PictureUpload{Definition: "hexastrand", Title: "…"}, good, "no letter"},
		"a kind":           {job.PictureUpload{Definition: "hexastrand", Title: "x", Kind: "map"}, good, "diagram"},
		"a page":           {job.PictureUpload{Definition: "hexastrand", Title: "x", Page: 2}, good, "no PDF"},
		"text":             {job.PictureUpload{Definition: "hexastrand", Title: "x", File: "notes.txt"}, []byte("notes"), "notes.txt is neither PNG nor JPEG"},
		"svg":              {job.PictureUpload{Definition: "hexastrand", Title: "x"}, []byte("<svg onload='x()'>"), "SVG"},
		"pdf, no drawing":  {job.PictureUpload{Definition: "hexastrand", Title: "x"}, []byte("%PDF-1.4"), "draws no pages"},
		"too long":         {job.PictureUpload{Definition: "hexastrand", Title: "x"}, make([]byte, picture.MaxBytes+1), "32 MiB"},
	} {
		c.up.Data = bytes.NewReader(c.data)
		if _, err := b.AddPicture(t.Context(), c.up); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	if list, err := b.Pictures(t.Context(), "hexastrand"); err != nil || len(list) != 0 {
		t.Errorf("after refusals: %v, %v", list, err)
	}
}

func TestAPageOfADocumentIsKeptAsItWasDrawn(t *testing.T) {
	page, _ := tapeBoard(t)
	b, _ := pictureBench(t, job.BenchOptions{PDFPage: func(_ context.Context, data []byte, n int) ([]byte, error) {
		if n == 7 {
			return nil, &picture.Error{Problem: "has no page 7", Advice: "another"}
		}
		return page, nil
	}})
	up := job.PictureUpload{Definition: "hexastrand", Kind: job.DiagramPicture, Title: "record", File: "manual.pdf", Page: 7, Data: strings.NewReader("%PDF-1.4")}
	if _, err := b.AddPicture(t.Context(), up); err == nil || err.Error() != "manual.pdf has no page 7" {
		t.Errorf("page 7: %v", err)
	}
	up.Page, up.Data = 0, strings.NewReader("%PDF-1.4")
	p, err := b.AddPicture(t.Context(), up)
	if err != nil || p.Page != 1 || p.Bytes != int64(len(page)) || p.Kind != job.DiagramPicture {
		t.Errorf("%+v, %v", p, err)
	}
}

func TestMarksAreSetMovedAndRemoved(t *testing.T) {
	b, _ := pictureBench(t, job.BenchOptions{})
	p, _ := addBoard(t, b)
	set := func(part string, x, y float64) {
		t.Helper()
		if _, err := b.SetMark(t.Context(), "hexastrand", job.Mark{Picture: p.ID, Part: part, X: x, Y: y}); err != nil {
			t.Fatal(err)
		}
	}
	set("tp10-3", 0.25, 0.5)
	set("C31-a", 0.1234567, 0.9)
	set("C31-a", 0.2, 0.8)
	set("C31-a", 0.2, 0.8) // as it is already
	set("W5", 0.9, 0.1)
	if err := b.RemoveMark(t.Context(), "hexastrand", p.ID, "tp10-3"); err != nil {
		t.Fatal(err)
	}
	got, err := b.Marks(t.Context(), "hexastrand")
	want := []job.Mark{{Picture: p.ID, Part: "C31-a", X: 0.2, Y: 0.8}, {Picture: p.ID, Part: "W5", X: 0.9, Y: 0.1}}
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("marks (%v, -want +got):\n%s", err, diff)
	}
	history, err := b.MarkHistory(t.Context(), "hexastrand", p.ID)
	if err != nil || len(history) != 5 {
		t.Fatalf("history: %v, %v", history, err)
	}
	if h := history[1]; h.X != 0.123457 || h.Removed || h.At.IsZero() || !history[4].Removed || history[4].Part != "TP10-3" {
		t.Errorf("history: %+v", history)
	}
	for name, m := range map[string]job.Mark{
		"no such part":      {Picture: p.ID, Part: "C31-z", X: 0.1, Y: 0.1},
		"of another board":  {Picture: p.ID, Part: "H-4", X: 0.1, Y: 0.1},
		"beyond the edge":   {Picture: p.ID, Part: "W5", X: 1.01, Y: 0.1},
		"no number":         {Picture: p.ID, Part: "W5", X: 0, Y: nan()},
		"a label too long":  {Picture: p.ID, Part: "W5", X: 0, Y: 0, Label: strings.Repeat("x", 25)},
		"no such picture":   {Picture: "tape", Part: "W5"},
		"control character": {Picture: p.ID, Part: "W5", Label: "a\x07b"},
	} {
		if _, err := b.SetMark(t.Context(), "hexastrand", m); err == nil {
			t.Errorf("%s: marked", name)
		}
	}
	if err := b.RemoveMark(t.Context(), "hexastrand", p.ID, "TP10-3"); err == nil {
		t.Error("a mark was removed twice")
	}
}

func nan() float64 {
	var zero float64
	return zero / zero
}

// A mark belongs to the picture that it was set on: on another one of the same title it
// would point at the wrong part.
func TestMarksDoNotMoveToAnotherPicture(t *testing.T) {
	b, _ := pictureBench(t, job.BenchOptions{})
	p, _ := addBoard(t, b)
	if _, err := b.SetMark(t.Context(), "hexastrand", job.Mark{Picture: p.ID, Part: "W5", X: 0.5, Y: 0.5}); err != nil {
		t.Fatal(err)
	}
	count := func() int {
		t.Helper()
		m, err := b.Marks(t.Context(), "hexastrand")
		if err != nil {
			t.Fatal(err)
		}
		return len(m)
	}
	if err := b.RemovePicture(t.Context(), "hexastrand", p.ID); err != nil || count() != 0 {
		t.Errorf("removed (%v): %d marks", err, count())
	}
	img := image.NewRGBA(image.Rect(0, 0, 60, 60))
	img.SetRGBA(3, 3, color.RGBA{255, 0, 0, 255})
	data, err := picture.Encode(img, picture.PNG)
	if err != nil {
		t.Fatal(err)
	}
	up := job.PictureUpload{Definition: "hexastrand", Board: "Tape", Title: p.Title, File: "new.png", Data: bytes.NewReader(data)}
	if _, err := b.AddPicture(t.Context(), up); err != nil || count() != 0 {
		t.Errorf("another picture (%v): %d marks", err, count())
	}
	if err := b.RemovePicture(t.Context(), "hexastrand", p.ID); err != nil {
		t.Fatal(err)
	}
	if addBoard(t, b); count() != 1 {
		t.Errorf("the picture itself again: %d marks, want its own", count())
	}
}

func TestSpotsAreFound(t *testing.T) {
	b, _ := pictureBench(t, job.BenchOptions{})
	p, places := addBoard(t, b)
	def, _ := machine.Builtin("hexastrand")
	for _, part := range []string{"TP10-3", "W4", "W5", "R21-2/C14-2", "VRa-3"} {
		at := placeOf(t, places, part)
		if _, err := b.SetMark(t.Context(), "hexastrand", job.Mark{Picture: p.ID, Part: part, X: at.X, Y: at.Y}); err != nil {
			t.Fatal(err)
		}
	}
	s, err := b.Spots(t.Context(), def)
	if err != nil {
		t.Fatal(err)
	}
	for asked, want := range map[string]string{"TP10-3": "TP10-3", "R21-2/C14-2": "R21-2/C14-2", "W4-H3": "W4", "W5-PB6": "W5", "TP10-4": "", "C31-a": "", "": ""} {
		got := s.At(asked)
		switch {
		case want == "" && len(got) > 0, want != "" && (len(got) != 1 || got[0].Part != want || got[0].Of != asked):
			t.Errorf("%s is at %+v, want %s", asked, got, want)
		}
	}
	// A test point without a mark is at its connector.
	for _, tp := range def.TestPoints {
		if tp.Connector == "W5" {
			if got := s.Point(&tp, def.ReplicaKeys(tp.Each)[0]); len(got) != 1 || got[0].Part != "W5" {
				t.Errorf("%s on W5 is at %+v", tp.ID, got)
			}
		}
	}
	i, err := b.SpotImage(t.Context(), "hexastrand", p.ID, "TP10-3")
	if err != nil || i.Width != job.CutWidth || i.Height != job.CutHeight {
		t.Fatalf("%d by %d, %v", i.Width, i.Height, err)
	}
	if _, err := b.SpotImage(t.Context(), "hexastrand", p.ID, "TP10-4"); err == nil {
		t.Error("a cut around a mark that is not there")
	}
}

func placeOf(t *testing.T, places []board.Place, part string) board.Place {
	t.Helper()
	for _, p := range places {
		if p.Part == part {
			return p
		}
	}
	t.Fatalf("%s is not on the drawn board", part)
	return board.Place{}
}

func TestPhotographsOfAJob(t *testing.T) {
	b, _ := pictureBench(t, job.BenchOptions{})
	j, err := b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand", Case: measure.CaseClosed})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Record(t.Context(), j.ID, job.Entry{Opening: &job.Opening{Opening: "lid"}}); err != nil {
		t.Fatal(err)
	}
	data, _ := tapeBoard(t)
	e, err := b.AddPhotograph(t.Context(), j.ID, job.PhotographUpload{File: "IMG_1.png", Opening: job.LayerNow, Caption: " W5 before it was parted ", Data: bytes.NewReader(data)})
	if err != nil {
		t.Fatal(err)
	}
	if p := e.Photograph; e.Ref != "photograph 1" || p.Opening != "lid" || p.Caption != "W5 before it was parted" || p.Bytes != int64(len(data)) || e.Case != measure.CasePropped {
		t.Errorf("kept %+v, %+v", e, e.Photograph)
	}
	// Corrected is what is said of it; the file stays.
	c, err := b.Correct(t.Context(), j.ID, e.Seq, job.Entry{Photograph: &job.Photograph{Opening: "closed", Caption: "before the lid was opened"}})
	if err != nil || c.Photograph.SHA256 != e.Photograph.SHA256 || c.Photograph.Copy != e.Photograph.Copy || c.Photograph.Opening != "" {
		t.Fatalf("corrected to %+v, %v", c.Photograph, err)
	}
	if _, err := b.Correct(t.Context(), j.ID, c.Seq, job.Entry{Photograph: &job.Photograph{SHA256: "ff"}}); !invalidIn(err, "correction") {
		t.Errorf("another file: %v", err)
	}
	if _, err := b.Record(t.Context(), j.ID, job.Entry{Photograph: &job.Photograph{SHA256: "ff"}}); !invalidIn(err, "kind") {
		t.Errorf("a photograph without its file: %v", err)
	}
	for name, up := range map[string]job.PhotographUpload{
		"layer":   {File: "x.png", Opening: "lit"},
		"case":    {File: "x.png", Case: "ajar"},
		"picture": {File: "x.png", Data: strings.NewReader("x")},
	} {
		if up.Data == nil {
			up.Data = bytes.NewReader(data)
		}
		if _, err := b.AddPhotograph(t.Context(), j.ID, up); err == nil {
			t.Errorf("%s: kept", name)
		}
	}
	v, err := b.View(t.Context(), j.ID)
	if err != nil || len(v.Photographs()) != 1 || len(v.Open) != 1 || v.Case != measure.CasePropped {
		t.Errorf("%d photographs, open %v, case %s (%v)", len(v.Photographs()), v.Open, v.Case, err)
	}
	i, err := b.PhotographImage(t.Context(), j.ID, e.Seq, 300)
	if err != nil || i.Width != 300 || i.Height != 210 {
		t.Errorf("%d by %d, %v", i.Width, i.Height, err)
	}
	if _, err := b.PhotographImage(t.Context(), j.ID, 1, 300); err == nil {
		t.Error("an opening is shown as a photograph")
	}
	if _, err := b.Withdraw(t.Context(), j.ID, c.Seq, "not of this recorder"); err != nil {
		t.Fatal(err)
	}
}

func invalidIn(err error, field string) bool {
	e, ok := errors.AsType[*job.InvalidError](err)
	return ok && e.Field == field
}
