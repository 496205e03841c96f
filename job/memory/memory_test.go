package memory_test

import (
	"testing"

	"headstack/job"
	"headstack/job/jobtest"
	"headstack/job/memory"
)

func TestRecord(t *testing.T) {
	jobtest.Record(t, func(*testing.T) job.Record { return new(memory.Record) })
}

func TestFiles(t *testing.T) {
	jobtest.Files(t, func(*testing.T) job.Files { return new(memory.Files) })
}
