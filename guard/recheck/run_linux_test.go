package recheck

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"twobin/guard"
	"twobin/guard/manifest"
)

func TestIntactRollGetsAGeneration(t *testing.T) {
	d := newDrive(t, clips())
	before := snapshot(t, d.top)
	r := d.roll(Options{})
	if r.Folder != rollDir || r.Record != ByHistory || r.Counts != (Counts{Intact: 4}) || !r.OK() || len(r.Warnings) != 0 || r.Bytes != 20 {
		t.Errorf("roll: %+v", r)
	}
	files, dirs := d.generation(rollDir)
	for p, a := range files {
		if a != "xxh64 verified" {
			t.Errorf("%s: %s", p, a)
		}
	}
	// The worked example of the ASC MHL reference, section 5.
	if len(files) != 4 || dirs["Clips"].Structure[0].Text != "e2db0c09b9c23d95" {
		t.Errorf("generation: %v %v", files, dirs)
	}
	validate(t, d.top)
	after := snapshot(t, d.top)
	for p, c := range before {
		if after[p] != c && !strings.HasSuffix(p, manifest.ChainName) {
			t.Errorf("%s changed", p)
		}
	}
	if len(after) != len(before)+1 {
		t.Errorf("%d files became %d", len(before), len(after))
	}
	if r := d.roll(Options{}); r.Generations != 2 || !r.OK() {
		t.Errorf("second recheck: %+v", r)
	}
}

func TestReadOnlyWritesNothing(t *testing.T) {
	d := newDrive(t, clips())
	before := snapshot(t, d.top)
	if r := d.roll(Options{ReadOnly: true}); !r.OK() || len(r.Appended) != 0 {
		t.Errorf("roll: %+v", r)
	}
	if diff := cmp.Diff(before, snapshot(t, d.top)); diff != "" {
		t.Error(diff)
	}
}

// TestEveryClass has one file of each class that needs no broken history or drive.
func TestEveryClass(t *testing.T) {
	d := newDrive(t, clips())
	at := func(p string) string { return d.path(rollDir + "/" + p) }
	d.write(rollDir+"/Clips/one.mov", "ONE\n")
	d.must(os.Remove(at("Clips/two.mov")))
	d.must(os.Rename(at("notes.txt"), at("Clips/moved.txt")))
	d.write(rollDir+"/extra.mov", "extra")
	r := d.roll(Options{})
	want := []string{"changed Clips/one.mov", "renamed Clips/moved.txt from notes.txt", "missing Clips/two.mov", "extra extra.mov"}
	got := said(r)
	for _, w := range want {
		if !strings.Contains(strings.Join(got, "\n"), w) {
			t.Errorf("lacks %q in %q", w, got)
		}
	}
	if r.Counts != (Counts{Intact: 1, Changed: 1, Missing: 1, Extra: 1, Renamed: 1}) || r.OK() {
		t.Errorf("counts: %+v", r.Counts)
	}
	files, _ := d.generation(rollDir)
	wantFiles := map[string]string{
		"Clips/one.mov": "xxh64 failed", "Clips/three.mov": "xxh64 verified",
		"Clips/moved.txt": "xxh64 verified, from notes.txt", "extra.mov": "xxh64 original",
	}
	if diff := cmp.Diff(wantFiles, files); diff != "" {
		t.Error(diff)
	}
	validate(t, d.top)
	// Next time the move is known, the extra file too; the missing one is still missing, the changed one still changed.
	r = d.roll(Options{ReadOnly: true})
	if diff := cmp.Diff([]string{"changed Clips/one.mov", "missing Clips/two.mov"}, said(r)); diff != "" {
		t.Error(diff)
	}
	d.write(rollDir+"/Clips/one.mov", "one\n")
	d.write(rollDir+"/Clips/two.mov", "two\n")
	if r := d.roll(Options{}); !r.OK() || len(r.Files) != 0 {
		t.Errorf("after the repair: %q %q", said(r), r.Faults)
	}
}

