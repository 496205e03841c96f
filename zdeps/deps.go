// Package zdeps keeps the module list whole while packages are being written.
package zdeps

import (
	_ "github.com/alecthomas/kong"
	_ "github.com/chromedp/chromedp"
	_ "github.com/getkin/kin-openapi/openapi3"
	_ "github.com/getkin/kin-openapi/openapi3filter"
	_ "github.com/getkin/kin-openapi/routers/gorillamux"
	_ "github.com/goccy/go-yaml"
	_ "github.com/google/go-cmp/cmp"
	_ "github.com/invopop/jsonschema"
	_ "github.com/mewkiz/flac"
	_ "github.com/pressly/goose/v3"
	_ "github.com/rogpeppe/go-internal/testscript"
	_ "github.com/santhosh-tekuri/jsonschema/v6"
	_ "go.uber.org/goleak"
	_ "golang.org/x/sync/errgroup"
	_ "gonum.org/v1/gonum/dsp/fourier"
	_ "gonum.org/v1/gonum/mat"
	_ "gonum.org/v1/gonum/optimize"
	_ "gonum.org/v1/gonum/stat"
	_ "gonum.org/v1/gonum/stat/distuv"
	_ "modernc.org/sqlite"
	_ "pgregory.net/rapid"
)
