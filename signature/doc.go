// Package signature tells mechanical from electrical trouble by tape physics: the shape
// of a loss against frequency, over the tracks of a head and in time names its cause.
package signature
