package manifest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/guard/device"
)

func actions(files map[string]FileRecord) map[string]string {
	m := map[string]string{}
	for p, f := range files {
		for _, h := range f.Hashes {
			m[p+" "+h.Format] = string(h.Action)
		}
	}
	return m
}

func TestFirstCopyIsGenerationOne(t *testing.T) {
	d := newDest(t, exampleFiles)
	extra(t, d.proof, "md5", exampleFiles)
	if err := os.Mkdir(d.path("A003", "Empty"), 0o777); err != nil {
		t.Fatal(err)
	}
	d.mustRecord()
	if n := validateAll(t, d.path("A003", Folder)); n != 1 {
		t.Fatalf("%d manifests", n)
	}
	h := d.history()
	if h.Links[0].Name != "0001_A003_2024-05-01_181500Z.mhl" {
		t.Errorf("name %q", h.Links[0].Name)
	}
	head, files, dirs := d.manifest(1)
	for k, a := range actions(files) {
		if a != "original" {
			t.Errorf("%s is %s", k, a)
		}
	}
	if len(files) != 4 || len(files["notes.txt"].Hashes) != 2 {
		t.Errorf("files: %v", files)
	}
	// The digests of the worked example, section 5 of the reference. The empty folder changes the root's alone.
	if got := dirs["Clips"].Structure[0].Text; got != "e2db0c09b9c23d95" {
		t.Errorf("Clips: %s", got)
	}
	if got := files["Clips/three.mov"].Hashes; got[0].Text != "febe6995bad457991331348f7b9c85fa" || got[1].Text != "f06dcb4728fd06d7" {
		t.Errorf("three.mov: %v", got)
	}
	if _, ok := dirs["Empty"]; !ok || len(dirs) != 2 {
		t.Errorf("folders: %v", dirs)
	}
	if head.Process != Transfer || head.Creator.Tool != "twobin" || head.Creator.Authors[0].Role != "data wrangler" {
		t.Errorf("head: %+v", head)
	}
	if diff := cmp.Diff(DefaultIgnore(), head.Ignore); diff != "" {
		t.Error(diff)
	}
	if len(d.notes) != 0 {
		t.Errorf("notes: %v", d.notes)
	}
	for name := range d.snapshot() {
		if device.IsTemp(name[strings.LastIndexByte(name, '/')+1:]) {
			t.Errorf("%s was left", name)
		}
	}
}

func TestRootHashOfPlainRoll(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.mustRecord()
	head, _, _ := d.manifest(1)
	// Section 5 of the reference.
	if head.RootContent[0].Text != "660817945c225076" || head.RootStructure[0].Text != "207bdb4493093c69" {
		t.Errorf("root: %v %v", head.RootContent, head.RootStructure)
	}
}

func TestOffloadAgainAppendsVerified(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.mustRecord()
	before := d.snapshot()
	extra(t, d.proof, "sha1", exampleFiles)
	d.mustRecord()
	after := d.snapshot()
	for name, c := range before {
		if after[name] != c && name != "A003/"+Folder+"/"+ChainName {
			t.Errorf("%s changed", name)
		}
	}
	if len(after) != len(before)+1 {
		t.Errorf("%d files became %d: only a manifest may be added", len(before), len(after))
	}
	if n := validateAll(t, d.path("A003", Folder)); n != 2 {
		t.Fatalf("%d manifests", n)
	}
	_, files, _ := d.manifest(2)
	for k, a := range actions(files) {
		if a != "verified" { // sha1 is new, and xxh64 matched in the same run
			t.Errorf("%s is %s", k, a)
		}
	}
	if got := d.history().Files["notes.txt"].Digests; len(got) != 2 {
		t.Errorf("known: %v", got)
	}
}

