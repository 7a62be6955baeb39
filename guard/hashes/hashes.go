// Package hashes computes and writes the digests that proofs and hash lists carry.
//
// A format is named by its ASC MHL element name: "xxh64", "xxh3", "xxh128", "md5", "sha1" and "c4" can be computed;
// "xxh32" can be read (old lists have it) but never computed. Texts are lower-case hexadecimal of full width, in the
// order of digits that xxhsum, md5sum and sha1sum print; a C4 ID (SMPTE ST 2114:2017) is "c4" and 88 digits of base 58.
// All xxHash formats use seed 0.
//
// Nothing here touches a disk. The functions may be called concurrently; a [hash.Hash] belongs to one goroutine.
package hashes

import (
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha512"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"strings"

	"github.com/cespare/xxhash/v2"
	"github.com/zeebo/xxh3"
)

// XXH64 is the format of every proof; the others are extras.
const XXH64 = "xxh64"

// sizes has the digest length in bytes of every format that can be read.
var sizes = map[string]int{
	"c4": sha512.Size, "md5": md5.Size, "sha1": sha1.Size, "xxh128": 16, "xxh3": 8, "xxh32": 4, XXH64: 8,
}

// Formats lists the formats that can be computed, in the order in which a manifest has them (by element name).
func Formats() []string { return []string{"c4", "md5", "sha1", "xxh128", "xxh3", XXH64} }

// Known says whether New can compute format.
func Known(format string) bool { return sizes[format] != 0 && format != "xxh32" }

// New returns a hash for format. The error names the format and what is allowed.
func New(format string) (hash.Hash, error) {
	switch format {
	case "c4":
		return sha512.New(), nil
	case "md5":
		return md5.New(), nil
	case "sha1":
		return sha1.New(), nil
	case "xxh128":
		return wide{xxh3.New()}, nil
	case "xxh3":
		return xxh3.New(), nil
	case XXH64:
		return xxhash.New(), nil
	}
	return nil, fmt.Errorf("hash format %q: not one of %s", format, strings.Join(Formats(), ", "))
}

// wide makes the 128-bit sum of XXH3 a [hash.Hash].
type wide struct{ *xxh3.Hasher }

// Size is the digest length in bytes.
func (wide) Size() int { return 16 }

// Sum appends the canonical (big-endian) digest to b.
func (w wide) Sum(b []byte) []byte {
	s := w.Sum128().Bytes()
	return append(b, s[:]...)
}

// Text writes a digest as manifests and lists have it. It panics if sum has not the format's length: that is a
// mistake of the caller, never of the data.
func Text(format string, sum []byte) string {
	if n := sizes[format]; n == 0 || n != len(sum) {
		panic(fmt.Sprintf("hashes: digest of %d bytes given as %q", len(sum), format))
	}
	if format == "c4" {
		return c4Text(sum)
	}
	return hex.EncodeToString(sum)
}

// Text64 writes an XXH64 sum as sixteen lower-case digits, the way xxhsum prints it.
func Text64(sum uint64) string {
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], sum)
	return hex.EncodeToString(b[:])
}

// Parse reads a digest text back into its bytes and checks length and alphabet. Hexadecimal may be in either case;
// a C4 ID is case-sensitive. xxh32 is accepted.
func Parse(format, text string) ([]byte, error) {
	n := sizes[format]
	if n == 0 {
		return nil, fmt.Errorf("hash format %q: unknown", format)
	}
	if format == "c4" {
		return c4Parse(text)
	}
	if len(text) != 2*n {
		return nil, fmt.Errorf("%s digest %q: %d characters, want %d", format, clip(text), len(text), 2*n)
	}
	sum, err := hex.DecodeString(text)
	if err != nil {
		return nil, fmt.Errorf("%s digest %q: not hexadecimal", format, clip(text))
	}
	return sum, nil
}

// Parse64 reads an XXH64 text.
func Parse64(text string) (uint64, error) {
	sum, err := Parse(XXH64, text)
	if err != nil {
		return 0, err
	}
	return binary.BigEndian.Uint64(sum), nil
}

// clip keeps untrusted text short in an error.
func clip(s string) string {
	const most = 100
	if len(s) > most {
		return s[:most] + "…"
	}
	return s
}
