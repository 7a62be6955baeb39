package manifest

import (
	"bytes"
	"encoding/hex"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard/hashes"
)

// exampleFiles and the digests below are the worked example of the developer reference to ASC MHL (its section 5), whose
// rule was proved there on the standard's published sample histories. Each file ends with one line feed.
var exampleFiles = map[string]string{
	"Clips/one.mov": "one\n", "Clips/two.mov": "two\n", "Clips/three.mov": "three\n", "notes.txt": "hello\n",
}

func TestFolderHashesOfWorkedExample(t *testing.T) {
	for _, c := range []struct{ format, path, content, structure string }{
		{"md5", "Clips", "e8e2a2418518e1655114e02ac8c26ef8", "7ea62c527bf318d4b2446e25897f2e7d"},
		{"md5", "", "813d7f217c758e421e26274d6627f1dc", "1978810bc71a6275639565f7bb1d6ce9"},
		{"xxh64", "Clips", "646e42408451e0ac", "e2db0c09b9c23d95"},
		{"xxh64", "", "660817945c225076", "207bdb4493093c69"},
		{"sha1", "", "1efcb4cfad503d00574b8f7f7b12b411ad40bd9a", "8b16b37649df70b313b55a6ce4fcb13e29f6c830"},
		{"xxh3", "", "5de0f533979208fd", "846a3ba4ac27cef9"},
		{"xxh128", "", "12f6072f523bb8c29a6bedf299d4e56f", "fda687865f627311f3d7aa71784143f3"},
	} {
		got := folderHashes(t, c.format, exampleFiles, nil)[c.path]
		if hex.EncodeToString([]byte(got.Content)) != c.content || hex.EncodeToString([]byte(got.Structure)) != c.structure {
			t.Errorf("%s %q: content %x structure %x, want %s %s", c.format, c.path, got.Content, got.Structure, c.content, c.structure)
		}
	}
}

// folderHashes runs the hasher over files and empty folders.
func folderHashes(t *testing.T, format string, files map[string]string, empty []string) map[string]Pair {
	t.Helper()
	h, err := hashes.New(format)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]Pair{}
	fh := newFolderHasher(h, func(p string, pair Pair, ok bool) {
		if !ok {
			t.Errorf("folder %q has no hash", p)
		}
		got[p] = pair
	})
	for _, p := range depthFirst(files, empty) {
		if c, ok := files[p]; ok {
			raw, err := hashes.Parse(format, digest(t, format, c))
			if err != nil {
				t.Fatal(err)
			}
			fh.file(p, raw)
		} else {
			fh.dir(p)
		}
	}
	fh.finish()
	return got
}

func TestFolderHashRules(t *testing.T) {
	base := map[string]string{"a/x": "1", "a/y": "2", "b": "3"}
	root := func(files map[string]string, empty ...string) Pair { return folderHashes(t, "xxh64", files, empty)[""] }
	want := root(base)
	if got := root(map[string]string{"a/x": "2", "a/y": "1", "b": "3"}); got.Content != want.Content || got.Structure == want.Structure {
		t.Error("contents that change places must keep content and change structure")
	}
	if got := root(map[string]string{"z/x": "1", "z/y": "2", "b": "3"}); got.Content != want.Content || got.Structure == want.Structure {
		t.Error("a renamed folder must keep content and change structure")
	}
	if got := root(base, "a/empty"); got.Content == want.Content || got.Structure == want.Structure {
		t.Error("an empty folder must count")
	}
	if got := root(map[string]string{"a/x": "1", "a/y": "2", "b": "3", "c": "3"}); got.Content == want.Content {
		t.Error("equal contents must count twice")
	}
	// Our reading: an empty folder hashes the empty string. XXH64 of nothing: xxHash's own documentation.
	if got := folderHashes(t, "xxh64", nil, []string{"e"})["e"]; hex.EncodeToString([]byte(got.Content)) != "ef46db3751d8e999" {
		t.Errorf("empty folder: %x", got.Content)
	}
}

