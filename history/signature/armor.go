package signature

import (
	"encoding/base64"
	"fmt"
	"strings"
)

const (
	armorHead = "-----BEGIN SSH SIGNATURE-----"
	armorFoot = "-----END SSH SIGNATURE-----"

	armorWidth   = 70       // characters a line, as ssh-keygen writes them
	longestArmor = 64 << 10 // over ten times the largest RSA signature
)

// armor writes a signature in wire format as ssh-keygen does, to the byte, so that who made it cannot be seen from its layout.
func armor(wire []byte) string {
	var b strings.Builder
	b.WriteString(armorHead + "\n")
	text := base64.StdEncoding.EncodeToString(wire)
	for len(text) > armorWidth {
		b.WriteString(text[:armorWidth] + "\n")
		text = text[armorWidth:]
	}
	b.WriteString(text + "\n" + armorFoot + "\n")
	return b.String()
}

// unarmor gives the wire format. It takes lines of any width, as other programs write them, but nothing besides them.
func unarmor(text string) ([]byte, error) {
	if len(text) > longestArmor {
		return nil, fmt.Errorf("%w: %d bytes are too many", ErrMalformed, len(text))
	}
	body, ok := strings.CutPrefix(text, armorHead+"\n")
	if !ok {
		return nil, fmt.Errorf("%w: it must start with the line %q", ErrMalformed, armorHead)
	}
	body, rest, ok := strings.Cut(body, "\n"+armorFoot)
	if !ok {
		return nil, fmt.Errorf("%w: the line %q is missing, as if it were cut off", ErrMalformed, armorFoot)
	}
	if strings.Trim(rest, "\n") != "" {
		return nil, fmt.Errorf("%w: something follows the line %q", ErrMalformed, armorFoot)
	}
	if strings.Contains(body, "\r") { // the decoder would pass over it
		return nil, fmt.Errorf("%w: a carriage return within it", ErrMalformed)
	}
	wire, err := base64.StdEncoding.Strict().DecodeString(body)
	if err != nil {
		return nil, fmt.Errorf("%w: what is between the lines is not base64", ErrMalformed)
	}
	return wire, nil
}
