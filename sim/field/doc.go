// Package field works out what a replay head gives from the field it would make itself,
// by numerical integration over gap, coating depth and track width.
package field
