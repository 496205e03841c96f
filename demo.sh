#!/bin/sh
# Builds ./headstack and runs its demo: ./demo.sh [flags of headstack demo]
# The build flags only make a first build quicker: no debugger tables, and a
# compiler that collects its garbage less often.
set -eu
cd "$(dirname "$0")"
echo "building headstack (a first build takes about a minute)" >&2
GOGC=800 CGO_ENABLED=0 go build -gcflags=all=-dwarf=false -ldflags="-s -w" -o headstack ./cmd/headstack
exec ./headstack demo "$@"
