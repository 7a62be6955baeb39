package manifest

import (
	"strings"

	"twobin/guard/hashes"
)

// Digest is one value in a format's own spelling (see package hashes).
type Digest struct {
	Format, Text string
}

// c4 is the format of chains and references, always, whatever the files' formats are.
const c4 = "c4"

// KnownFormat tells whether name is a hash element of the schema. One of them, xxh32, is read and never computed.
func KnownFormat(name string) bool { return hashes.Known(name) || name == "xxh32" }

// normalDigest checks a digest's text and gives it in the spelling that we write: hex is compared without regard to
// case, a C4 ID as it is.
func normalDigest(format, text string) (string, error) {
	if _, err := hashes.Parse(format, text); err != nil {
		return "", err
	}
	if format == c4 {
		return text, nil
	}
	return strings.ToLower(text), nil
}
