package pdf_test

import (
	"context"
	"errors"
	"flag"
	"testing"
	"time"

	"headstack/picture"
	"headstack/picture/pdf"
)

// FuzzPage: a page of a document from outside becomes a picture within its bounds or is
// refused in words. Its seeds run only while fuzzing: the sandbox takes seconds to make.
func FuzzPage(f *testing.F) {
	if fuzzing := flag.Lookup("test.fuzz"); fuzzing == nil || fuzzing.Value.String() == "" {
		f.Skip("not fuzzing")
	}
	// Fuzzing takes an input of ten seconds for one that hangs, and the first sandbox of a
	// process takes about as long.
	if _, err := pdf.Page(context.Background(), document(), 2); err != nil {
		f.Fatal(err)
	}
	f.Add(document(), 2)
	f.Add([]byte("%PDF-1.7\n1 0 obj<</Type/Catalog/Pages 1 0 R>>endobj trailer<</Root 1 0 R>>"), 1)
	f.Fuzz(func(t *testing.T, data []byte, page int) {
		ctx, cancel := context.WithTimeout(t.Context(), 8*time.Second)
		defer cancel()
		img, err := pdf.Page(ctx, data, page)
		if err != nil {
			if ctx.Err() != nil {
				t.Skip("a slow page, which the context ended")
			}
			if e, ok := errors.AsType[*picture.Error](err); !ok || e.Problem == "" || e.Advice == "" {
				t.Fatalf("%#v", err)
			}
			return
		}
		if info, err := picture.Inspect(img); err != nil || max(info.Width, info.Height) > picture.CopyEdge {
			t.Fatalf("%+v, %v", info, err)
		}
	})
}