func TestMovesAreNotGuessed(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(d *drive) error
		want []string
	}{
		{"two candidates", func(d *drive) error {
			d.write(rollDir+"/x", "hello\n")
			d.write(rollDir+"/y", "hello\n")
			return os.Remove(d.path(rollDir + "/notes.txt"))
		}, []string{"missing notes.txt", "extra x", "extra y"}},
		{"one candidate for two", func(d *drive) error {
			d.write(rollDir+"/x", "same\n")
			return errors.Join(os.Remove(d.path(rollDir+"/a")), os.Remove(d.path(rollDir+"/b")))
		}, []string{"missing a", "missing b", "extra x"}},
		{"other contents", func(d *drive) error {
			d.write(rollDir+"/x", "HELLO\n")
			return os.Remove(d.path(rollDir + "/notes.txt"))
		}, []string{"missing notes.txt", "extra x"}},
		{"still in place", func(d *drive) error { d.write(rollDir+"/x", "hello\n"); return nil }, []string{"extra x"}},
	} {
		files := clips()
		files["a"], files["b"] = "same\n", "same\n"
		d := newDrive(t, files)
		d.must(c.do(d))
		if diff := cmp.Diff(c.want, said(d.roll(Options{}))); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
}

func TestMovedFolder(t *testing.T) {
	d := newDrive(t, clips())
	d.must(os.Rename(d.path(rollDir+"/Clips"), d.path(rollDir+"/Takes")))
	r := d.roll(Options{})
	if r.Counts != (Counts{Intact: 1, Renamed: 3}) || !r.OK() || len(r.Warnings) != 0 {
		t.Errorf("roll: %+v", r)
	}
	_, dirs := d.generation(rollDir)
	if dirs["Takes"].Previous != "Clips" {
		t.Errorf("folders: %+v", dirs)
	}
	validate(t, d.top)
	if r := d.roll(Options{}); r.Counts != (Counts{Intact: 4}) || len(r.Warnings) != 0 {
		t.Errorf("next time: %+v", r)
	}
}

// TestFormatsOfOthers: each format that a manifest may have is verified, a wrong value noticed, XXH32 said to be unchecked.
func TestFormatsOfOthers(t *testing.T) {
	for _, format := range []string{"xxh64", "xxh3", "xxh128", "md5", "sha1", "c4"} {
		d := &drive{t: t, top: t.TempDir(), now: time.Date(2024, 5, 1, 20, 15, 0, 0, time.UTC)}
		d.write("CARD/good", "contents")
		d.write("CARD/bad", "contents")
		d.foreign("CARD", map[string]string{"good": element(t, format, "contents"), "bad": element(t, format, "others")})
		r := d.roll(Options{})
		if diff := cmp.Diff([]string{"changed bad"}, said(r)); diff != "" {
			t.Errorf("%s: %s", format, diff)
		}
		files, _ := d.generation("CARD")
		want := format + " verified, xxh64 verified"
		if format == "xxh64" {
			want = "xxh64 verified"
		}
		if files["good"] != want && files["good"] != "xxh64 verified, "+format+" verified" || files["bad"] != format+" failed" {
			t.Errorf("%s: %q", format, files)
		}
		validate(t, d.top)
	}
	d := &drive{t: t, top: t.TempDir(), now: time.Date(2024, 5, 1, 20, 15, 0, 0, time.UTC)}
	d.write("CARD/x", "contents")
	d.foreign("CARD", map[string]string{"x": "<xxh32>01234567</xxh32>"})
	r := d.roll(Options{})
	if diff := cmp.Diff([]string{"unchecked x"}, said(r)); diff != "" || r.OK() {
		t.Error(diff)
	}
	if files, _ := d.generation("CARD"); len(files) != 0 {
		t.Errorf("an unchecked file became a record: %q", files)
	}
}

func TestListAlone(t *testing.T) {
	d := newDrive(t, map[string]string{"a": "1", "b": "2", "bad\xff": "3", "li\nne": "4"})
	d.must(os.RemoveAll(d.path(rollDir + "/ascmhl")))
	d.write(rollDir+"/.DS_Store", "x")
	before := snapshot(t, d.top)
	r := d.roll(Options{})
	if r.Record != ByList || r.Counts != (Counts{Intact: 4}) || !r.OK() || r.Ignored != 1 {
		t.Errorf("roll: %+v", r)
	}
	if diff := cmp.Diff(before, snapshot(t, d.top)); diff != "" {
		t.Error(diff)
	}
	d.write(rollDir+"/a", "X")
	d.must(os.Rename(d.path(rollDir+"/bad\xff"), d.path(rollDir+"/good")))
	if diff := cmp.Diff([]string{"changed a", "renamed good from bad\xff"}, said(d.roll(Options{}))); diff != "" {
		t.Error(diff)
	}
	d.must(os.RemoveAll(d.path(rollDir)))
	if r := d.roll(Options{}); r.Counts != (Counts{Missing: 4}) || r.OK() {
		t.Errorf("roll folder gone: %+v", r)
	}
}

