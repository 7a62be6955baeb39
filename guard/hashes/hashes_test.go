package hashes

import (
	"bytes"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// ones is the C4 ID of 64 zero bytes and full the one of 64 bytes 0xff taken as digests: the two ends of the range.
var ones = "c4" + strings.Repeat("1", 88)

const full = "c467rpwLCuS5DGA8KGZXKsVQ7dnPb9goRLoKfgGbLfQg9WoLUgNY77E2jT11fem3coV9nAkguBACzrU1iyZM4B8roQ"

func TestPublishedValues(t *testing.T) {
	t.Parallel()
	// xxHash: github.com/Cyan4973/xxHash, doc/xxhash_spec.md and the README of its test vectors, written down from memory and
	// checked with xxhsum in TestAgainstXxhsum. MD5: RFC 1321 appendix A.5. SHA-1: FIPS 180 example "abc" and the empty
	// string. C4: ST 2114:2017, the rows "alfa" and "hello world" are published, "" and "foo" follow from its rule.
	for _, c := range []struct{ format, in, want string }{
		{"xxh64", "", "ef46db3751d8e999"},
		{"xxh64", "a", "d24ec4f1a98c6e5b"},
		{"xxh64", "abc", "44bc2cf5ad770999"},
		{"xxh3", "", "2d06800538d394c2"},
		{"xxh128", "", "99aa06d3014798d86001c324468d497f"},
		{"md5", "", "d41d8cd98f00b204e9800998ecf8427e"},
		{"md5", "abc", "900150983cd24fb0d6963f7d28e17f72"},
		{"sha1", "abc", "a9993e364706816aba3e25717850c26c9cd0d89d"},
		{"c4", "", "c459dsjfscH38cYeXXYogktxf4Cd9ibshE3BHUo6a58hBXmRQdZrAkZzsWcbWtDg5oQstpDuni4Hirj75GEmTc1sFT"},
		{"c4", "alfa", "c43zYcLni5LF9rR4Lg4B8h3Jp8SBwjcnyyeh4bc6gTPHndKuKdjUWx1kJPYhZxYt3zV6tQXpDs2shPsPYjgG81wZM1"},
		{"c4", "hello world", "c41yP4cqy7jmaRDzC2bmcGNZkuQb3VdftMk6YH7ynQ2Qw4zktKsyA9fk52xghNQNAdkpF9iFmFkKh2bNVG4kDWhsok"},
		{"c4", "foo", "c45xZeXwMSpqXjpDumcHMA6mhoAmGHkUo7r9WmN2UgSEQzj9KjgseaQdkEJ11fGb5S1WEENcV3q8RFWwEeVpC7Fjk2"},
	} {
		h, err := New(c.format)
		if err != nil {
			t.Fatal(err)
		}
		h.Write([]byte(c.in))
		if got := Text(c.format, h.Sum(nil)); got != c.want {
			t.Errorf("%s of %q = %s, want %s", c.format, c.in, got, c.want)
		}
		if sum, err := Parse(c.format, c.want); err != nil || !bytes.Equal(sum, h.Sum(nil)) {
			t.Errorf("Parse(%s, %s) = %x, %v, want %x", c.format, c.want, sum, err, h.Sum(nil))
		}
	}
}

func TestEndsOfC4(t *testing.T) {
	t.Parallel()
	if got := Text("c4", make([]byte, 64)); got != ones {
		t.Errorf("C4 of zero digest = %s, want %s", got, ones)
	}
	if got := Text("c4", bytes.Repeat([]byte{0xff}, 64)); got != full {
		t.Errorf("C4 of full digest = %s, want %s", got, full)
	}
}

func TestParseRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ format, text string }{
		{"xxh64", ""}, {"xxh64", "ef46db3751d8e99"}, {"xxh64", "ef46db3751d8e99g"}, {"xxh64", "ef46db3751d8e9990"},
		{"md5", "ef46db3751d8e999"}, {"crc32", "00000000"}, {"", "00"},
		{"c4", ones[:89]}, {"c4", ones + "1"}, {"c4", "c5" + ones[2:]}, {"c4", "c4" + strings.Repeat("0", 88)},
		{"c4", full[:89] + "R"}, {"c4", "c4" + strings.Repeat("z", 88)},
	} {
		if sum, err := Parse(c.format, c.text); err == nil {
			t.Errorf("Parse(%q, %q) = %x, want an error", c.format, c.text, sum)
		}
	}
	if _, err := New("xxh32"); err == nil {
		t.Error("New(xxh32) gave a hash, want an error: that format is only read")
	}
	if got, err := Parse64("EF46DB3751D8E999"); err != nil || got != 0xef46db3751d8e999 {
		t.Errorf("Parse64 of capitals = %x, %v", got, err)
	}
}

// TestAgainstXxhsum compares with the xxhsum program on random data of many lengths.
func TestAgainstXxhsum(t *testing.T) {
	t.Parallel()
	tool, err := exec.LookPath("xxhsum")
	if err != nil {
		if os.Getenv("TWOBIN_TEST_ALL") != "" {
			t.Fatal("xxhsum is not installed")
		}
		t.Skip("xxhsum is not installed")
	}
	random := rand.NewChaCha8([32]byte{1})
	for _, n := range []int{0, 1, 3, 4, 16, 17, 31, 32, 33, 128, 129, 240, 241, 1024, 4096, 100_003} {
		data := make([]byte, n)
		random.Read(data)
		name := filepath.Join(t.TempDir(), "data")
		if err := os.WriteFile(name, data, 0o600); err != nil {
			t.Fatal(err)
		}
		for format, flag := range map[string]string{"xxh64": "-H1", "xxh128": "-H2", "xxh3": "-H3"} {
			out, err := exec.Command(tool, flag, name).Output()
			if err != nil {
				t.Fatal(err)
			}
			fields := strings.Fields(string(out))
			want := fields[0]
			if flag == "-H3" { // xxhsum writes this one as "XXH3 (name) = digest"
				want = fields[len(fields)-1]
			}
			h, _ := New(format)
			h.Write(data)
			if got := Text(format, h.Sum(nil)); got != want {
				t.Errorf("%s of %d random bytes = %s, xxhsum says %s", format, n, got, want)
			}
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("xxh64", "ef46db3751d8e999")
	f.Add("c4", full)
	f.Fuzz(func(t *testing.T, format, text string) {
		sum, err := Parse(format, text)
		if err != nil {
			return
		}
		if back := Text(format, sum); !strings.EqualFold(back, text) {
			t.Errorf("Text(Parse(%q)) = %q", text, back)
		}
	})
}
