package signature_test

import (
	"crypto/ed25519"
	"fmt"
	"time"

	"fettle/history/signature"
)

func Example() {
	mara := signature.NewSigner(ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize)))
	line, err := signature.FormatLine("Mara Lind", mara.PublicKey(), "bench PC")
	if err != nil {
		fmt.Println(err)
		return
	}
	record := []byte(`{"kind":"approval"}`)
	armored, err := mara.Sign(record)
	if err != nil {
		fmt.Println(err)
		return
	}

	roster, problems := signature.ParseRoster("approvers", []byte(line+"\n"))
	for _, p := range problems {
		fmt.Println(p)
	}
	at := time.Date(2026, 7, 14, 9, 12, 5, 0, time.UTC)
	who, err := signature.Verify(roster, record, armored, at)
	fmt.Println(who.Principal, err)

	who, err = signature.Verify(roster, []byte(`{"kind":"rejection"}`), armored, at)
	fmt.Printf("%q %v\n", who.Principal, err)
	// Output:
	// Mara Lind <nil>
	// "" the signature does not belong to this text; one of the two was altered (signature did not verify)
}