// TestListAddsWhatManifestsCannotHold: a name that is no UTF-8 is in the list alone, and is checked.
func TestListAddsWhatManifestsCannotHold(t *testing.T) {
	d := newDrive(t, map[string]string{"a": "1", "bad\xff": "3"})
	if r := d.roll(Options{}); r.Counts != (Counts{Intact: 2}) || len(r.Warnings) != 0 {
		t.Errorf("roll: %+v", r)
	}
	d.write(rollDir+"/bad\xff", "X")
	r := d.roll(Options{})
	if diff := cmp.Diff([]string{"changed bad\xff"}, said(r)); diff != "" {
		t.Error(diff)
	}
	b, err := json.Marshal(r)
	d.must(err)
	var again Roll
	d.must(json.Unmarshal(b, &again))
	if string(again.Files[0].PathBytes) != "bad\xff" || again.Files[0].Class != Changed {
		t.Errorf("JSON: %s", b)
	}
}

func TestBrokenHistoryFallsBackOnTheList(t *testing.T) {
	d := newDrive(t, clips())
	d.write(rollDir+"/ascmhl/"+manifest.ChainName, "<x/>")
	before := snapshot(t, d.top)
	r := d.roll(Options{})
	if r.Counts != (Counts{Intact: 4}) || r.OK() || len(r.Faults) != 1 {
		t.Errorf("roll: %+v", r)
	}
	d.must(os.Remove(d.path(rollDir + ".xxh64")))
	if r := d.roll(Options{}); r.Counts != (Counts{Unchecked: 4}) || r.OK() {
		t.Errorf("without a list: %+v", r)
	}
	after := snapshot(t, d.top)
	delete(before, rollDir+".xxh64")
	if diff := cmp.Diff(before, after); diff != "" {
		t.Error(diff)
	}
}

// TestInterruptedFirstGeneration: a power cut between manifest and chain. The manifest is named and not used.
func TestInterruptedFirstGeneration(t *testing.T) {
	d := newDrive(t, clips())
	d.must(os.Remove(d.path(rollDir + "/ascmhl/" + manifest.ChainName)))
	r := d.roll(Options{})
	if r.Record != ByList || r.Counts != (Counts{Intact: 4}) || len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "no chain") {
		t.Errorf("roll: %+v", r)
	}
	d.must(os.Remove(d.path(rollDir + ".xxh64")))
	if r := d.roll(Options{}); r.OK() {
		t.Errorf("without any record: %+v", r)
	}
}

