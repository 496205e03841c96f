package web

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"net/http"
	"time"

	"github.com/coder/websocket"

	"headstack/live"
)

// What a browser sends: blocks as static/listen-worklet.js lays them out.
const (
	blockHead   = 16      // bytes: number, frames, first frame
	maxBlock    = 4096    // frames
	browserEars = 2       // channels
	endWord     = "end"   // the text message after the last block
	silentFor   = 10      // s without a block, after which the browser is gone
	headroom    = 1.05    // a browser's clock may run that much fast
	burst       = 5       // s of sound that may come at once, after a stall
	maxSkip     = 1 << 40 // frames: no counter gets there
)

// block is a piece of the sound of two channels.
type block struct {
	number uint32
	first  int64 // frame of the device
	frames []float32
}

// parseBlock reads a block into frames, left and right by turns; buffer is used again.
func parseBlock(data []byte, buffer []float32) (b block, err error) {
	if len(data) < blockHead {
		return b, fmt.Errorf("a block of %d bytes has no head of %d", len(data), blockHead)
	}
	b.number = binary.LittleEndian.Uint32(data)
	n := int(binary.LittleEndian.Uint32(data[4:]))
	first := math.Float64frombits(binary.LittleEndian.Uint64(data[8:]))
	switch {
	case n < 1 || n > maxBlock || len(data) != blockHead+4*browserEars*n:
		return b, fmt.Errorf("block %d says %d frames and has %d bytes", b.number, n, len(data))
	case !(first >= 0 && first < maxSkip) || first != math.Trunc(first):
		return b, fmt.Errorf("block %d begins at frame %g", b.number, first)
	}
	b.first, b.frames = int64(first), buffer[:0]
	for i := range n {
		for c := range browserEars {
			b.frames = append(b.frames, math.Float32frombits(binary.LittleEndian.Uint32(data[blockHead+4*(c*n+i):])))
		}
	}
	return b, nil
}

// intake puts the blocks of a browser into a capture, and says which are missing.
type intake struct {
	sess  *live.Session
	rate  int
	most  int64 // frames that a file may have
	began time.Time

	blocks uint32
	next   int64 // frame that should come
	frames int64
}

// errFull says that a capture has as much as one may have.
var errFull = errors.New("it is as long as a capture may be")

const fullWarning = "it is as long as a capture may be, and was stopped for that"

func (t *intake) take(b block, now time.Time) error {
	n := int64(len(b.frames) / browserEars)
	if allowed := (now.Sub(t.began).Seconds()*headroom + burst) * float64(t.rate); float64(t.frames+n) > allowed {
		return fmt.Errorf("sound came faster than it can be heard: %d frames in %.1f s", t.frames+n, now.Sub(t.began).Seconds())
	}
	if t.frames+n > t.most {
		return errFull
	}
	if t.blocks > 0 {
		lost := int64(b.number) - int64(t.blocks)
		if lost < 0 || b.first < t.next {
			return fmt.Errorf("block %d at frame %d came after block %d up to frame %d", b.number, b.first, t.blocks-1, t.next)
		}
		switch gap := b.first - t.next; {
		case lost > 0:
			t.sess.Missed(gap, fmt.Sprintf("%s of the browser's sound did not arrive", plural(int(lost), "block", "blocks")))
		case gap > 0:
			t.sess.Missed(gap, "the browser left out sound")
		}
	}
	t.blocks, t.next, t.frames = b.number+1, b.first+n, t.frames+n
	return t.sess.Write(b.frames)
}

// soundSocket takes the sound of a browser. The page's origin is checked by the guard and
// by Accept again; only who started the capture knows its token.
func (s *server) soundSocket(w http.ResponseWriter, r *http.Request) error {
	h := s.ear.of(r.PathValue("job"))
	if h == nil || h.Via != viaBrowser || r.URL.Query().Get("token") != h.token {
		return &pageError{status: http.StatusNotFound, title: "No capture waits for this sound", hint: "Start it on the listen page.", kept: "Nothing was written."}
	}
	done, ok := h.attach()
	if !ok {
		return &pageError{status: http.StatusConflict, title: "The sound of this capture comes from elsewhere already", hint: "Look for the other window.", kept: "That capture goes on."}
	}
	c, err := websocket.Accept(w, r, nil)
	if err != nil {
		done()
		s.ear.end(h, "the browser's sound could not be taken")
		return nil // Accept has answered
	}
	c.SetReadLimit(blockHead + 4*browserEars*maxBlock)
	why := s.hear(h, c)
	done()
	s.ear.end(h, why)
	if why == "" {
		_ = c.Close(websocket.StatusNormalClosure, "stopped")
	} else {
		_ = c.Close(websocket.StatusPolicyViolation, clip(why, 120))
	}
	return nil
}

// hear takes blocks until the capture ends; why is what cut it off, empty for an orderly end.
func (s *server) hear(h *hearing, c *websocket.Conn) (why string) {
	t := &intake{sess: h.sess, rate: h.Rate, most: s.opt.MaxUpload / (4 * browserEars), began: time.Now()}
	buffer := make([]float32, 0, browserEars*maxBlock)
	for {
		ctx, cancel := context.WithTimeout(h.ctx, silentFor*time.Second)
		kind, data, err := c.Read(ctx)
		silent := ctx.Err() != nil
		cancel()
		switch {
		case h.ctx.Err() != nil:
			return "" // its cause says why
		case err != nil && silent:
			return fmt.Sprintf("no sound came from the browser for %d s", silentFor)
		case err != nil:
			return "the browser's page was closed, or the way to it broke"
		case kind == websocket.MessageText && string(data) == endWord:
			return ""
		case kind == websocket.MessageText:
			return "the browser sent what is no sound"
		}
		b, err := parseBlock(data, buffer)
		if err == nil {
			err = t.take(b, time.Now())
		}
		if errors.Is(err, errFull) {
			h.sess.Warn(fullWarning)
			return ""
		}
		if err != nil {
			return err.Error()
		}
	}
}

func clip(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && s[n]&0xC0 == 0x80 { // not inside a character
		n--
	}
	return s[:n]
}

// hearDevice makes a device the source of a capture, until it is stopped.
func (s *server) hearDevice(h *hearing) {
	done, ok := h.attach()
	if !ok {
		return
	}
	go func() {
		err := s.opt.Devices.Listen(h.ctx, h.Device, h.Rate, h.Channels, &bounded{h.sess, s.opt.MaxUpload / int64(4*h.Channels), h.Channels})
		stopped := h.ctx.Err() != nil
		done()
		switch {
		case stopped:
			s.ear.end(h, "")
		case errors.Is(err, errFull):
			h.sess.Warn(fullWarning)
			s.ear.end(h, "")
		case err != nil:
			s.ear.end(h, "the device stopped: "+err.Error())
		default:
			s.ear.end(h, "the device stopped")
		}
	}()
}

// bounded is a session that takes so many frames and no more.
type bounded struct {
	*live.Session
	left     int64
	channels int
}

func (b *bounded) Write(frames []float32) error {
	if b.left -= int64(len(frames) / b.channels); b.left < 0 {
		return errFull
	}
	return b.Session.Write(frames)
}
