package proofstore

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"twobin/guard"
)

// sample is a proof with everything in it: bytes that are no UTF-8, a condemned copy, a short one, extra digests.
func sample() *guard.Proof {
	began := time.Date(2024, 3, 10, 9, 30, 0, 123456789, time.FixedZone("", 2*3600))
	return &guard.Proof{
		Label: "A003", Began: began, Ended: began.Add(time.Minute),
		Card: guard.Volume{Mount: "/media/\xff", ID: "uuid:1", Disk: "sdb", Dev: math.MaxUint64, FSType: "exfat", Name: "A\n<b>"},
		Files: []guard.File{
			{Entry: guard.Entry{Path: "A/\xfe\xff.mov", Size: 5, MTime: math.MinInt64}, Hash: math.MaxUint64},
			{Entry: guard.Entry{Path: `B"\é 😀`, Size: math.MaxInt64, MTime: -1}, Hash: 0},
		},
		Dirs: []string{"A", "Empty"},
		Copies: []guard.Copy{
			{Name: "SHUTTLE", Path: "/s", Folder: "f/A003", Honesty: guard.FromDevice, LastWrite: began.Add(3), ReadFrom: began.Add(4),
				Volume: guard.Volume{Mount: "/s", ID: "uuid:2", Size: -1, ReadOnly: true},
				Back:   []guard.Back{{Hash: math.MaxUint64, OK: true}, {Hash: 7}}},
			{Name: "RAID", Fault: "gone \xff", Back: []guard.Back{{OK: true}}},
			{Name: "THIRD", Volume: guard.Volume{Simulated: true}, LastWrite: began.Add(-time.Hour)},
		},
		Hashes: map[string][]string{"md5": {"a", "b"}, "c4": {"c\xff", ""}},
	}
}

// sameProof compares times by the instant and the offset that is written.
func sameProof(want, got *guard.Proof) string {
	text := cmp.Transformer("time", func(t time.Time) string { return t.Round(0).Format(time.RFC3339Nano) })
	return cmp.Diff(want, got, text)
}

func TestSaveLoad(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "proofs")
	want := sample()
	sha, err := Save(dir, want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Load(dir, sha)
	if err != nil {
		t.Fatal(err)
	}
	if d := sameProof(want, got); d != "" {
		t.Errorf("loaded differs (-saved +loaded):\n%s", d)
	}
	if d, err := got.Digest(); d != sha || err != nil {
		t.Errorf("Digest of the loaded proof = %s, %v, want %s", d, err, sha)
	}
	again, err := Save(dir, got)
	if err != nil || again != sha {
		t.Errorf("saved again as %s, %v, want %s", again, err, sha)
	}
	if names := list(t, dir); len(names) != 1 {
		t.Errorf("folder holds %q, want one file", names)
	}
}

// The name is the digest that any general tool gives for the file (sha256sum of GNU coreutils).
func TestNameIsSHA256(t *testing.T) {
	dir := t.TempDir()
	sha, err := Save(dir, sample())
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, sha+ending)
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		if os.Getenv("TWOBIN_TEST_ALL") == "1" {
			t.Fatal("lacks sha256sum")
		}
		t.Skip("lacks sha256sum (GNU coreutils)")
	}
	out, err := exec.CommandContext(t.Context(), tool, path).Output()
	if err != nil || !strings.HasPrefix(string(out), sha) {
		t.Errorf("sha256sum says %q, %v, want %s", out, err, sha)
	}
}

// TestWallClockJump: what decides whether a copy counts is measured by the monotonic clock and kept as distances, so a
// wall clock that jumps between flush and read-back changes nothing after a reload. Invariant 11.
func TestWallClockJump(t *testing.T) {
	began := time.Now()
	p := sample()
	p.Began, p.Ended = began, began.Add(time.Minute)
	c := &p.Copies[0]
	c.LastWrite, c.ReadFrom = began.Add(10*time.Second), began.Add(20*time.Second)
	dir := t.TempDir()
	sha, err := Save(dir, p)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Load(dir, sha)
	if err != nil {
		t.Fatal(err)
	}
	if d := got.Copies[0].ReadFrom.Sub(got.Copies[0].LastWrite); d != 10*time.Second {
		t.Errorf("read-back began %s after the last write, want 10s", d)
	}
	if d := got.Copies[0].LastWrite.Sub(got.Began); d != 10*time.Second {
		t.Errorf("last write %s after the beginning, want 10s", d)
	}
	// A beginning without a monotonic reading (a proof that was loaded and goes on) still keeps the distances.
	p.Began = began.Round(0)
	if sha, err = Save(dir, p); err != nil {
		t.Fatal(err)
	}
	if got, err = Load(dir, sha); err != nil {
		t.Fatal(err)
	}
	if d := got.Copies[0].ReadFrom.Sub(got.Copies[0].LastWrite); d != 10*time.Second {
		t.Errorf("without monotonic beginning: %s, want 10s", d)
	}
}

