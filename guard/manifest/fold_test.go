package manifest

import (
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// x is a file record with one XXH64 digest made of a letter.
func x(path, letter string, a Action, previous string) FileRecord {
	return FileRecord{Path: path, Size: 1, Previous: previous, Hashes: []Hash{{Format: "xxh64", Text: strings.Repeat(letter, 16), Action: a}}}
}

func TestFold(t *testing.T) {
	for _, c := range []struct {
		name string
		gens []generation
		want map[string]string
	}{
		{"earliest good value counts", []generation{
			{files: []FileRecord{x("p", "a", Original, "")}},
			{files: []FileRecord{x("p", "b", Failed, "")}},
			{files: []FileRecord{x("p", "a", Verified, "")}},
		}, map[string]string{"p": "a"}},
		{"only failed", []generation{{files: []FileRecord{x("p", "b", Failed, "")}}}, map[string]string{"p": ""}},
		{"not listed stays known", []generation{{files: []FileRecord{x("p", "a", Original, "")}}, {}}, map[string]string{"p": "a"}},
		{"moved", []generation{
			{files: []FileRecord{x("p", "a", Original, "")}},
			{files: []FileRecord{x("q", "a", Verified, "p")}},
		}, map[string]string{"q": "a"}},
		{"moved and changed", []generation{
			{files: []FileRecord{x("p", "a", Original, "")}},
			{files: []FileRecord{x("q", "b", Failed, "p")}},
		}, map[string]string{"q": "a"}},
		{"changed places", []generation{
			{files: []FileRecord{x("p", "a", Original, ""), x("q", "b", Original, "")}},
			{files: []FileRecord{x("p", "b", Verified, "q"), x("q", "a", Verified, "p")}},
		}, map[string]string{"p": "b", "q": "a"}},
		{"moved, and a new one in its place", []generation{
			{files: []FileRecord{x("p", "a", Original, "")}},
			{files: []FileRecord{x("p", "c", Original, ""), x("q", "a", Verified, "p")}},
		}, map[string]string{"p": "c", "q": "a"}},
		{"moved from nowhere", []generation{{files: []FileRecord{x("q", "a", Original, "p")}}}, map[string]string{"q": "a"}},
		{"folder moved", []generation{
			{files: []FileRecord{x("d/p", "a", Original, ""), x("d/e/q", "b", Original, "")}, dirs: []DirRecord{{Path: "d"}}},
			{files: []FileRecord{x("n/p", "a", NoAction, ""), x("n/e/q", "b", NoAction, ""), x("n/new", "c", Original, "")},
				dirs: []DirRecord{{Path: "n", Previous: "d"}}},
		}, map[string]string{"n/p": "a", "n/e/q": "b", "n/new": "c"}},
	} {
		h := &History{Files: map[string]*Known{}, Dirs: map[string]bool{}, DirHash: map[string]DirRecord{}, Former: map[string]bool{}}
		for i := range c.gens {
			c.gens[i].nr = i + 1
			h.fold(&c.gens[i])
		}
		got := map[string]string{}
		for p, k := range h.Files {
			d := k.Digest("xxh64")
			got[p] = d[:min(1, len(d))]
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
}

func TestIgnore(t *testing.T) {
	ig, warnings := NewIgnore([]string{".DS_Store", "ascmhl", "ascmhl/", "*.tmp", "/top", "a/b?", "cache/", "!x", "a**b", "[ab]", "*"})
	if len(warnings) != 4 {
		t.Errorf("warnings: %q", warnings)
	}
	for _, c := range []struct {
		path string
		dir  bool
		want bool
	}{
		{".DS_Store", false, true}, {"d/.DS_Store", false, true}, {"x.DS_Store", false, false},
		{"ascmhl", true, true}, {"d/ascmhl", true, true},
		{"d/x.tmp", false, true}, {"x.tmp.mov", false, false},
		{"top", false, true}, {"d/top", false, false},
		{"a/bc", false, true}, {"a/b", false, false}, {"d/a/bc", false, false},
		{"cache", true, true}, {"cache", false, false}, {"d/cache", true, true},
		{"clip.mov", false, false}, {"!x", false, false},
	} {
		if got := ig.Match(c.path, c.dir); got != c.want {
			t.Errorf("Match(%q, %t) = %t, want %t", c.path, c.dir, got, c.want)
		}
	}
}

func TestPathOrder(t *testing.T) {
	ps := []string{"b", "a.x", "a/z", "a", "a-b/c", "a/b/c", "a/b.c"}
	slices.SortFunc(ps, ComparePaths)
	if diff := cmp.Diff([]string{"a", "a/b/c", "a/b.c", "a/z", "a-b/c", "a.x", "b"}, ps); diff != "" {
		t.Error(diff)
	}
}

func TestJudge(t *testing.T) {
	known := &Known{Digests: []Digest{{"md5", "m"}, {"xxh32", "t"}}}
	for _, c := range []struct {
		name     string
		k        *Known
		computed []Digest
		want     string
	}{
		{"new file", nil, []Digest{{"xxh64", "x"}}, "xxh64 original"},
		{"equal", known, []Digest{{"md5", "m"}}, "md5 verified"},
		{"different", known, []Digest{{"md5", "n"}}, "md5 failed"},
		{"another format after a match", known, []Digest{{"xxh64", "x"}, {"md5", "m"}}, "xxh64 verified, md5 verified"},
		{"no other format after a failure", known, []Digest{{"xxh64", "x"}, {"md5", "n"}}, "md5 failed"},
		{"only a format that is not computed", &Known{Digests: known.Digests[1:]}, []Digest{{"xxh64", "x"}}, "xxh64 original"},
	} {
		hs, _ := Judge(c.k, c.computed, day)
		var got []string
		for _, h := range hs {
			got = append(got, h.Format+" "+string(h.Action))
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

func TestWalkFollowsNothing(t *testing.T) {
	d := newDest(t, map[string]string{"a/x": "1", "b": "2"})
	outside := t.TempDir()
	for _, err := range []error{
		os.Symlink(outside, d.path("A003", "out")), os.Symlink("a", d.path("A003", "in")), os.Symlink("b", d.path("A003", "file")),
		os.WriteFile(outside+"/secret", nil, 0o666),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	tree, err := Walk(t.Context(), d.root, "A003", Ignore{})
	if err != nil {
		t.Fatal(err)
	}
	var files []string
	for _, f := range tree.Files {
		files = append(files, f.Path)
	}
	if diff := cmp.Diff([]string{"a/x", "b"}, files); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"file", "in", "out"}, tree.Odd); diff != "" {
		t.Error(diff)
	}
}
