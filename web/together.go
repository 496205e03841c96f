package web

import (
	"net/http"
	"strconv"
	"strings"

	"headstack/job"
)

// maxRepeatKey bounds the name of a request that may be sent again.
const maxRepeatKey = 100

// repeatable lets a caller name a write with the header Idempotency-Key: the same name again
// keeps nothing twice, so that who got no answer can simply send it again. A name counts
// within its path.
func repeatable(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		key := strings.Trim(r.Header.Get("Idempotency-Key"), `"`)
		if r.Method == http.MethodPost && key != "" && len(key) <= maxRepeatKey && job.PlainName(key) {
			r = r.WithContext(job.Repeatable(r.Context(), r.URL.Path+" "+key))
		}
		next.ServeHTTP(w, r)
	})
}

// seenOf reads what a form says its writer had seen: the number of the last entry, -1 where
// there was none, 0 where nothing is said.
func seenOf(r *http.Request) int64 {
	n, _ := strconv.ParseInt(r.PostFormValue("seen"), 10, 64)
	return n
}
