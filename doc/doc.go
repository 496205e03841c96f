// Package doc holds documents of the project that the program shows, so that page and file
// cannot differ.
package doc

import _ "embed" // the documents

// Glossary is the list of words, as Markdown: a heading, paragraphs, and one table of two
// columns, word and meaning.
//
//go:embed GLOSSARY.md
var Glossary string
