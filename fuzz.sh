#!/bin/sh
# Throws altered bytes at every parser that meets bytes from outside.
#   ./fuzz.sh MINUTES [PACKAGE]   every target in turn, the minutes shared among them
#   ./fuzz.sh --today SECONDS     a few targets, other ones each day, for so long in all: for ./test.sh
#   ./fuzz.sh --list              the targets
# What fails is kept as a seed in the package's testdata/fuzz: fix it, and leave the seed there.
set -eu
cd "$(dirname "$0")"

targets() { # "package Name", one a line
	grep -rn --include='*_test.go' '^func Fuzz' . | sed -E 's#^\./(.*)/[^/]*_test\.go:[0-9]+:func (Fuzz[A-Za-z0-9_]*)\(.*#\1 \2#' | sort
}

failed() {
	printf '%s\n' "$said"
	exit 1
}

# run PACKAGE NAME SECONDS
run() {
	echo "  $1 $2, $3 s"
	said=$(go test "./$1" -run '^$' -fuzz "^$2\$" -fuzztime "${3}s" -fuzzminimizetime 5s -parallel "${FUZZ_PARALLEL:-1}" 2>&1) ||
		# On a busy machine go test says this of an input that was under way when the time was over.
		case "$said" in
		*"Failing input"* | *"failure while"* | *"panic:"*) failed ;;
		*"context deadline exceeded"*) ;;
		*) failed ;;
		esac
	printf '%s\n' "$said" | grep 'execs:' | tail -n 1
}

list=$(targets)
count=$(printf '%s\n' "$list" | wc -l)
case "${1:-}" in
--list)
	printf '%s\n' "$list"
	;;
--today)
	# So many that each has its turn within a fortnight. Building one package so that it tells
	# what it reaches costs more than the seconds: a day's targets follow each other in the list.
	each=$(((count + 13) / 14))
	first=$(($(date +%s) / 86400 % 14 * each))
	printf '%s\n' "$list" | sed -n "$((first + 1)),$((first + each))p" | while read -r package name; do
		run "$package" "$name" $(($2 / each > 0 ? $2 / each : 1))
	done
	;;
'' | *[!0-9]*)
	echo "usage: ./fuzz.sh MINUTES [PACKAGE] | --today SECONDS | --list" >&2
	exit 2
	;;
*)
	[ -z "${2:-}" ] || list=$(printf '%s\n' "$list" | grep "^${2#./} ")
	count=$(printf '%s\n' "$list" | wc -l)
	printf '%s\n' "$list" | while read -r package name; do
		run "$package" "$name" $(($1 * 60 / count > 0 ? $1 * 60 / count : 1))
	done
	;;
esac
