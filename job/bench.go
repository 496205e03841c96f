package job

import (
	"context"
	"sync"
	"time"

	"headstack/diagnosis"
	"headstack/instrument"
	"headstack/machine"
	"headstack/measure"
	"headstack/programme"
	"headstack/signature"
)

// Bench is the service behind command line, pages and API: it knows the
// definitions and test tapes, opens jobs, appends to their record after
// checking each entry against the definition, and asks for the diagnosis.
// It is safe for concurrent use.
type Bench struct {
	rec   Record
	files Files
	opt   BenchOptions

	mu      sync.Mutex
	defs    map[string]*machine.Definition // by SHA-256, as loaded; read-only
	engines map[engineKey]*engine

	reckonings []*reckoning // of the jobs asked about last, the last one last; see reckon.go

	instruments map[string]diagnosis.Instrument // by SHA-256 of the document

	weighed weighed // see shapes.go

	explained  map[string]signature.Explanation   // by the Seqs of the captures; read-only
	conditions map[string]signature.HeadCondition // likewise

	asking asking // instruments that are being asked; see taking.go

	shop shop // what closed jobs teach; see counts.go

	curves   map[string]curveKept // fits of bias staircases, by trim and entries
	caseKept map[string]caseKept  // what jobs show of the open case, by job; see lineupothers.go
	pictures pictureStore
	seen     Growth     // of the record, as far as what is kept here goes; see together.go
	faults   sync.Mutex // held while a fault is numbered and appended; see faultnumber.go
	drafting sync.Mutex // held while a draft is numbered and listed; see draft.go
}

// BenchOptions are what a Bench takes from outside; the zero value is for use,
// tests set fields.
type BenchOptions struct {
	// Now is the clock; nil is time.Now.
	Now func() time.Time
	// Measure measures captures of a test tape; nil is measure.TestTape.
	Measure func(ctx context.Context, sources []measure.Source, opt measure.Options) (measure.Report, error)
	// MeasureProgramme measures replays of a record programme; nil is
	// measure.Recording.
	MeasureProgramme func(ctx context.Context, sources []measure.Source, p *programme.Programme, opt measure.Options) (measure.Report, error)
	// Likelihoods weighs causes for the diagnosis; nil is signature.Likelihoods.
	Likelihoods func(rep measure.Report, opt signature.Options) (signature.Evidence, error)
	// Explain and Compare tell causes from figures; nil are those of package signature.
	Explain func(rep measure.Report, opt signature.Options) (signature.Explanation, error)
	Compare func(before, after measure.Report, between string, opt signature.Options) (signature.Explanation, error)
	// Advise plans what to do next; nil is that of [diagnosis.Engine].
	Advise func(ctx context.Context, e *diagnosis.Engine, ev diagnosis.Evidence, now diagnosis.Situation) (*diagnosis.Advice, error)
	// Settling says when the value of an instrument stands; the zero value is the usual.
	Settling instrument.Settling
	// PDFPage draws a page of a document, counted from 1, as PNG; nil: none is drawn. Errors
	// that the user can do something about are of type [picture.Error].
	PDFPage func(ctx context.Context, data []byte, page int) ([]byte, error)
	// Condition tells the state of heads from figures; nil is signature.Condition.
	Condition func(rep measure.Report, opt signature.Options) (signature.HeadCondition, error)
}

// NewBench makes the service over a record and its files.
func NewBench(rec Record, files Files, opt BenchOptions) *Bench {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Measure == nil {
		opt.Measure = measure.TestTape
	}
	if opt.MeasureProgramme == nil {
		opt.MeasureProgramme = measure.Recording
	}
	if opt.Explain == nil {
		opt.Explain = signature.Explain
	}
	if opt.Likelihoods == nil {
		opt.Likelihoods = signature.Likelihoods
	}
	if opt.Compare == nil {
		opt.Compare = signature.Compare
	}
	if opt.Condition == nil {
		opt.Condition = signature.Condition
	}
	return &Bench{rec: rec, files: files, opt: opt,
		defs: make(map[string]*machine.Definition), engines: make(map[engineKey]*engine), instruments: make(map[string]diagnosis.Instrument),
		explained: make(map[string]signature.Explanation), conditions: make(map[string]signature.HeadCondition),
		caseKept: make(map[string]caseKept)}
}

// NewJob is what intake asks for.
type NewJob struct {
	Definition string // id, or SHA-256 where an older version of it is wanted
	Serial     string
	Owner      string
	Claim      string // what the owner says is wrong, in the owner's words
	Case       measure.CaseState
}

// OpenJob opens a job for one machine. The definition is kept with the job as
// it is now. Errors: [NotFoundError] for the definition, [InvalidError].
func (b *Bench) OpenJob(ctx context.Context, n NewJob) (Job, error) {
	j := Job{Serial: n.Serial, Owner: n.Owner, Claim: n.Claim, Case: n.Case, Opened: b.opt.Now(), Once: nameFor(ctx)}
	err := firstError(
		cleanText("serial number", &j.Serial, maxLine, oneLine),
		cleanText("owner", &j.Owner, maxLine, oneLine),
		cleanText("claim", &j.Claim, maxText, manyLines),
		checkCase(n.Case),
	)
	if err != nil {
		return Job{}, err
	}
	info, yaml, err := b.findDefinition(ctx, n.Definition)
	if err != nil {
		return Job{}, err
	}
	if j.DefinitionSHA, err = b.rec.PutDocument(ctx, yaml); err != nil {
		return Job{}, err
	}
	j.Definition, j.Name = info.ID, info.Name
	return b.rec.AppendJob(ctx, j)
}

// Jobs lists all jobs, the last opened first.
func (b *Bench) Jobs(ctx context.Context) ([]Summary, error) {
	list, err := b.rec.Summaries(ctx)
	for i, k := 0, len(list)-1; i < k; i, k = i+1, k-1 {
		list[i], list[k] = list[k], list[i]
	}
	return list, err
}

// getJob returns a job; a [NotFoundError] names the nearest jobs there are.
func (b *Bench) getJob(ctx context.Context, id string) (Job, error) {
	j, err := b.rec.Job(ctx, id)
	if nf, ok := asNotFound(err); ok {
		list, err := b.rec.Summaries(ctx)
		if err != nil {
			return Job{}, err
		}
		ids := make([]string, len(list))
		for i, s := range list {
			ids[i] = s.ID
		}
		nf.Nearest = nearest(id, ids)
		return Job{}, nf
	}
	return j, err
}
