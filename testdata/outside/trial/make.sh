#!/bin/sh
# Makes the tables anew from scipy and from R. With -check it changes nothing, and fails if a table differs.
set -eu
cd "$(dirname "$0")"

python=/usr/bin/python3
"$python" -c 'import scipy' 2>/dev/null && command -v Rscript >/dev/null || {
	echo "make.sh needs scipy and R: apt-get install -y python3-scipy r-base-core" >&2
	exit 2
}

new=$(mktemp)
trap 'rm -f "$new"' EXIT
differs=0
keep() { # keep TABLE: replaces it by what was made, or compares
	case "$check" in
	-check) diff -u "$1" "$new" || differs=1 ;;
	"") cat "$new" >"$1" ;;
	*) echo "usage: make.sh [-check]" >&2; exit 2 ;;
	esac
}
check=${1-}
LC_ALL=C.UTF-8 "$python" -W ignore numbers_by_scipy.py >"$new"
keep statistics.tsv
LC_ALL=C.UTF-8 Rscript --vanilla numbers_by_r.R >"$new"
keep statistics-r.tsv
exit "$differs"
