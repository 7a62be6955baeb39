package procedure

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
)

// Camera is a camera's letter, or two letters on shows with more than twenty-six cameras: "A", "AB". Upper case.
type Camera string

// Label names a roll: camera letter, then number, as written on the tape and on the card: "A003".
// Always in the normal form that [ParseLabel] gives: upper case, at least three digits.
type Label string

// Limits of a label. The digits are what fits on a strip of tape (common practice, no source).
const (
	maxCameraLetters = 2
	minLabelDigits   = 3
	maxLabelDigits   = 4
)

// ParseLabel reads a label as a person types it: blanks around it and lower case are accepted, "a3" is A003.
// The error says in one line what a label looks like.
func ParseLabel(s string) (Label, error) {
	t := strings.ToUpper(strings.TrimSpace(s))
	i := 0
	for i < len(t) && t[i] >= 'A' && t[i] <= 'Z' {
		i++
	}
	letters, digits := t[:i], t[i:]
	if len(letters) == 0 || len(letters) > maxCameraLetters || len(digits) == 0 || len(digits) > maxLabelDigits {
		return "", fmt.Errorf("%q is not a label: one or two camera letters, then a number, like A003", clip(s, 20))
	}
	n := 0
	for _, c := range []byte(digits) {
		if c < '0' || c > '9' {
			return "", fmt.Errorf("%q is not a label: one or two camera letters, then a number, like A003", clip(s, 20))
		}
		n = n*10 + int(c-'0')
	}
	if n == 0 {
		return "", fmt.Errorf("%q is not a label: numbers begin at 001", clip(s, 20))
	}
	return MakeLabel(Camera(letters), n), nil
}

// MakeLabel builds the label of a camera's n-th roll (n from 1).
func MakeLabel(c Camera, n int) Label {
	return Label(fmt.Sprintf("%s%0*d", c, minLabelDigits, n))
}

// Camera is the label's camera letter.
func (l Label) Camera() Camera {
	return Camera(strings.TrimRight(string(l), "0123456789"))
}

// Number is the label's number, 0 for the zero Label.
func (l Label) Number() int {
	n, err := strconv.Atoi(strings.TrimLeft(string(l), "ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
	if err != nil {
		return 0
	}
	return n
}

// ParseCamera reads a camera letter.
func ParseCamera(s string) (Camera, error) {
	t := strings.ToUpper(strings.TrimSpace(s))
	if len(t) == 0 || len(t) > maxCameraLetters || strings.Trim(t, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		return "", fmt.Errorf("%q is not a camera letter: one or two letters, like A", clip(s, 20))
	}
	return Camera(t), nil
}

// clip shortens text from outside for a message and takes control characters out of it.
func clip(s string, n int) string {
	s = Plain(s)
	if r := []rune(s); len(r) > n {
		return string(r[:n]) + "…"
	}
	return s
}

// Plain makes text from outside safe to show: control characters, line ends of any kind, and all that is not seen but
// turns, joins or hides text (Unicode's format characters, and its fillers) become '·'; bytes that are not UTF-8 become '?'.
func Plain(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 0x20 && r < 0x7F: // nearly all there is
		case r == '\uFFFD':
			return '?'
		case unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp), strings.ContainsRune("\u115F\u1160\u3164\uFFA0", r):
			return '·'
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}

// Place is where a roll is now. The zero value is unknown.
type Place int

// The places of a roll, in the order in which the routine visits them.
const (
	PlaceUnknown  Place = iota
	PlaceRedBin         // not safe yet
	PlaceHand           // taken out of the red bin, not seated yet
	PlaceReader         // in the reader
	PlaceDesk           // out of the reader, waiting for the look
	PlaceGreenBin       // proven safe
	PlaceReturned       // handed back
)

// String is the place in the words of the screen.
func (p Place) String() string {
	switch p {
	case PlaceRedBin:
		return "red bin"
	case PlaceHand:
		return "in hand"
	case PlaceReader:
		return "reader"
	case PlaceDesk:
		return "desk"
	case PlaceGreenBin:
		return "green bin"
	case PlaceReturned:
		return "returned"
	case PlaceUnknown:
	}
	return "unknown"
}