func TestDamageIsFound(t *testing.T) {
	dir := t.TempDir()
	sha, err := Save(dir, sample())
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, sha+ending)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	try := func(name string, data []byte) {
		t.Helper()
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := Load(dir, sha)
		var fault *guard.Error
		if p != nil || !errors.As(err, &fault) || fault.Kind != guard.KindRecord || !errors.Is(err, errDiffers) {
			t.Errorf("%s: Load = %v, %v, want errDiffers", name, p, err)
		}
	}
	for i := range whole {
		try(fmt.Sprintf("cut at %d", i), whole[:i])
		flipped := bytes.Clone(whole)
		flipped[i] ^= 1 << (i % 8)
		try(fmt.Sprintf("bit flipped at %d", i), flipped)
	}
	try("longer", append(bytes.Clone(whole), '\n'))
	// Saving again mends it.
	if _, err := Save(dir, sample()); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(dir, sha); err != nil {
		t.Errorf("after saving again: %v", err)
	}
}

func TestLoadRefusesNames(t *testing.T) {
	dir := t.TempDir()
	sha, err := Save(dir, sample())
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"", "..", sha[:63], sha + "0", strings.ToUpper(sha), "../" + sha[3:], strings.Repeat("\xff", 64)} {
		if p, err := Load(dir, name); p != nil || !errors.Is(err, errSHA) {
			t.Errorf("Load(%q) = %v, %v, want errSHA", name, p, err)
		}
	}
	if p, err := Load(dir, strings.Repeat("0", 64)); p != nil || !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a lacking proof: %v, %v, want ErrNotExist", p, err)
	}
}

// badFile fails in one of its calls.
type badFile struct {
	file
	fail string
	left int
}

var errBad = errors.New("input/output error")

func (b *badFile) Write(p []byte) (int, error) {
	if b.fail == "write" {
		if b.left -= len(p); b.left < 0 {
			return 0, errBad
		}
	}
	return b.file.Write(p)
}

func (b *badFile) Sync() error {
	if b.fail == "sync" {
		return errBad
	}
	return b.file.Sync()
}

func (b *badFile) Close() error {
	err := b.file.Close()
	if b.fail == "close" {
		return errBad
	}
	return err
}

func TestSaveFaultsLeaveNothing(t *testing.T) {
	for _, fail := range []string{"write", "sync", "close", "create", "contradiction"} {
		dir := t.TempDir()
		p := sample()
		if fail == "contradiction" {
			p.Hashes["md5"] = nil
		}
		sha, err := save(dir, p, func() (file, error) {
			if fail == "create" {
				return nil, errBad
			}
			f, err := os.CreateTemp(dir, ".twobin-*.part")
			return &badFile{file: f, fail: fail, left: 10}, err
		})
		var fault *guard.Error
		if sha != "" || !errors.As(err, &fault) || fault.Kind != guard.KindRecord {
			t.Errorf("%s: save = %q, %v", fail, sha, err)
		}
		if names := list(t, dir); len(names) != 0 {
			t.Errorf("%s: left behind %q", fail, names)
		}
		if _, err := Save(dir, sample()); err != nil { // a retry works
			t.Errorf("%s: retry: %v", fail, err)
		}
	}
}

func TestSaveAndLoadAtOnce(t *testing.T) {
	dir := t.TempDir()
	p := sample()
	sha, err := Save(dir, p)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	for range 4 {
		go func() {
			var err error
			for range 25 {
				_, e := Save(dir, p)
				_, e2 := Load(dir, sha)
				err = errors.Join(err, e, e2)
			}
			done <- err
		}()
	}
	for range 4 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

// TestRoundTrip: any proof that can be written is read back the same and has the same digest.
func TestRoundTrip(t *testing.T) {
	text := rapid.OneOf(rapid.String(), rapid.Map(rapid.SliceOfN(rapid.Byte(), 0, 12), func(b []byte) string { return string(b) }))
	volume := rapid.Custom(func(t *rapid.T) guard.Volume {
		return guard.Volume{Mount: text.Draw(t, "mount"), ID: text.Draw(t, "id"), Disk: text.Draw(t, "disk"),
			Dev: rapid.Uint64().Draw(t, "dev"), Free: rapid.Int64().Draw(t, "free"), Simulated: rapid.Bool().Draw(t, "sim")}
	})
	rapid.Check(t, func(t *rapid.T) {
		began := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "s"), rapid.Int64Range(0, 1e9-1).Draw(t, "ns")).UTC()
		p := &guard.Proof{Label: text.Draw(t, "label"), Began: began, Ended: began.Add(time.Hour), Card: volume.Draw(t, "card")}
		name := rapid.Map(text, func(s string) string {
			return "x" + strings.NewReplacer("/", "_", "\x00", "_").Replace(s)
		})
		for _, path := range rapid.SliceOfNDistinct(name, 0, 5, rapid.ID).Draw(t, "paths") {
			p.Files = append(p.Files, guard.File{Entry: guard.Entry{Path: path, Size: rapid.Int64Min(0).Draw(t, "size"),
				MTime: rapid.Int64().Draw(t, "mtime")}, Hash: rapid.Uint64().Draw(t, "hash")})
		}
		sortFiles(p.Files)
		for range rapid.IntRange(0, 3).Draw(t, "copies") {
			c := guard.Copy{Name: text.Draw(t, "name"), Fault: text.Draw(t, "fault"), Volume: volume.Draw(t, "vol"),
				Honesty: guard.Honesty(rapid.IntRange(0, 2).Draw(t, "honesty"))}
			if rapid.Bool().Draw(t, "written") {
				c.LastWrite = began.Add(time.Duration(rapid.Int64Range(-1e12, 1e15).Draw(t, "at")))
			}
			for range rapid.IntRange(0, len(p.Files)).Draw(t, "back") {
				c.Back = append(c.Back, guard.Back{Hash: rapid.Uint64().Draw(t, "h"), OK: rapid.Bool().Draw(t, "ok")})
			}
			p.Copies = append(p.Copies, c)
		}
		var file bytes.Buffer
		if err := p.Write(&file); err != nil {
			t.Fatal(err)
		}
		sha, err := p.Digest()
		if err != nil {
			t.Fatal(err)
		}
		got, err := read(bytes.NewReader(file.Bytes()), sha)
		if err != nil {
			t.Fatalf("%v in\n%s", err, file.Bytes())
		}
		if d := sameProof(p, got); d != "" {
			t.Fatalf("read back differs (-written +read):\n%s", d)
		}
	})
}

