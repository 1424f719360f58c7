#!/bin/sh
# Asks ssh-keygen about every roster, signature and time here and writes verdicts.tsv. With -check it changes nothing, and fails
# if the table differs. With -keys it first makes new keys, signatures and rosters; the private keys are thrown away.
set -eu
cd "$(dirname "$0")"
export LC_ALL=C TZ=UTC

command -v ssh-keygen >/dev/null || {
	echo "make.sh needs ssh-keygen: apt-get install -y openssh-client" >&2
	exit 2
}
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT

keys() {
	rm -f signatures/* rosters/*
	mkdir -p signatures rosters
	printf '%s' '{"kind":"approval","text":"cut well at 0.42 bar, längs und quer"}' >message
	while read -r name options; do
		# shellcheck disable=SC2086 # the options are words
		ssh-keygen -q -N '' -C "$name" -f "$tmp/$name" $options
		for hash in sha512 sha256; do
			ssh-keygen -q -Y sign -n fettle -O hashalg=$hash -f "$tmp/$name" <message >"signatures/$name-$hash" 2>/dev/null
		done
	done <<-END
		ed25519 -t ed25519
		ecdsa-256 -t ecdsa -b 256
		ecdsa-384 -t ecdsa -b 384
		ecdsa-521 -t ecdsa -b 521
		rsa-2048 -t rsa -b 2048
		rsa-4096 -t rsa -b 4096
	END
	ssh-keygen -q -Y sign -n git -f "$tmp/ed25519" <message >signatures/ed25519-for-git 2>/dev/null
	printf 'another text' | ssh-keygen -q -Y sign -n fettle -f "$tmp/ed25519" >signatures/ed25519-over-another-text 2>/dev/null
	head -n 3 signatures/ed25519-sha512 >signatures/ed25519-cut-off
	ssh-keygen -q -N '' -C stranger -f "$tmp/stranger" -t ed25519
	ssh-keygen -q -Y sign -n fettle -f "$tmp/stranger" <message >signatures/stranger-sha512 2>/dev/null

	key() { cat "$tmp/$1.pub"; }
	{
		echo '# who may approve'
		for k in ed25519 ecdsa-256 ecdsa-384 ecdsa-521 rsa-2048 rsa-4096; do echo "$k $(key $k)"; done
	} >rosters/everyone
	sed 's/$/\r/' rosters/everyone >rosters/crlf
	echo "\"Mara Lind\" $(key ed25519)" >rosters/quoted
	printf '%s\n' "ed25519 valid-after=\"20260101Z\",valid-before=\"20260630235959Z\" $(key ed25519)" \
		"ecdsa-256 valid-after=\"202607010000Z\" $(key ecdsa-256)" >rosters/limited
	printf '%s\n' "ed25519 namespaces=\"git\" $(key ed25519)" "ecdsa-256 namespaces=\"git,fettle\" $(key ecdsa-256)" \
		"ecdsa-384 namespaces=\"*,!fettle\" $(key ecdsa-384)" "rsa-2048 namespaces=\"f*\" $(key rsa-2048)" >rosters/purposes
	: >rosters/nobody
}

verdicts() {
	printf '# roster\tsignature\ttime\tprincipal\tverify\tfind-principals\n'
	for roster in rosters/*; do
		for signature in signatures/*; do
			for time in 20260101000000Z 20260630235959Z 20260701000000Z; do
				found=$(ssh-keygen -Y find-principals -f "$roster" -s "$signature" -O verify-time=$time 2>/dev/null) || found=-
				# Who nobody finds is asked for by the name of the key.
				principal=$found
				[ "$found" != - ] || principal=$(basename "$signature" | sed 's/-\(sha512\|sha256\|for-git\|over-another-text\|cut-off\)$//')
				if ssh-keygen -q -Y verify -n fettle -f "$roster" -I "$principal" -s "$signature" -O verify-time=$time <message >/dev/null 2>&1; then
					verdict=good
				else
					verdict=refused
				fi
				printf '%s\t%s\t%s\t%s\t%s\t%s\n' "${roster#*/}" "${signature#*/}" "$time" "$principal" "$verdict" "$found"
			done
		done
	done
}

case "${1-}" in
"" | -check) ;;
-keys) keys ;;
*) echo "usage: make.sh [-check | -keys]" >&2; exit 2 ;;
esac
verdicts >"$tmp/verdicts.tsv"
if [ "${1-}" = -check ]; then
	diff -u verdicts.tsv "$tmp/verdicts.tsv"
else
	cat "$tmp/verdicts.tsv" >verdicts.tsv
fi
