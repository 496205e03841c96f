// Package jobtest says in tests what every job.Record and job.Files must do.
// The packages that implement one run the suite on theirs.
package jobtest
