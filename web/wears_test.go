package web

import (
	"context"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"headstack/job"
)

// slowWear is a bench whose wear takes as long as a test lets it.
type slowWear struct {
	*storyBench
	asked chan struct{}
	let   chan struct{}
}

func (b slowWear) Wear(ctx context.Context, id string) (job.Wear, error) {
	b.asked <- struct{}{}
	<-b.let
	return b.storyBench.Wear(ctx, id)
}

func TestAPageDoesNotWaitForWear(t *testing.T) {
	story, id := goodStory()
	b := slowWear{story, make(chan struct{}, 9), make(chan struct{})}
	s := newServer(b, Options{Patience: time.Minute})
	h := s.handler()
	ask := func(prefer string) string {
		r := httptest.NewRequest("GET", "http://localhost/jobs/"+id+"/wear", nil)
		r.Header.Set("Prefer", prefer)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Body.String()
	}
	if page := ask("respond-async"); !strings.Contains(page, "Being worked out from the captures") {
		t.Errorf("the page does not say that it is worked out:\n%s", page)
	}
	<-b.asked
	ask("respond-async") // waits for the same run
	b.let <- struct{}{}
	close(b.let)
	if page := ask(""); !strings.Contains(page, "Track 3, as left") {
		t.Error("the page does not show what was worked out")
	}
	if n := len(b.asked); n > 1 {
		t.Errorf("asked %d times more", n)
	}
}