// TestFailedKeepsTheGoodValue: a failed digest is recorded, the run ends as an error, and what counts is still the
// value of the first generation.
func TestFailedKeepsTheGoodValue(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.mustRecord()
	good := d.history().Files["notes.txt"].Digest("xxh64")
	bad := map[string]string{}
	for p, c := range exampleFiles {
		bad[p] = c
	}
	bad["notes.txt"] = "other\n"
	d.write("notes.txt", "other\n")
	d.prove(bad)
	extra(t, d.proof, "md5", bad)
	err := d.record()
	var e *guard.Error
	if !errors.As(err, &e) || e.Kind != guard.KindMismatch || e.Path != "notes.txt" {
		t.Fatalf("error %v", err)
	}
	validateAll(t, d.path("A003", Folder))
	_, files, _ := d.manifest(2)
	hs := files["notes.txt"].Hashes
	if len(hs) != 1 || hs[0].Action != Failed || hs[0].Text != digest(t, "xxh64", "other\n") {
		t.Errorf("recorded: %+v, want only the failed xxh64", hs)
	}
	if got := d.history().Files["notes.txt"].Digest("xxh64"); got != good {
		t.Errorf("known is %s, want %s still", got, good)
	}
	d.write("notes.txt", "hello\n")
	d.prove(exampleFiles)
	d.mustRecord()
	if _, files, _ := d.manifest(3); files["notes.txt"].Hashes[0].Action != Verified {
		t.Errorf("after the repair: %+v", files["notes.txt"].Hashes)
	}
	// Two different lists: the first kept, the second beside it.
	for _, name := range []string{"A003.xxh64", "A003_2.xxh64"} {
		if _, err := os.Stat(d.path(name)); err != nil {
			t.Error(err)
		}
	}
	if _, err := os.Stat(d.path("A003_3.xxh64")); !errors.Is(err, fs.ErrNotExist) {
		t.Error("an equal list was written again")
	}
}

func TestNewFileLaterIsOriginal(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.mustRecord()
	more := map[string]string{"Clips/four.mov": "four\n"}
	for p, c := range exampleFiles {
		more[p] = c
	}
	d.write("Clips/four.mov", "four\n")
	d.prove(more)
	d.mustRecord()
	_, files, _ := d.manifest(2)
	if files["Clips/four.mov"].Hashes[0].Action != Original || files["Clips/one.mov"].Hashes[0].Action != Verified {
		t.Errorf("actions: %v", actions(files))
	}
}

