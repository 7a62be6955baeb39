package guard

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestReadPolicy(t *testing.T) {
	d := DefaultPolicy()
	with := func(change func(p *Policy)) Policy { p := d; change(&p); return p }
	tests := []struct {
		name, file string
		want       Policy
	}{
		{"empty", "", d},
		{"the defaults", "destinations = 2\nrecheck = \"sample\"\nsample_files = 16\nsample_gb = 8\nstart_within = \"30s\"\ndesk_within = \"3m\"\n" +
			"erase_within = \"60s\"\nhashes = []\nreread = false", d},
		{"all stricter", "destinations = 3\nrecheck = \"full\"\nsample_files = 17\nsample_gb = 9\nstart_within = \"20s\"\ndesk_within = \"1m30s\"\n" +
			"erase_within = \"1s\"\nhashes = [\"xxh64\", \"md5\", \"c4\", \"md5\"]\nreread = true",
			Policy{3, RecheckFull, 17, 9e9, 20 * time.Second, 90 * time.Second, time.Second, []string{"c4", "md5"}, true}},
		{"comment", "# ours\nreread = true # twice", with(func(p *Policy) { p.Reread = true })},
		{"most", "destinations = 99\nsample_files = 1000000\nsample_gb = 1000000",
			with(func(p *Policy) { p.Destinations, p.SampleFiles, p.SampleBytes = 99, 1e6, 1e15 })},
	}
	for _, tt := range tests {
		got, err := ReadPolicy(strings.NewReader(tt.file))
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
		if diff := cmp.Diff(tt.want, got); diff != "" {
			t.Errorf("%s: (-want +got)\n%s", tt.name, diff)
		}
	}
}

// TestPolicyRefusesLaxer: every value laxer than the default, and every word that is none, is refused in one line that
// names the word and what is allowed.
func TestPolicyRefusesLaxer(t *testing.T) {
	tests := []struct{ file, word, allowed string }{
		{`destinations = 1`, "destinations = ", "from 2 to 99"},
		{`destinations = 0`, "destinations = ", "from 2 to 99"},
		{`destinations = -2`, "destinations = ", "from 2 to 99"},
		{`destinations = 100`, "destinations = ", "from 2 to 99"},
		{`destinations = 9223372036854775807`, "destinations = ", "from 2 to 99"},
		{`destinations = 2.0`, "destinations = ", "from 2 to 99"},
		{`destinations = "3"`, `destinations = "3"`, "from 2 to 99"},
		{`destinations = [2]`, "destinations = ", "from 2 to 99"},
		{`recheck = "none"`, `recheck = "none"`, `"sample" or "full"`},
		{`recheck = ""`, `recheck = ""`, `"sample" or "full"`},
		{`recheck = "Full"`, `recheck = "Full"`, `"sample" or "full"`},
		{`recheck = false`, "recheck = ", `"sample" or "full"`},
		{`recheck = ["full"]`, "recheck = ", `"sample" or "full"`},
		{`sample_files = 15`, "sample_files = ", "from 16 to"},
		{`sample_files = 0`, "sample_files = ", "from 16 to"},
		{`sample_gb = 7`, "sample_gb = ", "from 8 to"},
		{`sample_gb = 9223372036854775807`, "sample_gb = ", "from 8 to"},
		{`start_within = "31s"`, `start_within = "31s"`, `"1s" to "30s"`},
		{`start_within = "0s"`, `start_within = "0s"`, `"1s" to "30s"`},
		{`desk_within = "3m0.000000001s"`, "desk_within", `"1s" to "3m0s"`},
		{`desk_within = "1h"`, "desk_within", `"1s" to "3m0s"`},
		{`erase_within = "61s"`, `erase_within = "61s"`, `"1s" to "1m0s"`},
		{`erase_within = "-1s"`, "erase_within", `"1s" to "1m0s"`},
		{`erase_within = "999ms"`, "erase_within", `"1s" to "1m0s"`},
		{`erase_within = "9999999h"`, "erase_within", `"1s" to "1m0s"`},
		{`erase_within = 45`, "erase_within = ", `"1s" to "1m0s"`},
		{`erase_within = "soon"`, "erase_within", `"1s" to "1m0s"`},
		{`erase_within = ""`, "erase_within", `"1s" to "1m0s"`},
		{`hashes = ["md4"]`, "hashes = ", "a list of c4, md5"},
		{`hashes = ["xxh32"]`, "hashes = ", "a list of c4, md5"},
		{`hashes = "md5"`, `hashes = "md5"`, "a list of c4, md5"},
		{`hashes = [5]`, "hashes = ", "a list of c4, md5"},
		{`reread = "yes"`, `reread = "yes"`, "true or false"},
		{`reread = 1`, "reread = ", "true or false"},
		{`override = true`, `"override"`, "destinations, recheck"},
		{`Destinations = 3`, `"Destinations"`, "destinations, recheck"},
		{`"" = 3`, `unknown word ""`, "destinations, recheck"},
		{"[lock]\nopen = true", `"lock"`, "destinations, recheck"},
		{"\"a\\nb\" = 1", `"a\nb"`, "destinations, recheck"},
		{"reread = true\nreread = true", "reread", ""},
		{"reread", "", ""},
		{"\xff", "", ""},
		{strings.Repeat("#", policyLimit+1), "more than 65536 bytes", ""},
	}
	for _, tt := range tests {
		got, err := ReadPolicy(strings.NewReader(tt.file))
		if err == nil {
			t.Errorf("%.60q: allowed", tt.file)
			continue
		}
		if s := err.Error(); strings.ContainsAny(s, "\n\r") || !strings.Contains(s, tt.word) || !strings.Contains(s, tt.allowed) {
			t.Errorf("%.60q: error %q, want one line with %q and %q", tt.file, s, tt.word, tt.allowed)
		}
		if diff := cmp.Diff(DefaultPolicy(), got); diff != "" {
			t.Errorf("%.60q: refused, but the policy is not the default:\n%s", tt.file, diff)
		}
	}
}

