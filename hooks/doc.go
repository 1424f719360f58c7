// Package hooks judges what a commit is about to hold, and installs what makes git ask.
//
// [Examine] is the one place where rules, records and snapshots meet: the pre-commit hook, fettle save, fettle lint and the gate
// of a server all call it, so they come to the same verdict on the same content.
package hooks
