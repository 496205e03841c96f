// Package web serves the pages of the bench and the JSON API under /api/v1.
//
// Both are thin: a handler parses, calls the domain ([Bench], which *job.Bench
// satisfies), and renders. Pages are made by html/template, rendered whole into
// a buffer before the first byte is sent, and complete without JavaScript: links,
// forms, POST then redirect. The scripts in static/ are one module per behaviour,
// attached by data- attributes, and only improve what already works.
//
// # What is guarded
//
// The Host header must name this machine by a loopback name, so that no foreign
// name can be bound to it. A write that a browser marks as coming from another
// origin is refused. The content policy allows the page's own style sheet,
// scripts and nothing else: no inline script, no inline style, no foreign host.
// Uploads are streamed to the files of the bench, bounded in size, and never
// served as anything a browser would run.
//
// # What a loss says
//
// A capture's page says what its losses say of their causes, and with ?against= (and
// &doing=) what changed since an earlier capture; both work as plain links and forms.
//
// # What is light
//
// Pictures are SVG inside the page. Where those of a capture exceed 600 kB together, its
// levels against time have a page of their own, one section at a time. The sound of a
// record programme is sent while it is made, with its length known before; nothing of it
// is kept.
//
// # API
//
// Described by openapi.yaml (OpenAPI 3.1), served at /api/v1/openapi.json and
// .yaml. Errors are application/problem+json (RFC 9457) with a hint and with
// what was kept. Tests check the routes against the document both ways and each
// answer against its schema.
//
// # Limits
//
// No user accounts: who reaches the loopback address is the bench's owner.
package web
