package hashes

import (
	"crypto/sha512"
	"fmt"
	"math/big"
	"strings"
)

// The digits of a C4 ID and its fixed width: 88 digits of base 58 hold 512 bits (SMPTE ST 2114:2017).
const (
	c4Digits = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"
	c4Width  = 88
	c4Mark   = "c4"
)

// c4Text writes a SHA-512 digest, read as one big-endian number, in base 58, left-padded with the digit zero.
func c4Text(sum []byte) string {
	var text [len(c4Mark) + c4Width]byte
	copy(text[:], c4Mark)
	n, base, digit := new(big.Int).SetBytes(sum), big.NewInt(int64(len(c4Digits))), new(big.Int)
	for i := len(text) - 1; i >= len(c4Mark); i-- {
		n.DivMod(n, base, digit)
		text[i] = c4Digits[digit.Int64()]
	}
	return string(text[:])
}

// c4Parse reads a C4 ID. It refuses another length, characters outside the alphabet and numbers of 2^512 or more.
func c4Parse(text string) ([]byte, error) {
	if len(text) != len(c4Mark)+c4Width || !strings.HasPrefix(text, c4Mark) {
		return nil, fmt.Errorf("c4 digest %q: not %q and %d digits", clip(text), c4Mark, c4Width)
	}
	n, base := new(big.Int), big.NewInt(int64(len(c4Digits)))
	for _, c := range []byte(text[len(c4Mark):]) {
		d := strings.IndexByte(c4Digits, c)
		if d < 0 {
			return nil, fmt.Errorf("c4 digest %q: %q is not a digit", clip(text), c)
		}
		n.Mul(n, base).Add(n, big.NewInt(int64(d)))
	}
	if n.BitLen() > 8*sha512.Size {
		return nil, fmt.Errorf("c4 digest %q: larger than any digest", clip(text))
	}
	return n.FillBytes(make([]byte, sha512.Size)), nil
}
