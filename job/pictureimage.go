package job

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"io"
	"slices"
	"sync"

	"headstack/picture"
)

// Image is a picture as it is sent: never with anything beside its pixels.
type Image struct {
	Data          []byte
	Type          string // image/png or image/jpeg
	Width, Height int    // pixels
}

// The sizes of what is made of a picture, in pixels.
const (
	maxImageWidth = picture.CopyEdge
	minImageWidth = 16
	CutWidth      = 320 // of a cut-out around a mark
	CutHeight     = 220
)

// pictureStore holds what was made of pictures lately, for a page asks for the same ones
// again and again.
type pictureStore struct {
	one     sync.Mutex // held while a picture is decoded
	drawing sync.Mutex // held while the page of a document is drawn

	mu      sync.Mutex
	docs    map[string][]byte // documents of pictures and marks by SHA-256; they never change
	images  map[string]Image
	order   []string // keys of images, the oldest first
	size    int      // bytes of images
	decoded image.Image
	which   string // SHA-256 of decoded
}

// maxImages bounds what is held of made pictures, in bytes.
const maxImages = 24 << 20

func (s *pictureStore) document(ctx context.Context, rec Record, sha string) ([]byte, error) {
	s.mu.Lock()
	data, ok := s.docs[sha]
	s.mu.Unlock()
	if ok {
		return data, nil
	}
	data, err := rec.Document(ctx, sha)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	if s.docs == nil {
		s.docs = make(map[string][]byte)
	}
	s.docs[sha] = data
	s.mu.Unlock()
	return data, nil
}

func (s *pictureStore) made(key string) (Image, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	i, ok := s.images[key]
	return i, ok
}

func (s *pictureStore) keep(key string, i Image) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.images[key]; ok {
		return
	}
	if s.images == nil {
		s.images = make(map[string]Image)
	}
	s.images[key] = i
	s.order = append(s.order, key)
	for s.size += len(i.Data); s.size > maxImages && len(s.order) > 1; {
		s.size -= len(s.images[s.order[0]].Data)
		delete(s.images, s.order[0])
		s.order = slices.Delete(s.order, 0, 1)
	}
}

// makeImage makes something of a kept copy, or finds it made.
func (b *Bench) makeImage(ctx context.Context, sha, kind, what string, do func(image.Image) image.Image) (Image, error) {
	key := sha + " " + what
	if i, ok := b.pictures.made(key); ok {
		return i, nil
	}
	b.pictures.one.Lock()
	defer b.pictures.one.Unlock()
	if i, ok := b.pictures.made(key); ok { // while this one waited
		return i, nil
	}
	img, err := b.decodedCopy(ctx, sha)
	if err != nil {
		return Image{}, err
	}
	img = do(img)
	data, err := picture.Encode(img, kind)
	if err != nil {
		return Image{}, err
	}
	i := Image{data, kind, img.Bounds().Dx(), img.Bounds().Dy()}
	b.pictures.keep(key, i)
	return i, nil
}

// decodedCopy decodes a kept copy; the last one is held, for a page cuts many parts out of
// one picture. The lock of decoding is held.
func (b *Bench) decodedCopy(ctx context.Context, sha string) (image.Image, error) {
	if b.pictures.which == sha {
		return b.pictures.decoded, nil
	}
	f, err := b.files.Open(ctx, sha)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.NewSectionReader(f, 0, f.Size()))
	if err != nil {
		return nil, err
	}
	img, _, err := picture.Decode(data)
	if err != nil {
		return nil, asPictureError(sha, err)
	}
	b.pictures.decoded, b.pictures.which = img, sha
	return img, nil
}

// rawCopy is a kept copy as it lies there.
func (b *Bench) rawCopy(ctx context.Context, sha, kind string, w, h int) (Image, error) {
	f, err := b.files.Open(ctx, sha)
	if err != nil {
		return Image{}, err
	}
	defer f.Close()
	var buf bytes.Buffer
	_, err = io.Copy(&buf, f)
	return Image{buf.Bytes(), kind, w, h}, err
}

// shownCopy is a kept copy at a width in pixels; 0, and what is wider than it is, gives it as
// it is.
func (b *Bench) shownCopy(ctx context.Context, sha, kind string, w, h, width int) (Image, error) {
	if width < 0 || width > 0 && width < minImageWidth || width > maxImageWidth {
		return Image{}, &InvalidError{Field: "width", Value: fmt.Sprint(width), Problem: fmt.Sprintf("is not between %d and %d pixels, or 0 for the picture's own", minImageWidth, maxImageWidth)}
	}
	if width == 0 || width >= w {
		return b.rawCopy(ctx, sha, kind, w, h)
	}
	return b.makeImage(ctx, sha, kind, fmt.Sprintf("at %d", width), func(img image.Image) image.Image {
		return picture.Scale(img, width, max(1, (h*width+w/2)/w))
	})
}

// PictureImage returns a picture as it is shown, at a width in pixels; 0: its own.
func (b *Bench) PictureImage(ctx context.Context, definition, id string, width int) (Image, error) {
	p, err := b.Picture(ctx, definition, id)
	if err != nil {
		return Image{}, err
	}
	return b.shownCopy(ctx, p.Copy, p.Type, p.Width, p.Height, width)
}

// SpotImage returns the part of a picture around the mark of a designator, [CutWidth] by
// [CutHeight] pixels or less, with the point marked.
func (b *Bench) SpotImage(ctx context.Context, definition, id, part string) (Image, error) {
	p, err := b.Picture(ctx, definition, id)
	if err != nil {
		return Image{}, err
	}
	marks, err := b.marksOf(ctx, p.Definition)
	if err != nil {
		return Image{}, err
	}
	for _, m := range marks {
		if m.Picture == p.ID && m.Part == part {
			return b.makeImage(ctx, p.Copy, p.Type, fmt.Sprintf("cut at %v %v", m.X, m.Y), func(img image.Image) image.Image {
				return picture.Cut(img, m.X, m.Y, CutWidth, CutHeight)
			})
		}
	}
	return Image{}, &NotFoundError{What: "mark", ID: part}
}
