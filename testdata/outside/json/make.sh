#!/bin/sh
# Makes canonical/numbers.json, then verdicts.tsv and canonical.tsv anew from ajv and canonicalize. With -check it changes nothing, and fails if a table differs.
# The packages go into a directory that is removed at the end.
set -eu
cd "$(dirname "$0")"

command -v npm >/dev/null || {
	echo "make.sh needs node and npm: apt-get install -y nodejs npm" >&2
	exit 2
}
case "${1-}" in
"" | -check) ;;
*) echo "usage: make.sh [-check]" >&2; exit 2 ;;
esac

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp package.json package-lock.json .npmrc ./*.mjs "$work"
(cd "$work" && npm ci --silent)

status=0
keep() { # keep NEW OLD: replaces OLD, or compares
	if [ "$check" = -check ]; then
		diff -u "$2" "$1" || status=1
	else
		cat "$1" >"$2"
	fi
}
check=${1-}
node "$work/numbers.mjs" >"$work/numbers.json"
keep "$work/numbers.json" canonical/numbers.json
for table in verdicts canonical; do
	node "$work/$table.mjs" "$PWD" "$PWD/../../../schema/published" >"$work/$table.tsv"
	keep "$work/$table.tsv" "$table.tsv"
done
exit $status
