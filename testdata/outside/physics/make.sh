#!/bin/sh
# Makes the tables anew from scipy and from NASA's polynomials. With -check it changes nothing, and fails if a table differs.
set -eu
cd "$(dirname "$0")"

python=/usr/bin/python3
"$python" -c 'import scipy' 2>/dev/null || {
	echo "make.sh needs scipy: apt-get install -y python3-scipy" >&2
	exit 2
}

new=$(mktemp)
trap 'rm -f "$new"' EXIT
differs=0
for table in bessel line_source isentropic beam heat; do
	LC_ALL=C.UTF-8 "$python" "$table.py" >"$new"
	case "${1-}" in
	-check) diff -u "$table.tsv" "$new" || differs=1 ;;
	"") cat "$new" >"$table.tsv" ;;
	*) echo "usage: make.sh [-check]" >&2; exit 2 ;;
	esac
done
exit "$differs"
