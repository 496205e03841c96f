package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"

	"headstack/job"
	"headstack/job/memory"
	"headstack/web"
)

func ExampleNewServer() {
	bench := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
	srv := httptest.NewServer(web.NewServer(bench, web.Options{})) // a program listens on loopback
	defer srv.Close()
	res, err := http.Get(srv.URL + "/api/v1/jobs")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer res.Body.Close()
	fmt.Println(res.StatusCode, res.Header.Get("Content-Type"))
	// Output: 200 application/json
}