func TestHistoriesFurtherDown(t *testing.T) {
	d := &drive{t: t, top: t.TempDir(), now: time.Date(2024, 5, 1, 20, 15, 0, 0, time.UTC)}
	for p, c := range map[string]string{"REELS/top": "t", "REELS/CARD/a": "a", "REELS/CARD/sub/b": "b", "REELS/CARD/DEEP/c": "c"} {
		d.write(p, c)
	}
	d.foreign("REELS", map[string]string{"top": element(t, "md5", "t")})
	d.foreign("REELS/CARD", map[string]string{"a": element(t, "sha1", "a"), "sub/b": element(t, "sha1", "b")})
	d.foreign("REELS/CARD/DEEP", map[string]string{"c": element(t, "c4", "c")})
	r := d.roll(Options{})
	if r.Counts != (Counts{Intact: 4}) || !r.OK() || len(r.Appended) != 3 {
		t.Fatalf("roll: %+v", r)
	}
	validate(t, d.top)
	root, err := os.OpenRoot(d.top)
	d.must(err)
	defer root.Close()
	for dir, below := range map[string]string{"REELS": "CARD/ascmhl/0002_CARD_", "REELS/CARD": "DEEP/ascmhl/0002_DEEP_", "REELS/CARD/DEEP": ""} {
		h, err := manifest.ReadHistory(t.Context(), root, dir)
		d.must(err)
		refs := h.Newest.References
		if below == "" {
			if len(refs) != 0 {
				t.Errorf("%s: %v", dir, refs)
			}
			continue
		}
		if len(refs) != 1 || !strings.HasPrefix(refs[0].Path, below) {
			t.Fatalf("%s: references %v, want one to %s…", dir, refs, below)
		}
		d.must(manifest.CheckReference(root, dir, refs[0]))
	}
	files, dirs := d.generation("REELS")
	if len(files) != 1 || len(dirs) != 1 || len(dirs["CARD"].Content) != 1 {
		t.Errorf("the upper manifest lists %v and %v", files, dirs)
	}
	if files, dirs := d.generation("REELS/CARD"); len(files) != 2 || len(dirs) != 2 {
		t.Errorf("the middle manifest lists %v and %v", files, dirs)
	}
	// Damage below: noticed through the reference as well, and nothing is extended.
	d.write("REELS/CARD/DEEP/c", "X")
	if diff := cmp.Diff([]string{"changed CARD/DEEP/c"}, said(d.roll(Options{ReadOnly: true}))); diff != "" {
		t.Error(diff)
	}
	d.must(os.Remove(d.path("REELS/CARD/DEEP/ascmhl/0001_X_2024-04-01_100000Z.mhl")))
	before := snapshot(t, d.top)
	r = d.roll(Options{})
	if diff := cmp.Diff([]string{"unchecked CARD/DEEP/c"}, said(r)); diff != "" || r.OK() {
		t.Errorf("%s%q", diff, r.Faults)
	}
	if diff := cmp.Diff(before, snapshot(t, d.top)); diff != "" {
		t.Error(diff)
	}
}

// TestHistoryOfTheCardIsNotExtended: its files are in the checksum list, so they are part of what was proven.
func TestHistoryOfTheCardIsNotExtended(t *testing.T) {
	d := &drive{t: t, top: t.TempDir(), now: time.Date(2024, 5, 1, 20, 15, 0, 0, time.UTC)}
	d.write(rollDir+"/a", "a")
	d.foreign(rollDir, map[string]string{"a": element(t, "md5", "a")})
	files := map[string]string{}
	for p, c := range snapshot(t, d.path(rollDir)) {
		files[p] = c
	}
	d.record(files)
	before := snapshot(t, d.top)
	if r := d.roll(Options{}); !r.OK() || r.Counts != (Counts{Intact: 1}) || len(r.Warnings) != 1 {
		t.Errorf("roll: %+v", r)
	}
	if diff := cmp.Diff(before, snapshot(t, d.top)); diff != "" {
		t.Error(diff)
	}
}

func TestUnicodeFormsAreTheSameFile(t *testing.T) {
	d := newDrive(t, map[string]string{"caf\u00e9": "x", "caf\u00e9s": "y"})
	d.must(os.Rename(d.path(rollDir+"/caf\u00e9"), d.path(rollDir+"/cafe\u0301")))
	d.must(os.Rename(d.path(rollDir+"/caf\u00e9s"), d.path(rollDir+"/cafe\u0301s")))
	d.write(rollDir+"/cafe\u0301s", "Y")
	r := d.roll(Options{})
	want := []string{"renamed cafe\u0301 from caf\u00e9", "changed cafe\u0301s from caf\u00e9s"}
	if diff := cmp.Diff(want, said(r)); diff != "" || len(r.Warnings) != 1 {
		t.Errorf("%s%q", diff, r.Warnings)
	}
}

func TestPathsThatCanBeAsked(t *testing.T) {
	d := newDrive(t, clips())
	d.write("DAY1/B/other/file", "no roll")
	d.foreign("DAY2/CARD", map[string]string{})
	for _, c := range []struct {
		below string
		want  []string
	}{
		{"", []string{rollDir, "DAY2/CARD"}},
		{"DAY1", []string{"A/A003"}},
		{rollDir, []string{"."}},
		{"DAY1/B", nil},
	} {
		var got []string
		rep := d.run(c.below, Options{ReadOnly: true})
		for _, r := range rep.Rolls {
			got = append(got, r.Folder)
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%q: %s", c.below, diff)
		}
		if rep.OK() != (c.want != nil) {
			t.Errorf("%q: OK %t", c.below, rep.OK())
		}
	}
	for path, kind := range map[string]guard.Kind{"nowhere": guard.KindGone, rollDir + "/notes.txt": guard.KindReadBack} {
		var e *guard.Error
		if _, err := Run(t.Context(), d.path(path), Options{}); !errors.As(err, &e) || e.Kind != kind {
			t.Errorf("%s: %v, want %v", path, err, kind)
		}
	}
}

