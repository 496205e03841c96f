// Package phone lets a phone or tablet on the same local network use the pages of a bench.
// It is shut until a person at the bench machine opens it.
//
// A device joins with a code of six digits that is shown at the bench machine only, holds
// for five minutes, and for one device: after five wrong codes nobody can join until a
// person asks for a new one, so that guessing succeeds once in 200,000. The device then
// keeps a token of 32 random bytes as a cookie; of the token only its SHA-256 is kept here,
// so the file of devices lets nobody in. Each device can be sent away again.
//
// Transport is TLS with a certificate made here, which no authority vouches for: the
// device's browser warns once, and the person compares the fingerprint shown at the bench.
// Only addresses of private networks are listened on (RFC 1918, RFC 4193, and link-local
// ones of RFC 3927 and RFC 4291), never one that the internet reaches.
//
// The package knows nothing of recorders or pages: [Gate.Guard] is put before a handler.
package phone
