#!/bin/sh
# Makes conversions.tsv anew from GNU units and pint. With -check it changes nothing, and fails if the table differs.
set -eu
cd "$(dirname "$0")"

python=/usr/bin/python3
command -v units >/dev/null && "$python" -c 'import pint' 2>/dev/null || {
	echo "make.sh needs GNU units and pint: apt-get install -y units python3-pint" >&2
	exit 2
}

new=$(mktemp)
trap 'rm -f "$new"' EXIT
LC_ALL=C.UTF-8 "$python" conversions.py >"$new"

case "${1-}" in
-check) diff -u conversions.tsv "$new" ;;
"") cat "$new" >conversions.tsv ;;
*) echo "usage: make.sh [-check]" >&2; exit 2 ;;
esac
