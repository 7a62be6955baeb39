package journal

import (
	"encoding/binary"
	"math/bits"
	"strings"
)

// codeAlphabet has one sign of each group that looks alike in handwriting: 0 of 0DOQ, 1 of 1IL7, 2 of 2Z, 5 of 5S,
// 6 of 6G, 8 of 8B, U of UV. (The groups are this project's own choice.)
const codeAlphabet = "01234568" + "9ACEFHJKMNPRTUWXY"

// codeLen is the number of signs of a code: 25^12 codes, 55.7 bits.
const codeLen = 12

// codeFolder maps every sign that people may write or type to the one of its group.
const (
	codeLike   = "DOQIL7ZSGBV"
	codeLikeAs = "0001112568U"
)

// CodeOf is the closing code of a journal whose last line is l: three groups of four signs, to be written into the
// paper book. It stands for l.Sum and through the chain for every line before, so it is the one thing that shows that
// whole lines are missing at the end.
func CodeOf(l Line) string {
	const codes = 59604644775390625 // 25^12
	// 128 bits, so that the remainder favours no code.
	n := bits.Rem64(binary.BigEndian.Uint64(l.Sum[:8]), binary.BigEndian.Uint64(l.Sum[8:16]), codes)
	var b [codeLen]byte
	for i := len(b) - 1; i >= 0; i-- {
		b[i] = codeAlphabet[n%uint64(len(codeAlphabet))]
		n /= uint64(len(codeAlphabet))
	}
	return string(b[:4]) + "-" + string(b[4:8]) + "-" + string(b[8:])
}

// SameCode says whether two codes are the same as read and typed by people: upper or lower case, signs that look alike,
// spaces and hyphens make no difference. What is not a code is never the same as anything.
func SameCode(a, b string) bool {
	fa, oka := foldCode(a)
	fb, okb := foldCode(b)
	return oka && okb && fa == fb
}

// foldCode reduces a typed code to its bare signs.
func foldCode(s string) (string, bool) {
	var b strings.Builder
	for _, r := range strings.ToUpper(s) {
		if r == ' ' || r == '-' || r == '.' || r == '\t' {
			continue
		}
		if i := strings.IndexRune(codeLike, r); i >= 0 {
			r = rune(codeLikeAs[i])
		}
		if !strings.ContainsRune(codeAlphabet, r) {
			return "", false
		}
		b.WriteRune(r)
	}
	return b.String(), b.Len() == codeLen
}
