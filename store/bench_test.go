package store

import (
	"testing"

	"headstack/job/jobtest"
)

func BenchmarkAppendEntry(b *testing.B) {
	s := open(b, b.TempDir(), Options{})
	j := openedJob(b, s)
	e := jobtest.Samples(j.ID)[1]
	e.At = jobtest.Clock
	for b.Loop() {
		if _, err := s.AppendEntry(b.Context(), e); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}

func BenchmarkEntries(b *testing.B) {
	s := open(b, b.TempDir(), Options{})
	j := openedJob(b, s)
	const n = 500
	e := jobtest.Samples(j.ID)[1]
	e.At = jobtest.Clock
	for range n {
		if _, err := s.AppendEntry(b.Context(), e); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		if got, err := s.Entries(b.Context(), j.ID); err != nil || len(got) != n {
			b.Fatal(len(got), err)
		}
	}
	b.ReportMetric(float64(b.N)*n/b.Elapsed().Seconds(), "entries/s")
}