func sortFiles(files []guard.File) {
	for i := range files {
		for j := i; j > 0 && files[j].Path < files[j-1].Path; j-- {
			files[j], files[j-1] = files[j-1], files[j]
		}
	}
}

// FuzzLoad: whatever is read is a proof that is written the same, byte for byte; nothing panics.
func FuzzLoad(f *testing.F) {
	var file bytes.Buffer
	if err := sample().Write(&file); err != nil {
		f.Fatal(err)
	}
	f.Add(file.Bytes())
	f.Add([]byte{})
	f.Add([]byte(`{"proof":1,"label":"A","card":{"mount":""},"began":"0001-01-01T00:00:00Z","ended":"0001-01-01T00:00:00Z",` +
		`"files":0,"dirs":0,"copies":[]}` + "\n"))
	f.Add([]byte(`{"proof":1,"files":1000000000,"dirs":1000000000}` + "\n"))
	f.Add(bytes.Replace(file.Bytes(), []byte("base64"), []byte("Base64"), 1))
	f.Fuzz(func(t *testing.T, data []byte) {
		sum := sha256.Sum256(data)
		p, err := read(bytes.NewReader(data), hex.EncodeToString(sum[:]))
		if err != nil {
			return
		}
		var again bytes.Buffer
		if err := p.Write(&again); err != nil {
			t.Fatalf("read, but cannot be written: %v", err)
		}
		if !bytes.Equal(again.Bytes(), data) {
			t.Fatalf("read\n%q\nwritten\n%q", data, again.Bytes())
		}
	})
}

// TestMillionFiles takes a card of 1,000,000 files on two destinations through Save, Load and Digest. Set
// TWOBIN_TEST_BIG=1 to run it; it prints times and memory.
func TestMillionFiles(t *testing.T) {
	if os.Getenv("TWOBIN_TEST_BIG") != "1" {
		t.Skip("takes half a minute: set TWOBIN_TEST_BIG=1")
	}
	const n = 1_000_000
	p := sample()
	p.Hashes, p.Files = nil, make([]guard.File, n)
	p.Copies = p.Copies[:2]
	p.Copies[0].Back, p.Copies[1].Back = make([]guard.Back, n), make([]guard.Back, n)
	for i := range p.Files {
		p.Files[i] = guard.File{Entry: guard.Entry{Path: fmt.Sprintf("A003/frames/%08d.dng", i), Size: int64(i), MTime: int64(i)}, Hash: uint64(i)}
		p.Copies[0].Back[i] = guard.Back{Hash: uint64(i), OK: true}
		p.Copies[1].Back[i] = guard.Back{Hash: uint64(i), OK: true}
	}
	dir := t.TempDir()
	begin := time.Now()
	sha, err := Save(dir, p)
	if err != nil {
		t.Fatal(err)
	}
	saved := time.Since(begin)
	begin = time.Now()
	if _, err := p.Digest(); err != nil {
		t.Fatal(err)
	}
	digested := time.Since(begin)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	begin = time.Now()
	got, err := Load(dir, sha)
	if err != nil {
		t.Fatal(err)
	}
	loaded := time.Since(begin)
	runtime.GC()
	runtime.ReadMemStats(&after)
	info, err := os.Stat(filepath.Join(dir, sha+ending))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("1,000,000 files, %d bytes: save %s, digest %s, load %s, proof in memory %d bytes", info.Size(), saved, digested, loaded,
		after.HeapAlloc-before.HeapAlloc)
	if len(got.Files) != n || saved > 30*time.Second || loaded > 60*time.Second {
		t.Errorf("%d files; save %s, load %s: too slow", len(got.Files), saved, loaded)
	}
}

func list(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}
