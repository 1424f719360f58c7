#!/bin/sh
# Has axe-core and the Nu Html Checker judge every kind of page that fettle makes, and writes what they say to verdicts.tsv. With -check it
# changes nothing, and fails if the table differs. Either way it fails where one of them finds something. The packages go into a directory
# that is removed at the end; FETTLE_PAGES names one where the pages are kept, to be looked at.
set -eu
cd "$(dirname "$0")"

for tool in go git npm java; do
	command -v "$tool" >/dev/null || {
		echo "make.sh needs $tool, and chromium: apt-get install -y git nodejs npm default-jre-headless chromium" >&2
		exit 2
	}
done
case "${1-}" in
"" | -check) ;;
*) echo "usage: make.sh [-check]" >&2; exit 2 ;;
esac

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp package.json package-lock.json .npmrc "$work"
(cd "$work" && npm ci --silent --ignore-scripts)
FETTLE_PAGES=${FETTLE_PAGES:-$work/pages}
FETTLE_AXE=$work/node_modules/axe-core/axe.min.js
export FETTLE_PAGES FETTLE_AXE
mkdir -p "$FETTLE_PAGES"
(cd ../../.. && go test ./cmd/fettle -run '^TestPagesJudgedByOthers$' -count=1)
[ -s "$FETTLE_PAGES/axe.tsv" ] || {
	echo "no page was looked at: is chromium installed?" >&2
	exit 2
}

status=0
java -jar "$work/node_modules/vnu-jar/build/dist/vnu.jar" --errors-only --format gnu "$FETTLE_PAGES"/*.html 2>"$work/said" || status=1
cat "$work/said" >&2
printf '# page\taxe-core\tNu Html Checker\n' >"$work/verdicts.tsv"
while read -r page axe; do
	printf '%s\t%s\t%s\n' "$page" "$axe" "$(grep -c "/$page.html" "$work/said" || :)" >>"$work/verdicts.tsv"
done <"$FETTLE_PAGES/axe.tsv"
if [ "${1-}" = -check ]; then
	diff -u verdicts.tsv "$work/verdicts.tsv" || status=1
else
	cat "$work/verdicts.tsv" >verdicts.tsv
fi
exit $status
