package journal

import (
	"crypto/sha256"
	"math/big"
	"regexp"
	"strings"
	"testing"
)

func TestCodeOf(t *testing.T) {
	t.Parallel()
	form := regexp.MustCompile(`^([0-9A-Z]{4}-){2}[0-9A-Z]{4}$`)
	seen := map[string]bool{}
	used := map[rune]int{}
	for i := range 2000 {
		sum := sha256.Sum256([]byte{byte(i), byte(i >> 8)})
		code := CodeOf(Line{Sum: sum})
		if !form.MatchString(code) || strings.ContainsAny(code, codeLike) || seen[code] {
			t.Fatalf("code %q", code)
		}
		seen[code] = true
		for _, r := range code {
			used[r]++
		}
		// The same reckoned with whole numbers of any size.
		n := new(big.Int).SetBytes(sum[:16])
		n.Mod(n, new(big.Int).Exp(big.NewInt(25), big.NewInt(12), nil))
		var want string
		for d := new(big.Int); len(want) < codeLen; {
			n.DivMod(n, big.NewInt(25), d)
			want = string(codeAlphabet[d.Int64()]) + want
		}
		if got := strings.ReplaceAll(code, "-", ""); got != want {
			t.Fatalf("code %s, want %s", got, want)
		}
	}
	for _, r := range codeAlphabet {
		if used[r] < 2000*12/25*8/10 {
			t.Errorf("sign %c in only %d places", r, used[r])
		}
	}
	if a, b := len(codeAlphabet), len(codeLike); a != 25 || a+b != 36 || b != len(codeLikeAs) {
		t.Errorf("%d signs and %d that look like them, want all 36 letters and digits", a, b)
	}
}

func TestSameCode(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		a, b string
		want bool
	}{
		{"0125-68UA-CE34", "0125-68UA-CE34", true},
		{"0125-68UA-CE34", "0125 68ua ce34", true},
		{"0125-68UA-CE34", "oizsgbvace34", true},
		{"0125-68UA-CE34", "Dl25.68va.ce34", true},
		{"0125-68UA-CE34", "Q72568UACE34", true},
		{"0125-68UA-CE34", "0125-68UA-CE35", false},
		{"0125-68UA-CE34", "0125-68UA-CE3", false},
		{"0125-68UA-CE34", "0125-68UA-CE344", false},
		{"0125-68UA-CE34", "1025-68UA-CE34", false},
		{"0125-68UA-CE3?", "0125-68UA-CE3?", false},
		{"", "", false},
	} {
		if got := SameCode(tt.a, tt.b); got != tt.want {
			t.Errorf("SameCode(%q, %q) = %v", tt.a, tt.b, got)
		}
	}
}
