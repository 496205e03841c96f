package export

import (
	"bytes"
	"encoding/json"
	"path"
	"strings"

	"headstack/job"
)

// format is the version of the layout. A change that this program could not read back
// needs a new one.
const format = 1

// The names inside an export.
const (
	readmeName   = "README.txt"
	indexName    = "index.html"
	manifestName = "bench.json"
	listingsName = "listings.json"
	lostName     = "LOST.txt"
	sumsName     = "SHA256SUMS"

	jobsDir      = "jobs"
	tablesDir    = "tables"
	documentsDir = "documents"
	capturesDir  = "captures"
	picturesDir  = "pictures"
	othersDir    = "others"
)

// manifest is bench.json.
type manifest struct {
	Format  int      `json:"headstack_export"`
	Content Content  `json:"content"`
	Jobs    []string `json:"jobs"` // ids, in the order in which they were opened
	Lost    []Lost   `json:"lost,omitempty"`
}

// jobDocument is jobs/ID.json without its entries.
type jobDocument struct {
	Format int     `json:"headstack_job"`
	Job    job.Job `json:"job"`
}

// Lost is a part that could not be read when the export was written.
type Lost struct {
	What   string `json:"what"` // "file", "document", "entries", "listings", "report"
	ID     string `json:"id"`   // hash, or id of the job
	Reason string `json:"reason"`
}

func jobName(id, ext string) string { return path.Join(jobsDir, id+ext) }

// documentName is by what a document is: this program keeps YAML and JSON.
func documentName(sha string, data []byte) string {
	ext := ".yaml"
	if json.Valid(data) {
		ext = ".json"
	}
	return path.Join(documentsDir, sha+ext)
}

// kinds of file, by how they begin: RIFF/WAVE (IBM and Microsoft, 1991), RF64 (EBU Tech 3306),
// BW64 (ITU-R BS.2088), FLAC (RFC 9639), PNG (W3C, 5.2), JPEG (ITU-T T.81, B.1.1.3), PDF
// (ISO 32000-1, 7.5.2).
var kinds = []struct{ begins, dir, ext string }{
	{"RIFF", capturesDir, ".wav"}, {"RF64", capturesDir, ".wav"}, {"BW64", capturesDir, ".wav"},
	{"fLaC", capturesDir, ".flac"},
	{"\x89PNG\r\n\x1a\n", picturesDir, ".png"}, {"\xff\xd8\xff", picturesDir, ".jpg"},
	{"%PDF-", picturesDir, ".pdf"},
}

// longestBeginning is how much of a file fileName looks at.
const longestBeginning = 8

func fileName(sha string, start []byte) string {
	for _, k := range kinds {
		if bytes.HasPrefix(start, []byte(k.begins)) {
			return path.Join(k.dir, sha+k.ext)
		}
	}
	return path.Join(othersDir, sha+".bin")
}

// hashOfName is the hash that a file of a directory is named by: documents/HASH.yaml.
func hashOfName(name string, dirs ...string) (sha string, ok bool) {
	for _, d := range dirs {
		rest, in := strings.CutPrefix(name, d+"/")
		if sha, _, dot := strings.Cut(rest, "."); in && dot && isHash(sha) && !strings.Contains(rest, "/") {
			return sha, true
		}
	}
	return "", false
}

func isHash(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}
