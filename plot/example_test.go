package plot_test

import (
	"fmt"
	"strings"

	"headstack/measure"
	"headstack/plot"
)

func ExampleResponse() {
	svg := plot.Response([]measure.Result{
		{Name: "response", Track: 1, ToneHz: 315, Value: 0, Lo: -0.05, Hi: 0.05, Unit: "dB"},
		{Name: "response", Track: 1, ToneHz: 10000, Value: -2.3, Lo: -2.5, Hi: -2.1, Unit: "dB"},
	}, plot.Options{Title: "Response, first pass"})
	fmt.Println(strings.Contains(string(svg), "<title id=\"response-t\">Response, first pass</title>"))
	// Output: true
}
