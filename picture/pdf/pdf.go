// Package pdf turns a page of a PDF document into a picture.
//
// The page is drawn by PDFium, compiled to WebAssembly, in a sandbox: no file, no clock, no
// network, at most [maxMemory] and as long as the context lasts. A document is from outside,
// and what reads it has a long history of faults; here such a fault ends the drawing and
// nothing else.
package pdf

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"sync"
	"time"

	"github.com/klippa-app/go-pdfium"
	pdferrors "github.com/klippa-app/go-pdfium/errors"
	"github.com/klippa-app/go-pdfium/requests"
	"github.com/klippa-app/go-pdfium/webassembly"
	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"
	"golang.org/x/image/draw"

	"headstack/picture"
)

// What a drawing may take. A page of line work takes a second of processor time, and
// making the first sandbox of a program ready some six more.
const (
	maxMemory = 512 << 20
	maxTime   = 5 * time.Minute
)

// compiled keeps the machine code of the sandbox for the next page; it is made with the
// first.
var compiled = sync.OnceValue(wazero.NewCompilationCache)

// byHand is what to do where a page cannot be drawn.
const byHand = "Open it in a viewer, save the page as a picture, PNG at 200 dots per inch or more, and add that."

// Page draws a page of a document, counted from 1, on white, its longest edge
// [picture.CopyEdge] pixels, and returns it as PNG. The errors are of type [*picture.Error],
// or the context's.
func Page(ctx context.Context, data []byte, page int) (png []byte, err error) {
	if len(data) > picture.MaxBytes {
		return nil, picture.TooManyBytes()
	}
	if !picture.IsPDF(data) {
		return nil, &picture.Error{Problem: "is no PDF document, so that it has no page to choose", Advice: "Leave the page out, or choose the document."}
	}
	drawing, cancel := context.WithTimeout(ctx, maxTime)
	defer cancel()
	img, err := drawn(drawing, data, page)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case drawing.Err() != nil:
		return nil, &picture.Error{Problem: fmt.Sprintf("took longer than %v to draw", maxTime), Advice: byHand}
	case err != nil:
		return nil, asPicture(err)
	}
	return picture.Encode(img, picture.PNG)
}

func asPicture(err error) error {
	if e, ok := errors.AsType[*picture.Error](err); ok {
		return e
	}
	if errors.Is(err, pdferrors.ErrPassword) || errors.Is(err, pdferrors.ErrSecurity) {
		return &picture.Error{Problem: "is locked with a password", Advice: "Open it in a viewer with the password and save the page as a picture, PNG at 200 dots per inch or more, and add that."}
	}
	return &picture.Error{Problem: "cannot be drawn", Advice: byHand, Err: err}
}

// drawn makes a sandbox for one drawing. It is not kept: pages are loaded once in the life
// of a definition, and a document leaves nothing behind for the next.
func drawn(ctx context.Context, data []byte, page int) (img image.Image, err error) {
	defer func() { // the library panics where its module was stopped halfway
		if r := recover(); r != nil {
			err = fmt.Errorf("the drawing broke off: %v", r)
		}
	}()
	const wasmPage = 64 << 10
	pool, err := webassembly.Init(webassembly.Config{
		Context: ctx, MaxIdle: 1, MaxTotal: 1,
		FSConfig: wazero.NewFSConfig(), // no folder is mounted
		Stdout:   io.Discard, Stderr: io.Discard,
		RuntimeConfig: wazero.NewRuntimeConfig().
			WithCoreFeatures(api.CoreFeaturesV2 | experimental.CoreFeaturesExceptionHandling).
			WithMemoryLimitPages(maxMemory / wasmPage).WithCompilationCache(compiled()).WithCloseOnContextDone(true),
	})
	if err != nil {
		return nil, err
	}
	defer pool.Close()
	inst, err := pool.GetInstanceWithContext(ctx)
	if err != nil {
		return nil, err
	}
	defer inst.Close()
	return render(inst, data, page)
}

func render(inst pdfium.Pdfium, data []byte, page int) (image.Image, error) {
	data = bytes.Clone(data)
	doc, err := inst.OpenDocument(&requests.OpenDocument{File: &data})
	if err != nil {
		return nil, err
	}
	count, err := inst.FPDF_GetPageCount(&requests.FPDF_GetPageCount{Document: doc.Document})
	if err != nil {
		return nil, err
	}
	if page < 1 || page > count.PageCount {
		return nil, &picture.Error{Problem: fmt.Sprintf("has no page %d: its pages are 1 to %d", page, count.PageCount), Advice: "Give the number of a page that it has, counted from the first."}
	}
	which := requests.Page{ByIndex: &requests.PageByIndex{Document: doc.Document, Index: page - 1}}
	made, err := inst.RenderPageInPixels(&requests.RenderPageInPixels{Page: which, Width: picture.CopyEdge, Height: picture.CopyEdge})
	if err != nil {
		return nil, err
	}
	defer made.Cleanup()
	from := made.Result.RenderedImage
	out := image.NewRGBA(image.Rect(0, 0, from.Bounds().Dx(), from.Bounds().Dy()))
	draw.Draw(out, out.Rect, image.White, image.Point{}, draw.Src)
	draw.Draw(out, out.Rect, from, from.Bounds().Min, draw.Over) // it lies in the sandbox's memory
	return out, nil
}
