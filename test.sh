#!/bin/sh
# Runs every check of the project, after installing what the tests use beside Go:
# a browser (chromium); sox, flac and scipy as independent references; a sound server
# (pulseaudio) to capture from; poppler to look at PDF files; PostgreSQL for a shared record.
#   ./test.sh          everything
#   ./test.sh --quick  without the race run and the long coverage runs
set -eu
cd "$(dirname "$0")"

quick=no
[ "${1:-}" = "--quick" ] && quick=yes

have_scipy() { /usr/bin/python3 -c 'import scipy' >/dev/null 2>&1; }
missing=""
command -v chromium >/dev/null 2>&1 || missing="$missing chromium"
command -v sox >/dev/null 2>&1 || missing="$missing sox"
command -v flac >/dev/null 2>&1 || missing="$missing flac"
have_scipy || missing="$missing python3-scipy"
command -v pulseaudio >/dev/null 2>&1 || missing="$missing pulseaudio"
command -v pacat >/dev/null 2>&1 || missing="$missing pulseaudio-utils"
command -v pdftoppm >/dev/null 2>&1 || missing="$missing poppler-utils"
have_postgres() { command -v postgres >/dev/null 2>&1 || ls /usr/lib/postgresql/*/bin/postgres >/dev/null 2>&1; }
have_postgres || missing="$missing postgresql"

if [ -n "$missing" ]; then
	if command -v apt-get >/dev/null 2>&1; then
		sudo=""
		[ "$(id -u)" = 0 ] || sudo="sudo -n"
		echo "installing:$missing"
		# shellcheck disable=SC2086
		{ $sudo apt-get update -qq && DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends $missing fonts-dejavu-core; } >/dev/null 2>&1 ||
			echo "could not install all of:$missing (no network, or no right to install)"
	else
		echo "no apt-get here: install by hand what is named below"
	fi
fi

HEADSTACK_NEED_TOOLS=1
command -v chromium >/dev/null 2>&1 || { HEADSTACK_NEED_TOOLS=0; echo "NOT INSTALLED: chromium. The browser tests are skipped."; }
command -v sox >/dev/null 2>&1 || { HEADSTACK_NEED_TOOLS=0; echo "NOT INSTALLED: sox. The comparison of sound files with it is skipped."; }
command -v flac >/dev/null 2>&1 || { HEADSTACK_NEED_TOOLS=0; echo "NOT INSTALLED: flac. The comparison of FLAC files with it is skipped."; }
command -v pulseaudio >/dev/null 2>&1 && command -v pacat >/dev/null 2>&1 || { HEADSTACK_NEED_TOOLS=0; echo "NOT INSTALLED: pulseaudio or pulseaudio-utils. The capture from a sound server is skipped."; }
have_scipy || { HEADSTACK_NEED_TOOLS=0; echo "NOT INSTALLED: scipy for /usr/bin/python3. The comparison of levels and noise with it is skipped."; }
command -v pdftoppm >/dev/null 2>&1 || { HEADSTACK_NEED_TOOLS=0; echo "NOT INSTALLED: pdftoppm (poppler-utils). The pages of PDF files are not looked at."; }
have_postgres || { HEADSTACK_NEED_TOOLS=0; echo "NOT INSTALLED: postgresql. The record on a server is not tested."; }
export HEADSTACK_NEED_TOOLS

step() { printf '\n== %s\n' "$1"; }

step "formatting"
unformatted=$(gofmt -l . | grep -v '/testdata/' || true)
[ -z "$unformatted" ] || { echo "not formatted: $unformatted"; exit 1; }
step "vet"
go vet ./...
step "staticcheck"
go tool staticcheck ./...
step "builds without cgo for linux, macOS and windows"
for target in linux/amd64 linux/arm64 darwin/arm64 windows/amd64; do
	CGO_ENABLED=0 GOOS=${target%/*} GOARCH=${target#*/} go build -o /dev/null ./cmd/headstack
	echo "  $target"
done
step "tests"
if [ $quick = yes ]; then
	go test -timeout 20m -short ./...
else
	HEADSTACK_LONG=1 go test -timeout 50m ./...
	if command -v gcc >/dev/null 2>&1; then
		step "tests with the race detector, where goroutines are"
		CGO_ENABLED=1 go test -race -short -timeout 30m ./capture ./store ./phone ./instrument ./logbook ./sim/meter
		# Of the pages all but what asks every route in turn.
		CGO_ENABLED=1 go test -race -short -timeout 30m -skip "TestEveryFieldOfTheAPI|TestScriptInTheRecord|TestNoPathLeavesItsPlace|TestEveryWriteFromElsewhere|TestStories|TestFlow|TestAJobByKeyboard" ./web
		CGO_ENABLED=1 go test -race -run TestRankingByAnyNumberOfScouts ./plan
		# Of the measures and the jobs, what each kind of goroutine does once: the rest is arithmetic.
		CGO_ENABLED=1 go test -race -short -timeout 20m -run "TestTwoAtATime|TestDeadTrack|TestUnusedChannel|TestErrors|TestFollow|Example" ./measure
		CGO_ENABLED=1 go test -race -short -timeout 20m -run "Reckon|Next|Together|Wear|Taking|Count|Fault|Draft|Record|Append" ./job/...
		# Of live sound, what waits and is fed; the sound server itself needs real time.
		CGO_ENABLED=1 go test -race -short -timeout 20m -run "TestLevels|TestClock|TestWait|TestDiskFull|TestFeed|TestRunning" ./live
		# Of the command line, what serves or listens: its arithmetic is raced in the packages.
		CGO_ENABLED=1 go test -race -short -timeout 20m -run "TestScripts/(serve|listen|measure|capture|backup|demo)_|TestASimulatedMeter" ./cmd/headstack
		CGO_ENABLED=1 go test -race -short -timeout 20m -run "TestFindErrors|TestFindCut|TestFindNothing|TestSearch|Example" ./testtape
	else
		echo "NOT INSTALLED: gcc. The race run is skipped."
	fi
fi
if [ $quick = no ]; then
	step "parsers against altered bytes: other ones each day, every one within a fortnight"
	./fuzz.sh --today 20
fi
step "all checks passed"