func TestLinksAreNotFollowed(t *testing.T) {
	d := newDrive(t, clips())
	outside := t.TempDir()
	d.must(os.Rename(d.path(rollDir+"/notes.txt"), outside+"/notes.txt"))
	d.must(os.Symlink(outside+"/notes.txt", d.path(rollDir+"/notes.txt")))
	d.must(os.Symlink(d.path("DAY1"), d.path("LINK")))
	d.must(unix.Mkfifo(d.path(rollDir+"/fifo"), 0o666))
	r := d.roll(Options{})
	if diff := cmp.Diff([]string{"missing notes.txt"}, said(r)); diff != "" || len(r.Warnings) != 1 {
		t.Errorf("%s%q", diff, r.Warnings)
	}
}

func TestStopped(t *testing.T) {
	d := newDrive(t, clips())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	before := snapshot(t, d.top)
	var e *guard.Error
	rep, err := Run(ctx, d.top, Options{})
	if !errors.As(err, &e) || e.Kind != guard.KindStopped || rep.Complete || rep.OK() {
		t.Errorf("%v %+v", err, rep)
	}
	if diff := cmp.Diff(before, snapshot(t, d.top)); diff != "" {
		t.Error(diff)
	}
}

func TestBusyRoll(t *testing.T) {
	d := newDrive(t, clips())
	f, err := os.Open(d.path(rollDir))
	d.must(err)
	defer f.Close()
	d.must(unix.Flock(int(f.Fd()), unix.LOCK_EX))
	r := d.roll(Options{})
	if r.OK() || r.Counts != (Counts{Intact: 4}) || len(r.Appended) != 0 || !strings.Contains(r.Faults[0], "another process") {
		t.Errorf("roll: %+v", r)
	}
}

// TestMemoryIsSaidNotToBeTheDevice: on a file system in memory nothing is proven past the cache, and the report says so.
func TestMemoryIsSaidNotToBeTheDevice(t *testing.T) {
	var st unix.Statfs_t
	if err := unix.Statfs("/dev/shm", &st); err != nil || st.Type != unix.TMPFS_MAGIC {
		t.Skip("lacks a tmpfs at /dev/shm")
	}
	top, err := os.MkdirTemp("/dev/shm", "twobin-recheck")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(top) })
	d := &drive{t: t, top: top, now: time.Date(2024, 5, 1, 20, 15, 0, 0, time.UTC)}
	d.write(rollDir+"/a", "a")
	d.record(map[string]string{"a": "a"})
	if r := d.roll(Options{}); r.Past != guard.NotPastCache || r.Reading != "not proven past the cache" {
		t.Errorf("roll: %+v", r)
	}
}

func TestMeter(t *testing.T) {
	d := newDrive(t, clips())
	var m Meter
	d.roll(Options{Meter: &m})
	s := m.Snapshot()
	if s.Counting || s.RollsDone != 1 || s.Rolls != 1 || s.FilesDone != 4 || s.Files != 4 || s.BytesDone != 20 || s.Bytes != 20 {
		t.Errorf("snapshot: %+v", s)
	}
	began := time.Date(2024, 5, 1, 20, 15, 0, 0, time.UTC)
	s = Snapshot{Bytes: 4 << 30, BytesDone: 1 << 30, began: began}
	if left, ok := s.Left(began.Add(10 * time.Second)); !ok || left != 30*time.Second {
		t.Errorf("left: %v %t", left, ok)
	}
	for _, s := range []Snapshot{{}, {Counting: true, Bytes: 5, BytesDone: 1, began: began}, {Bytes: 5, began: began}} {
		if left, ok := s.Left(began.Add(time.Second)); ok {
			t.Errorf("%+v: left %v", s, left)
		}
	}
}
