// Package signature makes and checks the signatures under decisions, and reads the rosters that say whose signatures count.
//
// A signature is an SSHSIG: the format of `ssh-keygen -Y sign`, made by an ordinary SSH key over the exact bytes of a record, for
// the one purpose that [Namespace] names. Whoever doubts this package can ask OpenSSH, which must come to the same verdict:
//
//	ssh-keygen -Y verify -n fettle -f approvers -I "Mara Lind" -s record.sig -O verify-time=20260714091205Z < record
//
// A roster is an OpenSSH allowed_signers file (ssh-keygen(1), ALLOWED SIGNERS), one key of one person a line:
//
//	"Mara Lind"  ssh-ed25519 AAAAC3Nza… bench PC
//	jonas        namespaces="fettle",valid-before="20270101Z" sk-ssh-ed25519@openssh.com AAAAGnNr…
//
// The usual path is [ParseRoster], then [Verify] for what others signed, and [Load] with [Signer] for what is to be signed here.
//
// # Where a roster or a signature is judged more strictly than by OpenSSH
//
// A roster decides who may let a recipe onto a machine, so it must mean one thing only, on every computer, and to a person who
// reads it aloud. Nothing is accepted here that ssh-keygen refuses. The other way round, these are refused:
//
//   - principals with * ? or !, several principals in one line, and one key under two principals: a key is one person's;
//   - principals that are empty, over 255 bytes, not UTF-8, with blanks at an end or invisible characters, or that differ from
//     another principal only in case, blanks, compatibility forms (Unicode NFKC) or Cyrillic and Greek letters that look like Latin
//     ones: two names on a screen are two persons;
//   - certificate authorities and certificates: who signed must be readable in the roster itself;
//   - DSA and XMSS keys, RSA keys under 2048 bits, key types this package cannot check;
//   - times without Z (they would mean another moment on another machine), before 1970, or that no calendar has (30 February);
//   - empty options, empty namespaces, a byte order mark, control characters other than the tab, files over 1 MiB;
//   - any roster with a problem, as a whole: OpenSSH passes over a line that it cannot read, and then the order of lines, or a
//     slip in one, decides who is trusted;
//   - in a signature: anything before or after the armor, carriage returns and other characters in it, version 0, reserved or left-over
//     bytes, keys and numbers in a longer form than OpenSSH writes, an Ed25519 signature in its second form (S + L), a security key that was not touched, a
//     WebAuthn signature, and an armor of over 64 KiB.
package signature

// Namespace is the purpose that every signature of fettle carries (`-n fettle`), so that a signature made for git, mail or a
// file can never be passed off as a decision, nor the other way round.
const Namespace = "fettle"
