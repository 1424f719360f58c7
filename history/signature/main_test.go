package signature

import (
	"fmt"
	"io"
	"os"
	"testing"
)

// childEnv makes the test binary a program that signs its standard input with the key named there, so that tests can run it
// without a terminal, or on one of their own.
const childEnv = "FETTLE_SIGNATURE_TEST_SIGN_WITH"

func TestMain(m *testing.M) {
	if ref := os.Getenv(childEnv); ref != "" {
		os.Exit(signInChild(ref))
	}
	for _, name := range []string{"SSH_AUTH_SOCK", "SSH_ASKPASS", "SSH_ASKPASS_REQUIRE", "DISPLAY", "WAYLAND_DISPLAY"} {
		os.Unsetenv(name)
	}
	os.Exit(m.Run())
}

func signInChild(ref string) int {
	message, err := io.ReadAll(os.Stdin)
	if err == nil {
		var s Signer
		if s, err = Load(ref); err == nil {
			var armored string
			if armored, err = s.Sign(message); err == nil {
				fmt.Print(armored)
				return 0
			}
		}
	}
	fmt.Fprintln(os.Stderr, err)
	return 1
}
