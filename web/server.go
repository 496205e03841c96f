package web

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"time"

	"headstack/bias"
	"headstack/diagnosis"
	"headstack/job"
	"headstack/learn"
	"headstack/measure"
	"headstack/phone"
	"headstack/teardown"
)

// Bench is what the pages need of the domain. *job.Bench is one.
type Bench interface {
	Definitions(ctx context.Context) ([]job.DefinitionInfo, error)
	AddDefinition(ctx context.Context, name string, yaml []byte) (job.DefinitionInfo, error)
	DefinitionYAML(ctx context.Context, id string) ([]byte, job.DefinitionInfo, error)
	Tapes(ctx context.Context) ([]job.TapeInfo, error)
	TapeYAML(ctx context.Context, id string) ([]byte, job.TapeInfo, error)
	AddTape(ctx context.Context, name string, yaml []byte) (job.TapeInfo, error)
	Programmes(ctx context.Context) ([]job.ProgrammeInfo, error)
	AddProgramme(ctx context.Context, name string, yaml []byte) (job.ProgrammeInfo, error)
	ProgrammeYAML(ctx context.Context, id string) ([]byte, job.ProgrammeInfo, error)
	Interfaces(ctx context.Context) ([]job.InterfaceInfo, error)
	AddLoopback(ctx context.Context, up job.LoopbackUpload) (job.InterfaceInfo, job.Loopback, error)
	Loopback(ctx context.Context, id string) (job.Loopback, error)
	OpenJob(ctx context.Context, n job.NewJob) (job.Job, error)
	Jobs(ctx context.Context) ([]job.Summary, error)
	View(ctx context.Context, jobID string) (*job.View, error)
	RecordCheck(ctx context.Context, jobID string, c job.Check, state measure.CaseState, remark string) (job.Entry, error)
	RecordReading(ctx context.Context, jobID string, r job.Reading, state measure.CaseState, remark string) (job.Entry, error)
	RecordNote(ctx context.Context, jobID string, state measure.CaseState, text string) (job.Entry, error)
	Record(ctx context.Context, jobID string, e job.Entry) (job.Entry, error)
	Correct(ctx context.Context, jobID string, seq int64, replacement job.Entry) (job.Entry, error)
	Withdraw(ctx context.Context, jobID string, seq int64, remark string) (job.Entry, error)
	AddCapture(ctx context.Context, jobID string, up job.CaptureUpload) (job.Entry, error)
	Explain(ctx context.Context, jobID string, seq int64) (job.Explained, error)
	ExplainJob(ctx context.Context, jobID string) ([]job.Explained, error)
	CompareCaptures(ctx context.Context, jobID string, before, after int64, between string) (job.Explained, error)
	SameMachine(ctx context.Context, jobID string) ([]job.Summary, error)
	Wear(ctx context.Context, jobID string) (job.Wear, error)
	Instruments(ctx context.Context) ([]diagnosis.Instrument, error)
	AddInstrument(ctx context.Context, in diagnosis.Instrument) (diagnosis.Instrument, error)
	Diagnose(ctx context.Context, jobID string) (*diagnosis.Verdict, *job.View, error)
	meterBench
	Advise(ctx context.Context, jobID string) (*diagnosis.Advice, *job.View, error)
	// Next is the part of both that is there first.
	Next(ctx context.Context, jobID string) (*job.Next, *job.View, error)
	LineUp(ctx context.Context, jobID string) (*job.LineUp, *job.View, error)
	PlanStaircase(ctx context.Context, jobID string, opt job.StaircaseOptions) (job.Entry, *bias.Plan, error)
	Openings(ctx context.Context, jobID string, opt job.OpeningOptions) (*teardown.Plan, *job.View, error)
	ProposeClosing(ctx context.Context, jobID string) (job.Closing, *job.View, error)
	Found(ctx context.Context, definition string) (*job.Found, error)
	OwnCounts(ctx context.Context) (*learn.Counts, error)
	pictureBench
	keptFileBench
	draftBench
	MergeCounts(ctx context.Context, name string, data []byte) (f job.MergedFile, again bool, err error)
}

var _ Bench = (*job.Bench)(nil)

// Options are what a server takes from outside; the zero value is for use on
// the machine itself.
type Options struct {
	// Hosts are further names, without port, under which the server may be
	// called. Loopback names are always allowed.
	Hosts []string
	// MaxUpload bounds a capture in bytes; 0: 16 GiB.
	MaxUpload int64
	// Patience is how long a page waits for the diagnosis before it is sent
	// without and says so; 0: 1.5 s.
	Patience time.Duration
	// Phone lets phones of the local network in when a person opens it; nil: there is no
	// such way.
	Phone *phone.Gate
	// Program is name and version, shown at the foot of reports.
	Program string
	// Listen is the folder in which live captures grow until they are kept; empty: there are
	// none.
	Listen string
	// Devices are the inputs of the machine; nil: only browsers are heard.
	Devices Devices
	// Context ends live captures and what is kept up to date, when the server is to
	// stop; nil: never. What was heard is offered at the next start.
	Context context.Context
	// Now is the clock; nil: time.Now.
	Now func() time.Time
	// Demo makes a job of an invented recorder on this bench; nil: it is not offered.
	Demo DemoFunc
	// Export writes the whole bench; nil: it is not offered.
	Export ExportFunc
	// Log takes what went wrong inside; nil: nothing is logged.
	Log *slog.Logger
}

type server struct {
	bench    Bench
	opt      Options
	mux      *http.ServeMux
	patterns []string // of the API, for the check against the document
	verdicts *thoughts[*diagnosis.Verdict]
	advices  *thoughts[*diagnosis.Advice]
	nexts    *thoughts[*job.Next]
	plans    map[string]*thoughts[*teardown.Plan] // of openings, by what is wanted
	lineUps  *thoughts[*job.LineUp]
	wears    wears
	progress progress
	ear      *listening
	streams  streams
	limits   limits
	routes   []string // of pages, with their methods
}

