package device

import (
	"bytes"
	"crypto/md5"
	"errors"
	"hash"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/cespare/xxhash/v2"
	"pgregory.net/rapid"

	"twobin/guard"
)

func openRoot(t testing.TB, path string) *Root {
	t.Helper()
	r, err := OpenRoot(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.Close() })
	return r
}

func TestTempNames(t *testing.T) {
	t.Parallel()
	name := TempName("CLIPS/A003C001.mov")
	if !IsTemp(name) || len(name) != 29 || name == TempName("CLIPS/A003C002.mov") {
		t.Errorf("TempName = %q", name)
	}
	for _, other := range []string{
		"", ".twobin-.part", ".twobin-0123456789abcde.part", ".twobin-0123456789abcdefa.part", ".twobin-0123456789ABCDEF.part",
		".twobin-0123456789abcdeg.part", "twobin-0123456789abcdef.part", ".twobin-0123456789abcdef.part ", ".twobin-0123456789abcdef",
		"a/.twobin-0123456789abcdef.part", ".part", ".twobin-+123456789abcdef.part",
	} {
		if IsTemp(other) {
			t.Errorf("IsTemp(%q) = true", other)
		}
	}
}

// TestOnlyTemporaryNamesAreMadeOrRemoved: the guard that invariant 3 rests on.
func TestOnlyTemporaryNamesAreMadeOrRemoved(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := openRoot(t, dir)
	for _, name := range []string{"clip.mov", "empty"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("footage"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "folder"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := r.RemoveTemp("clip.mov"); !errors.Is(err, fs.ErrPermission) {
		t.Errorf("RemoveTemp = %v, want %v", err, fs.ErrPermission)
	}
	if err := r.RemoveTempFolder("folder"); !errors.Is(err, fs.ErrPermission) {
		t.Errorf("RemoveTempFolder = %v, want %v", err, fs.ErrPermission)
	}
	if err := r.RemoveTrial("folder"); !errors.Is(err, fs.ErrPermission) {
		t.Errorf("RemoveTrial = %v, want %v", err, fs.ErrPermission)
	}
	if _, err := r.Create("clip.mov", 1, false); !errors.Is(err, fs.ErrInvalid) {
		t.Errorf("Create = %v, want %v", err, fs.ErrInvalid)
	}
	if err := r.Place("clip.mov", "other.mov"); !errors.Is(err, fs.ErrInvalid) {
		t.Errorf("Place = %v, want %v", err, fs.ErrInvalid)
	}
	for _, name := range []string{"", ".", "..", "a/b", "../x", "a\x00b"} {
		if err := r.Place(TempName("x"), name); err == nil {
			t.Errorf("Place to %q went through", name)
		}
		if _, err := r.OpenRead(name); err == nil {
			t.Errorf("OpenRead of %q went through", name)
		}
		if _, err := r.Sub(name); err == nil {
			t.Errorf("Sub of %q went through", name)
		}
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 3 {
		t.Errorf("left = %v, %v", left, err)
	}
}

func TestPlaceNeverReplaces(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := openRoot(t, dir)
	if err := os.WriteFile(filepath.Join(dir, "clip.mov"), []byte("footage"), 0o644); err != nil {
		t.Fatal(err)
	}
	w, err := r.Create(TempName("clip.mov"), 0, false)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.Finish(1e18), w.Close()); err != nil {
		t.Fatal(err)
	}
	for name, place := range map[string]func(from, to string) error{"Place": r.Place, "placeSlowly": slowly(r)} {
		if err := place(TempName("clip.mov"), "clip.mov"); !errors.Is(err, fs.ErrExist) {
			t.Errorf("%s = %v, want %v", name, err, fs.ErrExist)
		}
	}
	if data, _ := os.ReadFile(filepath.Join(dir, "clip.mov")); string(data) != "footage" {
		t.Errorf("the file now holds %q", data)
	}
}

func TestPathsStayBelowTheRoot(t *testing.T) {
	t.Parallel()
	dir, other := t.TempDir(), t.TempDir()
	r := openRoot(t, dir)
	if err := os.Symlink(other, filepath.Join(dir, "out")); err != nil {
		t.Skip("no links here")
	}
	for _, rel := range []string{"out", "out/sub", "../" + filepath.Base(other)} {
		if f, err := r.Make(rel); err == nil {
			_ = f.Close()
			t.Errorf("Make(%q) went through", rel)
		}
	}
	if left, _ := os.ReadDir(other); len(left) != 0 {
		t.Errorf("outside there is now %v", left)
	}
	f, err := r.Make("Show//day/./A/A003")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if info, err := os.Stat(filepath.Join(dir, "Show/day/A/A003")); err != nil || !info.IsDir() {
		t.Errorf("Make: %v, %v", info, err)
	}
}

func TestSameAs(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := openRoot(t, dir)
	if !r.SameAs(dir) || r.SameAs(t.TempDir()) || r.SameAs(dir+"/nothing") {
		t.Error("SameAs is wrong")
	}
	moved := dir + ".moved"
	if err := os.Rename(dir, moved); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if r.SameAs(dir) || !r.SameAs(moved) {
		t.Error("after another folder took the path, SameAs is wrong")
	}
}

// TestWriteThenReadBack: any length, any division into blocks; what is written is what is read, hashed and timed.
func TestWriteThenReadBack(t *testing.T) {
	t.Parallel()
	r := openRoot(t, t.TempDir())
	buffer, err := NewBuffer(BlockSize)
	if err != nil {
		t.Fatal(err)
	}
	defer FreeBuffer(buffer)
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.OneOf(rapid.IntRange(0, 3*Align), rapid.IntRange(0, 300_000), rapid.Just(BlockSize+1), rapid.Just(2*BlockSize)).Draw(t, "size")
		block := Align * rapid.IntRange(1, 64).Draw(t, "block")
		seed := rapid.Byte().Draw(t, "seed")
		mtime := rapid.Int64Range(0, 4e18).Draw(t, "mtime")
		data := make([]byte, size)
		random := rand.NewChaCha8([32]byte{seed})
		random.Read(data)
		n++
		name := TempName(strings.Repeat("x", n))
		w, err := r.Create(name, int64(size), false)
		if err != nil {
			t.Fatal(err)
		}
		for off := 0; off < size; off += block {
			k := copy(buffer[:block], data[off:min(off+block, size)])
			clear(buffer[k:AlignUp(int64(k))])
			if err := w.Write(buffer[:k]); err != nil {
				t.Fatal(err)
			}
		}
		if err := errors.Join(w.Finish(mtime), w.Flush(), w.Close()); err != nil {
			t.Fatal(err)
		}
		extra := md5.New()
		seen := int64(0)
		read, err := r.ReadBack(t.Context(), name, ReadOptions{Extra: []hash.Hash{extra}, Progress: func(n int64) { seen += n }})
		if err != nil {
			t.Fatal(err)
		}
		want := md5.Sum(data)
		if read.Sum != xxhash.Sum64(data) || !bytes.Equal(extra.Sum(nil), want[:]) || read.Stat.Size != int64(size) || seen != int64(size) {
			t.Errorf("read back %d bytes (%d seen), sum %x", read.Stat.Size, seen, read.Sum)
		}
		if got := read.Stat.MTime; got/100 != mtime/100 { // NTFS keeps units of 100 ns
			t.Errorf("time = %d, want %d", got, mtime)
		}
		if err := r.RemoveTemp(name); err != nil {
			t.Fatal(err)
		}
	})
}