func TestReadPolicyFaults(t *testing.T) {
	broken := errors.New("input/output error")
	if _, err := ReadPolicy(iotest.ErrReader(broken)); !errors.Is(err, broken) {
		t.Errorf("a read error: %v", err)
	}
	path := filepath.Join(t.TempDir(), "policy.toml")
	if _, err := ReadPolicyFile(path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v, want ErrNotExist", err)
	}
	if err := os.WriteFile(path, []byte("destinations = 1"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadPolicyFile(path); err == nil || !strings.Contains(err.Error(), path) {
		t.Errorf("a laxer file: %v, want an error with its path", err)
	}
	if err := os.WriteFile(path, []byte("destinations = 4"), 0o600); err != nil {
		t.Fatal(err)
	}
	if p, err := ReadPolicyFile(path); err != nil || p.Destinations != 4 {
		t.Errorf("a good file: %+v, %v", p, err)
	}
}

// TestStrict: whatever a policy says, what the lock uses is never laxer than the default, and a stricter value stays.
func TestStrict(t *testing.T) {
	want := DefaultPolicy()
	want.Recheck = RecheckFull
	if diff := cmp.Diff(want, Policy{}.Strict()); diff != "" {
		t.Errorf("nothing said: (-want +got)\n%s", diff)
	}
	span := rapid.Custom(func(t *rapid.T) time.Duration { return time.Duration(rapid.Int64().Draw(t, "ns")) })
	rapid.Check(t, func(t *rapid.T) {
		p := Policy{
			Destinations: rapid.Int().Draw(t, "destinations"), Recheck: Recheck(rapid.IntRange(-2, 4).Draw(t, "recheck")),
			SampleFiles: rapid.Int().Draw(t, "files"), SampleBytes: rapid.Int64().Draw(t, "bytes"),
			StartWithin: span.Draw(t, "start"), DeskWithin: span.Draw(t, "desk"), EraseWithin: span.Draw(t, "erase"),
		}
		s := p.Strict()
		if laxer(s) {
			t.Fatalf("Strict(%+v) = %+v: laxer than the default", p, s)
		}
		if !laxer(p) && s.Destinations != p.Destinations {
			t.Fatalf("Strict(%+v) = %+v: changed what was strict", p, s)
		}
		if diff := cmp.Diff(s, s.Strict()); s.EraseWithin > 0 && s.StartWithin > 0 && s.DeskWithin > 0 && diff != "" {
			t.Fatalf("Strict twice differs:\n%s", diff)
		}
	})
}

// laxer says whether any value is laxer than the default.
func laxer(p Policy) bool {
	d := DefaultPolicy()
	return p.Destinations < d.Destinations || p.Recheck != RecheckSample && p.Recheck != RecheckFull || p.SampleFiles < d.SampleFiles ||
		p.SampleBytes < d.SampleBytes || p.StartWithin > d.StartWithin || p.DeskWithin > d.DeskWithin || p.EraseWithin > d.EraseWithin
}

func TestEnough(t *testing.T) {
	sized := func(sizes ...int64) *Proof {
		p := &Proof{}
		for _, s := range sizes {
			p.Files = append(p.Files, File{Entry: Entry{Size: s}})
		}
		return p
	}
	many := make([]int64, 100)
	upTo := func(n int) []int {
		var all []int
		for i := range n {
			all = append(all, i)
		}
		return all
	}
	full := DefaultPolicy()
	full.Recheck = RecheckFull
	tests := []struct {
		name   string
		pol    Policy
		proof  *Proof
		chosen []int
		ok     bool
	}{
		{"all of few", DefaultPolicy(), sized(1, 2, 3), []int{2, 0, 1}, true},
		{"not all of few", DefaultPolicy(), sized(1, 2, 3), []int{0, 2}, false},
		{"none", DefaultPolicy(), sized(9e9), nil, false},
		{"enough of many", DefaultPolicy(), sized(many...), upTo(16), true},
		{"too few of many", DefaultPolicy(), sized(many...), upTo(15), false},
		{"one big clip of big clips", DefaultPolicy(), sized(9e9, 9e9), []int{1}, true},
		{"a small one would fit", DefaultPolicy(), sized(9e9, 4e9, 3e9), []int{1}, false},
		{"nothing else fits", DefaultPolicy(), sized(9e9, 4e9, 5e9), []int{2}, true},
		{"one too big alone", DefaultPolicy(), sized(9e9, 0, 5e9), []int{0}, true},
		{"exactly fits", DefaultPolicy(), sized(4e9, 4e9, 4e9), []int{0}, false},
		{"what was chosen does not count as left", DefaultPolicy(), sized(1e9, 8e9, 8e9), []int{0}, true},
		{"full", DefaultPolicy(), sized(4e9, 4e9, 4e9), []int{0, 2}, true},
		{"twice the same", DefaultPolicy(), sized(9e9, 1), []int{1, 1}, false},
		{"out of range", DefaultPolicy(), sized(9e9), []int{1}, false},
		{"below range", DefaultPolicy(), sized(9e9), []int{-1}, false},
		{"every file wanted", full, sized(many...), upTo(99), false},
		{"every file given", full, sized(many...), upTo(100), true},
		{"zero policy wants every file", Policy{}, sized(many...), upTo(99), false},
	}
	for _, tt := range tests {
		if err := tt.pol.Enough(tt.proof, tt.chosen); (err == nil) != tt.ok {
			t.Errorf("%s: Enough = %v, want ok %v", tt.name, err, tt.ok)
		}
	}
}

// FuzzPolicy: whatever is read is never laxer than the default, and errors are one line.
func FuzzPolicy(f *testing.F) {
	for _, s := range []string{"", "destinations = 3", "recheck = \"full\"\nerase_within = \"45s\"", "hashes = [\"md5\"]", "[a]\nb = 1",
		"sample_gb = 9\nsample_files = 20", "reread = true", "destinations = 0x7fffffffffffffff", "start_within = 07:32:00", "a.b.c = {d = [[]]}"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) {
		p, err := ReadPolicy(strings.NewReader(file))
		if err != nil && strings.ContainsAny(err.Error(), "\n\r\x1b") {
			t.Errorf("error %q is not one clean line", err)
		}
		if laxer(p) || p.StartWithin < time.Second || p.DeskWithin < time.Second || p.EraseWithin < time.Second {
			t.Errorf("%q gives %+v: laxer than the default, or impossible", file, p)
		}
	})
}