// NewServer makes the handler of pages and API over a bench.
func NewServer(bench Bench, opt Options) http.Handler {
	return newServer(bench, opt).handler()
}

func newServer(bench Bench, opt Options) *server {
	if opt.MaxUpload == 0 {
		opt.MaxUpload = 16 << 30
	}
	if opt.Patience == 0 {
		opt.Patience = 1500 * time.Millisecond
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Log == nil {
		opt.Log = slog.New(slog.NewTextHandler(io.Discard, nil))
	}
	if opt.Program == "" {
		opt.Program = "headstack"
	}
	s := &server{bench: bench, opt: opt, mux: http.NewServeMux(), verdicts: newVerdicts(), advices: newAdvices(), nexts: newNexts(), lineUps: newLineUps(), limits: newLimits(),
		plans: map[string]*thoughts[*teardown.Plan]{"": newPlans(job.OpeningOptions{}), "needed": newPlans(job.OpeningOptions{NoPreventive: true})}}
	s.ear = newListening(opt.Listen, opt.Now)
	context.AfterFunc(s.ctx(), s.ear.quit)
	s.pages()
	s.api()
	return s
}

func (s *server) pages() {
	page := func(pattern string, h func(w http.ResponseWriter, r *http.Request) error) {
		s.routes = append(s.routes, pattern)
		s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
			if err := h(w, r); err != nil {
				s.errorPage(w, r, err)
			}
		})
	}
	s.mux.HandleFunc("GET /static/{name}", serveAsset)
	page("GET /{$}", s.jobsPage)
	page("POST /jobs", s.openJob)
	page("GET /library", s.shelfPage)
	page("POST /library/definitions", s.addDefinition)
	page("POST /library/tapes", s.addTape)
	page("POST /library/programmes", s.addProgramme)
	page("POST /library/programmes/standard", s.makeProgramme)
	page("GET /library/programmes/{programme}", s.programmePage)
	page("GET /library/programmes/{programme}/yaml", s.programmeYAML)
	page("GET /library/programmes/{programme}/rounds/{round}/sound.wav", s.roundSound)
	page("GET /library/programmes/{programme}/rounds/{round}/erase-pass.wav", s.erasePassSound)
	page("POST /library/interfaces", s.addInterface)
	page("GET /library/interfaces/{interface}", s.interfacePage)
	page("POST /library/instruments", s.addInstrument)
	page("GET /library/progress/{token}", s.progressOf)
	page("GET /library/found/{definition}", s.foundPage)
	page("GET /jobs/{job}/closing", s.closingPage)
	page("POST /jobs/{job}/closing", s.closeJob)
	page("GET /jobs/{job}", s.overviewPage)
	s.sheetPages(page)
	s.helpPages(page)
	s.flowPages(page)
	page("GET /jobs/{job}/path", s.pathPage)
	page("POST /jobs/{job}/readings", s.recordReading)
	page("POST /jobs/{job}/notes", s.recordNote)
	page("GET /jobs/{job}/works", s.worksPage)
	page("POST /jobs/{job}/works", s.recordWork)
	page("GET /jobs/{job}/openings", s.openingsPage)
	page("POST /jobs/{job}/openings", s.recordOpening)
	page("GET /jobs/{job}/line-up", s.lineUpPage)
	page("GET /jobs/{job}/line-up/read-out", s.readOutPage)
	page("GET /jobs/{job}/line-up/sheet", s.paperSheetPage)
	page("POST /jobs/{job}/line-up/figures", s.recordFigure)
	page("POST /jobs/{job}/line-up/turns", s.recordTurn)
	page("POST /jobs/{job}/line-up/gates", s.recordGate)
	page("POST /jobs/{job}/line-up/sign-offs", s.recordSignOff)
	page("POST /jobs/{job}/line-up/passes", s.recordPass)
	s.staircasePages(page)
	page("GET /jobs/{job}/captures", s.capturesPage)
	page("POST /jobs/{job}/captures", s.uploadCapture)
	page("GET /jobs/{job}/captures/{seq}", s.capturePage)
	page("POST /jobs/{job}/captures/{seq}", s.measureAgain)
	page("GET /jobs/{job}/captures/{seq}/level-time", s.levelTimePage)
	page("GET /jobs/{job}/progress/{token}", s.progressOf)
	s.listenRoutes(page)
	page("GET /jobs/{job}/wear", s.wearPage)
	page("GET /jobs/{job}/record", s.recordPage)
	page("GET /jobs/{job}/entries/{seq}", s.correctPage)
	page("POST /jobs/{job}/entries/{seq}", s.correct)
	page("POST /jobs/{job}/entries/{seq}/withdraw", s.withdraw)
	page("GET /jobs/{job}/report", s.reportPage)
	s.phonePages(page)
	s.paperPages(page)
	s.picturePages(page)
	s.definePages(page)
	s.meterPages(page)
	s.takeAwayPages(page)
	page("/", func(w http.ResponseWriter, r *http.Request) error {
		return &pageError{status: http.StatusNotFound, title: "There is no such page",
			what: r.URL.Path, hint: "Go to the list of jobs and on from there."}
	})
}

func (s *server) handler() http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.refuse(w, r, &pageError{status: http.StatusForbidden, title: "A write from another site was refused",
			what: r.Header.Get("Origin"), hint: "Open the pages of the bench themselves and write there.", kept: "Nothing was written."})
	}))
	return s.shield(s.guard(cross.Handler(s.limitArrivals(repeatable(s.mux)))))
}