func TestReadAtOfAShorterFile(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := openRoot(t, dir)
	if err := os.WriteFile(filepath.Join(dir, "f"), make([]byte, 5000), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := r.OpenRead("f")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b, err := NewBuffer(3 * Align)
	if err != nil {
		t.Fatal(err)
	}
	defer FreeBuffer(b)
	if n, err := f.ReadAt(b[:9000], 0); n != 5000 || err == nil {
		t.Errorf("ReadAt = %d, %v, want 5000 and an error", n, err)
	}
	if n, err := f.ReadAt(b[:904], 4096); n != 904 || err != nil {
		t.Errorf("ReadAt = %d, %v, want 904", n, err)
	}
}

func TestReadBackRefusesWhatIsNoFile(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "f"), []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("f", filepath.Join(dir, "link")); err != nil {
		t.Skip("no links here")
	}
	if err := os.Mkdir(filepath.Join(dir, "dir"), 0o755); err != nil {
		t.Fatal(err)
	}
	r := openRoot(t, dir)
	for _, name := range []string{"link", "dir", "nothing"} {
		if read, err := ReadBack(t.Context(), r, name, ReadOptions{}); err == nil {
			t.Errorf("ReadBack of %s = %+v, want an error", name, read)
		}
	}
	if read, err := ReadBack(t.Context(), r, "f", ReadOptions{Simulated: true}); err != nil || read.Honesty != guard.FromSimulated {
		t.Errorf("simulated: %+v, %v", read, err)
	}
}