// TestKnownFormatIsComputedFirst: the history has only MD5 (as another program may write it), the offload XXH64. MD5 is
// computed and compared before XXH64 is added; a wrong one fails and adds nothing.
func TestKnownFormatIsComputedFirst(t *testing.T) {
	for _, c := range []struct {
		name, md5 string
		want      string
	}{
		{"equal", digest(t, "md5", "hello\n"), "md5 verified, xxh64 verified"},
		{"different", digest(t, "md5", "x"), "md5 failed"},
		{"", "", "xxh64 original"},
	} {
		d := newDest(t, map[string]string{"notes.txt": "hello\n"})
		hs := []Hash{{Format: "md5", Text: c.md5, Action: Original}}
		if c.md5 == "" {
			hs = []Hash{{Format: "xxh32", Text: "00000000", Action: Original}} // read, never computed
		}
		foreign(t, d.root, "A003", []FileRecord{{Path: "notes.txt", Size: 6, Hashes: hs}})
		err := d.record()
		if (err != nil) != (c.name == "different") {
			t.Errorf("%s: %v", c.name, err)
		}
		_, files, _ := d.manifest(2)
		var got []string
		for _, h := range files["notes.txt"].Hashes {
			got = append(got, h.Format+" "+string(h.Action))
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// foreign writes a first generation with exactly these records, as another program might, and its chain.
func foreign(t *testing.T, root *os.Root, dir string, files []FileRecord) {
	t.Helper()
	if err := root.MkdirAll(join(dir, Folder), 0o777); err != nil {
		t.Fatal(err)
	}
	h := &Header{Creator: Creator{Created: day, Hostname: "other", Tool: "another program"}, Process: InPlace}
	var buf bytes.Buffer
	err := Encode(&buf, h, func(yield func(Record) bool) {
		for i := range files {
			if !yield(Record{File: &files[i]}) {
				return
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	name := ManifestName(1, "X", day.AddDate(0, 0, -1))
	chain, err := EncodeChain([]Link{{Nr: 1, Name: name, C4: digest(t, "c4", buf.String())}})
	if err != nil {
		t.Fatal(err)
	}
	for n, b := range map[string][]byte{name: buf.Bytes(), ChainName: chain} {
		if err := root.WriteFile(join(dir, Folder)+"/"+n, b, 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

func TestDiscardLeavesNothing(t *testing.T) {
	d := newDest(t, exampleFiles)
	before := d.snapshot()
	s, err := d.rec.Stage(t.Context(), d.root, "A003", d.proof, 0)
	if err != nil {
		t.Fatal(err)
	}
	staged := d.snapshot()
	if len(staged) != len(before)+3 {
		t.Errorf("staged %d files, want list, manifest and chain", len(staged)-len(before))
	}
	for name := range staged {
		if _, ok := before[name]; !ok && !device.IsTemp(name[strings.LastIndexByte(name, '/')+1:]) {
			t.Errorf("%q has its final name before it is published", name)
		}
	}
	if err := s.Discard(); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(before, d.snapshot()); diff != "" {
		t.Error(diff)
	}
	if _, err := os.Stat(d.path("A003", Folder)); !errors.Is(err, fs.ErrNotExist) {
		t.Error("the ascmhl folder was left")
	}
	d.mustRecord()
}

// TestCrashAtEveryStep leaves the disk as a power cut would after each rename of Publish, and goes on from there:
// what is on disk is never taken for a finished generation, and the next offload makes a good one.
func TestCrashAtEveryStep(t *testing.T) {
	for _, earlier := range []int{0, 1} {
		for step := range 4 {
			t.Run(fmt.Sprintf("generation %d, step %d", earlier+1, step), func(t *testing.T) {
				d := newDest(t, exampleFiles)
				for range earlier {
					d.mustRecord()
				}
				s, err := d.rec.Stage(t.Context(), d.root, "A003", d.proof, 0)
				if err != nil {
					t.Fatal(err)
				}
				r := s.(*record)
				if step >= 1 {
					if err := r.list.publish(); err != nil {
						t.Fatal(err)
					}
				}
				if step >= 2 {
					if err := r.gen.manifest.place(r.gen.Name); err != nil {
						t.Fatal(err)
					}
				}
				if step >= 3 {
					if err := os.Rename(d.path("A003", Folder, r.gen.chain.name), d.path("A003", Folder, ChainName)); err != nil {
						t.Fatal(err)
					}
				}
				h := d.history()
				want := earlier
				if step == 3 {
					want++
				}
				if len(h.Links) != want {
					t.Errorf("%d generations, want %d", len(h.Links), want)
				}
				if step == 2 && len(h.Unlisted) != 1 {
					t.Errorf("unlisted: %q", h.Unlisted)
				}
				d.now = d.now.Add(1000000000)
				d.mustRecord()
				if h := d.history(); len(h.Links) != want+1 {
					t.Errorf("%d generations after going on, want %d", len(h.Links), want+1)
				}
				validateAll(t, d.path("A003", Folder))
				if step == 2 && len(d.notes) != 1 {
					t.Errorf("notes: %v", d.notes)
				}
			})
		}
	}
}

// TestChainChangedMeanwhile: somebody else's chain stands there when a generation is to be published.
func TestChainChangedMeanwhile(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.mustRecord()
	s, err := d.rec.Stage(t.Context(), d.root, "A003", d.proof, 0)
	if err != nil {
		t.Fatal(err)
	}
	chain := d.path("A003", Folder, ChainName)
	theirs := d.snapshot()["A003/"+Folder+"/"+ChainName] + "<!-- another program was here -->\n"
	if err := os.WriteFile(chain, []byte(theirs), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := s.Publish(); !errors.Is(err, ErrChain) {
		t.Errorf("published over another chain: %v", err)
	}
	if got := d.snapshot()["A003/"+Folder+"/"+ChainName]; got != theirs {
		t.Errorf("the chain was replaced by %q", got)
	}
	if got := d.history(); len(got.Links) != 1 || len(got.Unlisted) != 0 {
		t.Errorf("history: %v, unlisted %v", got.Links, got.Unlisted)
	}
	validateAll(t, d.path("A003", Folder))
}

// TestOnlyOwnLeftoversAreRemoved: something else than a file bears the temporary name. It stays, and nothing is staged.
func TestOnlyOwnLeftoversAreRemoved(t *testing.T) {
	d := newDest(t, exampleFiles)
	name := device.TempName("A003" + ListExt)
	if err := os.Symlink("A003/notes.txt", d.path(name)); err != nil {
		t.Fatal(err)
	}
	if err := d.record(); err == nil {
		t.Error("staged through a symbolic link")
	}
	if fi, err := os.Lstat(d.path(name)); err != nil || fi.Mode().Type() != fs.ModeSymlink {
		t.Errorf("the link was touched: %v %v", fi, err)
	}
	if err := (&temp{folder: d.root, name: "A003"}).drop(); err == nil {
		t.Error("a name that is not temporary was removed")
	}
}

// TestRenameWithoutReplacing asks both ways, the system's and the one for systems that have none.
func TestRenameWithoutReplacing(t *testing.T) {
	for name, rename := range map[string]func(*os.Root, string, string) error{"system": renameNoReplace, "link": linkNoReplace} {
		d := newDest(t, map[string]string{"from": "new", "taken": "old"})
		folder, err := openDir(d.root, "A003")
		if err != nil {
			t.Fatal(err)
		}
		defer folder.Close()
		if err := rename(folder, "from", "taken"); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s: error %v, want %v", name, err, fs.ErrExist)
		}
		if err := rename(folder, "from", "free"); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		want := map[string]string{"A003/taken": "old", "A003/free": "new"}
		if diff := cmp.Diff(want, d.snapshot()); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}

// TestNoNameIsReplaced carries invariant 3: something stands under a name that is to be published.
func TestNoNameIsReplaced(t *testing.T) {
	for _, name := range []string{"A003/ascmhl/0001_A003_2024-05-01_181500Z.mhl", "A003/ascmhl/ascmhl_chain.xml", "A003.xxh64"} {
		d := newDest(t, exampleFiles)
		s, err := d.rec.Stage(t.Context(), d.root, "A003", d.proof, 0)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(d.path(name), []byte("mine"), 0o666); err != nil {
			t.Fatal(err)
		}
		var e *guard.Error
		if err := s.Publish(); !errors.As(err, &e) || e.Kind != guard.KindRecord {
			t.Errorf("%s: %v", name, err)
		}
		if got := d.snapshot()[name]; got != "mine" {
			t.Errorf("%s was replaced by %q", name, got)
		}
		for n := range d.snapshot() {
			if device.IsTemp(n[strings.LastIndexByte(n, '/')+1:]) {
				t.Errorf("%s: %s was left", name, n)
			}
		}
	}
}

func TestLeftoversAreTakenOver(t *testing.T) {
	d := newDest(t, exampleFiles)
	if _, err := d.rec.Stage(t.Context(), d.root, "A003", d.proof, 0); err != nil { // and then the power goes
		t.Fatal(err)
	}
	d.mustRecord()
	validateAll(t, d.path("A003", Folder)) // fails on anything left over
	if es, _ := os.ReadDir(d.top); len(es) != 2 {
		t.Errorf("beside the roll: %v", es)
	}
}

// TestNamesThatXMLCannotHold: the roll is still recorded, the list has every file, and nothing is altered.
func TestNamesThatXMLCannotHold(t *testing.T) {
	files := map[string]string{"ok.mov": "1", "bad\xff.mov": "2", "ctl\x01.mov": "3", "C:/x": "4", "dir\xfe/in": "5", "li\nne": "6"}
	d := newDest(t, files)
	d.mustRecord()
	validateAll(t, d.path("A003", Folder))
	head, recorded, dirs := d.manifest(1)
	if diff := cmp.Diff([]string{"li\nne", "ok.mov"}, depthFirst(nil, keys(recorded))); diff != "" {
		t.Error(diff)
	}
	if !strings.Contains(head.Creator.Comment, "4 files") || len(d.notes) != 1 || d.notes[0].Kind != guard.KindRecord {
		t.Errorf("comment %q, notes %v", head.Creator.Comment, d.notes)
	}
	if len(dirs) != 0 {
		t.Errorf("folders: %v", dirs)
	}
	// The root's hash covers them all the same.
	if want := digest(t, "xxh64", ""); len(head.RootContent) != 1 || head.RootContent[0].Text == want {
		t.Errorf("root: %v", head.RootContent)
	}
	want := folderHashes(t, "xxh64", files, nil)[""]
	if head.RootStructure[0].Text != fmt.Sprintf("%x", want.Structure) {
		t.Errorf("root structure %s, want %x", head.RootStructure[0].Text, want.Structure)
	}
	list := map[string]bool{}
	err := ReadList(strings.NewReader(d.snapshot()["A003.xxh64"]), func(p string, _ uint64) error { list[p] = true; return nil })
	if err != nil {
		t.Fatal(err)
	}
	for p := range files {
		if !list["A003/"+p] {
			t.Errorf("%q is not in the list", p)
		}
	}
}

func TestBrokenHistoryIsNotExtended(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.mustRecord()
	name := d.path("A003", Folder, d.history().Links[0].Name)
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	b[len(b)/2] ^= 1
	if err := os.WriteFile(name, b, 0o666); err != nil {
		t.Fatal(err)
	}
	before := d.snapshot()
	var e *guard.Error
	if err := d.record(); !errors.As(err, &e) || e.Kind != guard.KindRecord || !errors.Is(err, ErrChain) {
		t.Errorf("error %v", err)
	}
	if diff := cmp.Diff(before, d.snapshot()); diff != "" {
		t.Error(diff)
	}
}

func TestCardWithItsOwnHistory(t *testing.T) {
	d := newDest(t, exampleFiles)
	foreign(t, d.root, "A003", []FileRecord{{Path: "notes.txt", Size: 6, Hashes: []Hash{{Format: "md5", Text: digest(t, "md5", "hello\n")}}}})
	all := map[string]string{}
	for p, c := range d.snapshot() {
		all[strings.TrimPrefix(p, "A003/")] = c
	}
	d.prove(all)
	before := d.snapshot()
	d.mustRecord()
	after := d.snapshot()
	if len(after) != len(before)+1 || after["A003.xxh64"] == "" || len(d.notes) != 1 {
		t.Errorf("%d files became %d, notes %v", len(before), len(after), d.notes)
	}
	for p, c := range before {
		if after[p] != c {
			t.Errorf("%s changed", p)
		}
	}
}

// TestHistoryFurtherDown: the card has a folder with a history; its files are referenced, not listed.
func TestHistoryFurtherDown(t *testing.T) {
	d := newDest(t, map[string]string{"a.mov": "a", "REEL/b.mov": "b", "REEL/sub/c.mov": "c"})
	foreign(t, d.root, "A003/REEL", []FileRecord{
		{Path: "b.mov", Size: 1, Hashes: []Hash{{Format: "xxh64", Text: digest(t, "xxh64", "other")}}},
		{Path: "sub/c.mov", Size: 1, Hashes: []Hash{{Format: "xxh64", Text: digest(t, "xxh64", "c")}}},
	})
	all := map[string]string{}
	for p, c := range d.snapshot() {
		all[strings.TrimPrefix(p, "A003/")] = c
	}
	d.prove(all)
	before := d.snapshot()
	d.mustRecord()
	validateAll(t, d.path("A003", Folder))
	head, files, dirs := d.manifest(1)
	if len(files) != 1 || len(dirs) != 1 || len(dirs["REEL"].Content) != 1 {
		t.Errorf("listed %v, %v", files, dirs)
	}
	name := ManifestName(1, "X", day.AddDate(0, 0, -1))
	want := []Reference{{Path: "REEL/ascmhl/" + name, C4: digest(t, "c4", before["A003/REEL/ascmhl/"+name])}}
	if diff := cmp.Diff(want, head.References); diff != "" {
		t.Error(diff)
	}
	pairs := folderHashes(t, "xxh64", map[string]string{"a.mov": "a", "REEL/b.mov": "b", "REEL/sub/c.mov": "c"}, nil)
	if got := head.RootStructure[0].Text; got != fmt.Sprintf("%x", pairs[""].Structure) {
		t.Errorf("root structure %s: the folder further down must count as an ordinary one", got)
	}
	if len(d.notes) != 1 || d.notes[0].Path != "REEL/b.mov" {
		t.Errorf("notes: %v, want one on the file that differs from the card's own history", d.notes)
	}
	for p, c := range before {
		if d.snapshot()[p] != c {
			t.Errorf("%s changed", p)
		}
	}
}

func TestFilesBesideTheCards(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.write("Clips/stray.mov", "stray")
	d.write(".DS_Store", "ignored")
	d.mustRecord()
	validateAll(t, d.path("A003", Folder))
	head, files, dirs := d.manifest(1)
	if len(files) != 4 || len(dirs) != 0 || len(head.RootContent) != 0 || len(d.notes) != 1 {
		t.Errorf("files %d, folders %v, root %v, notes %v", len(files), dirs, head.RootContent, d.notes)
	}
}

func TestStageHeedsContext(t *testing.T) {
	d := newDest(t, exampleFiles)
	before := d.snapshot()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var e *guard.Error
	if _, err := d.rec.Stage(ctx, d.root, "A003", d.proof, 0); !errors.As(err, &e) || e.Kind != guard.KindStopped {
		t.Errorf("error %v", err)
	}
	if diff := cmp.Diff(before, d.snapshot()); diff != "" {
		t.Error(diff)
	}
}

func TestStageRefusesOddFolders(t *testing.T) {
	d := newDest(t, exampleFiles)
	for _, folder := range []string{"", ".", "..", "../A003", "/A003", "A003/../.."} {
		if s, err := d.rec.Stage(t.Context(), d.root, folder, d.proof, 0); err == nil {
			t.Errorf("%q: staged %v", folder, s)
		}
	}
	if err := os.Symlink("A003", d.path("LINK")); err != nil {
		t.Fatal(err)
	}
	if _, err := d.rec.Stage(t.Context(), d.root, "LINK", d.proof, 0); err == nil {
		t.Error("a symbolic link was followed")
	}
}

// TestListWithXxhsum lets the outside tool check the list where it stands.
func TestListWithXxhsum(t *testing.T) {
	xxhsum := tool(t, "xxhsum")
	files := map[string]string{}
	for _, name := range oddNames {
		files["Clips/"+name] = "contents of " + name
		files[name+"/in"] = "x"
	}
	d := newDest(t, files)
	d.mustRecord()
	check := func() (string, error) {
		cmd := exec.CommandContext(t.Context(), xxhsum, "-c", "A003.xxh64")
		cmd.Dir = d.top
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	out, err := check()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if got := strings.Count(out, ": OK\n"); got < len(files)-2 { // all but the two with a line feed, at least
		t.Errorf("xxhsum checked %d of %d:\n%s", got, len(files), out)
	}
	d.write("Clips/ lead", "changed")
	if out, err := check(); err == nil {
		t.Errorf("xxhsum did not notice a change:\n%s", out)
	}
}

// oddNames are names that Linux allows.
var oddNames = []string{
	"plain.mov", "with space", " lead", "  lead", "trail ", "*star", "#hash", "-dash", "--help", "back\\slash", "\\lead", "back\\nslash",
	"cr\rx", "endcr\r", "tab\t", "\xff\xfebad", "q\"uote'", "XXH64 (x) = y", "0123456789abcdef  inner", "\xef\xbb\xbfbom", "e\u0301", "new\nline",
	strings.Repeat("n", 255),
}
