// Package pgtest starts a PostgreSQL server of its own for tests: in a temporary folder, on a
// socket there and a free loopback port, one for each test binary. Without an installed server
// a test is skipped, with what would be checked, or fails where HEADSTACK_NEED_TOOLS is 1.
package pgtest
