#!/bin/sh
# Makes the tables anew from scikit-learn, scipy and R. With -check it changes nothing, and fails if a table differs.
set -eu
cd "$(dirname "$0")"

python=/usr/bin/python3
"$python" -c 'import scipy, sklearn' 2>/dev/null || {
	echo "make.sh needs scipy and scikit-learn: apt-get install -y python3-scipy python3-sklearn" >&2
	exit 2
}
Rscript -e 'library(robustbase)' >/dev/null 2>&1 || {
	echo "make.sh needs R with robustbase: apt-get install -y r-base-core r-cran-robustbase" >&2
	exit 2
}

new=$(mktemp)
trap 'rm -f "$new"' EXIT
differs=0
for table in isotonic.py lines.py curve.py order.R spread.R; do
	name=${table%.*}
	case "$table" in
	*.py) LC_ALL=C.UTF-8 "$python" "$table" >"$new" ;;
	*.R) LC_ALL=C.UTF-8 Rscript "$table" >"$new" ;;
	esac
	case "${1-}" in
	-check) diff -u "$name.tsv" "$new" || differs=1 ;;
	"") cat "$new" >"$name.tsv" ;;
	*) echo "usage: make.sh [-check]" >&2; exit 2 ;;
	esac
done
exit "$differs"