func TestFolderWithoutAllDigestsHasNone(t *testing.T) {
	h, err := hashes.New("xxh64")
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]bool{}
	fh := newFolderHasher(h, func(p string, _ Pair, ok bool) { got[p] = ok })
	fh.file("a/deep/x", nil)
	fh.file("b/y", []byte("12345678"))
	fh.finish()
	if diff := cmp.Diff(map[string]bool{"a/deep": false, "a": false, "b": true, "": false}, got); diff != "" {
		t.Error(diff)
	}
}

// TestExampleManifest reads the reference's example manifest (its section 12), checks it against the schema, and writes
// it again to the same records.
func TestExampleManifest(t *testing.T) {
	b, err := os.ReadFile("testdata/example.mhl")
	if err != nil {
		t.Fatal(err)
	}
	head, files, dirs := decode(t, b)
	if len(files) != 4 || len(dirs) != 1 || len(head.Warnings) != 0 {
		t.Fatalf("%d files, %d folders, warnings %q", len(files), len(dirs), head.Warnings)
	}
	one := files["Clips/one.mov"]
	if one.Size != 4 || len(one.Hashes) != 2 || one.Hashes[0].Text != "5bbf5a52328e7439ae6e719dfe712200" ||
		one.Hashes[1].Action != Original || !one.Modified.Equal(time.Date(2024, 5, 1, 17, 2, 11, 0, time.UTC)) {
		t.Errorf("one.mov: %+v", one)
	}
	want := Creator{Created: time.Date(2024, 5, 1, 18, 15, 0, 0, time.UTC), Zone: true, Hostname: "cart.local", Tool: "our tool",
		Version: "0.1.0", Authors: []Author{{Name: "A. Person", Email: "dw@example.com", Role: "data wrangler"}}}
	if diff := cmp.Diff(want, head.Creator); diff != "" {
		t.Error(diff)
	}
	if head.Process != Transfer || head.RootContent[0].Text != "660817945c225076" {
		t.Errorf("head: %+v", head)
	}
	var again bytes.Buffer
	err = Encode(&again, head, func(yield func(Record) bool) {
		for _, p := range depthFirst(nil, keys(files)) {
			f := files[p]
			yield(Record{File: &f})
		}
		for _, d := range dirs {
			yield(Record{Dir: &d})
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	head2, files2, dirs2 := decode(t, again.Bytes())
	if diff := cmp.Diff([]any{head, files, dirs}, []any{head2, files2, dirs2}); diff != "" {
		t.Error(diff)
	}
	name := t.TempDir() + "/again.mhl"
	if err := os.WriteFile(name, again.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	validate(t, name)
	validate(t, "testdata/example.mhl")
}

func TestNames(t *testing.T) {
	// The form of the reference's section 1: UTC whatever the offset was.
	if got, want := ManifestName(1, "CARD01", day), "0001_CARD01_2024-05-01_181500Z.mhl"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	for _, c := range []struct {
		name, root string
		nr         int
		ok         bool
	}{
		{"0002_CARD01_2024-05-02_070312Z.mhl", "CARD01", 2, true},
		{"0002_CARD_01_2024-05-02_070312.mhl", "CARD_01", 2, true}, // an older sample's form
		{"0003_2024-05-02_070312Z.mhl", "", 3, true},
		{"12345_A_2024-05-02_070312Z.mhl", "A", 12345, true},
		{"0002_CARD01.mhl", "", 0, false},
		{"0002_CARD01_2024-13-02_070312Z.mhl", "", 0, false},
	} {
		nr, root, _, ok := ParseName(c.name)
		if nr != c.nr || root != c.root || ok != c.ok {
			t.Errorf("ParseName(%q) = %d %q %t", c.name, nr, root, ok)
		}
	}
	for _, odd := range []string{"a/b", "\xff", strings.Repeat("x", 201), "a\nb", `a\b`} {
		if got := ManifestName(7, odd, day); got != "0007_2024-05-01_181500Z.mhl" {
			t.Errorf("ManifestName(7, %q) = %q", odd, got)
		}
	}
}

func keys[V any](m map[string]V) []string {
	var ks []string
	for k := range m {
		ks = append(ks, k)
	}
	return ks
}
