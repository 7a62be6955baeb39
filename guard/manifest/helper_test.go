package manifest

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
	"twobin/guard/hashes"
)

// tool gives the path of an outside program. Without it the test is skipped, or fails if TWOBIN_TEST_ALL=1.
func tool(t *testing.T, name string) string {
	t.Helper()
	p, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("TWOBIN_TEST_ALL") == "1" {
			t.Fatalf("lacks %s", name)
		}
		t.Skipf("lacks %s", name)
	}
	return p
}

// standards is where the published schemas lie.
const standards = "../../testdata/standards"

// validate checks a manifest or a chain file against the published schemas, offline.
func validate(t *testing.T, file string) {
	t.Helper()
	xmllint := tool(t, "xmllint")
	schema := "ASCMHL.xsd"
	if filepath.Base(file) == ChainName {
		schema = "ASCMHLDirectory.xsd"
	}
	abs, err := filepath.Abs(standards)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), xmllint, "--nonet", "--noout", "--schema", filepath.Join(abs, schema), file)
	cmd.Env = append(os.Environ(), "XML_CATALOG_FILES="+filepath.Join(abs, "catalog.xml"))
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("xmllint %s: %v\n%s", filepath.Base(file), err, out)
	}
}

// validateAll checks everything in an ascmhl folder and counts the manifests.
func validateAll(t *testing.T, folder string) int {
	t.Helper()
	es, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, e := range es {
		switch {
		case strings.HasSuffix(e.Name(), Ext):
			n++
			validate(t, filepath.Join(folder, e.Name()))
		case e.Name() == ChainName:
			validate(t, filepath.Join(folder, e.Name()))
		default:
			t.Errorf("%s stands in the ascmhl folder", e.Name())
		}
	}
	return n
}

// day is the invented date of these tests.
var day = time.Date(2024, 5, 1, 20, 15, 0, 0, time.FixedZone("", 2*3600))

// dest is a destination with one roll folder, A003, and a proof of its files.
type dest struct {
	t     *testing.T
	top   string
	root  *os.Root
	proof *guard.Proof
	now   time.Time
	notes []*guard.Error
	rec   *Recorder
}

// newDest writes files into A003 below a fresh folder and makes the proof that an offload of them would give.
func newDest(t *testing.T, files map[string]string) *dest {
	t.Helper()
	d := &dest{t: t, top: t.TempDir(), now: day}
	var err error
	if d.root, err = os.OpenRoot(d.top); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.root.Close() })
	if err := os.Mkdir(d.path("A003"), 0o777); err != nil {
		t.Fatal(err)
	}
	for p, c := range files {
		d.write(p, c)
	}
	d.prove(files)
	d.rec = NewRecorder(Info{Version: "0.0.1", Hostname: "cart", Operator: "A. Person",
		Now: func() time.Time { return d.now }, Note: func(e *guard.Error) { d.notes = append(d.notes, e) }})
	return d
}

func (d *dest) path(p ...string) string { return filepath.Join(append([]string{d.top}, p...)...) }

func (d *dest) write(p, c string) {
	d.t.Helper()
	full := d.path("A003", p)
	if err := os.MkdirAll(filepath.Dir(full), 0o777); err != nil {
		d.t.Fatal(err)
	}
	if err := os.WriteFile(full, []byte(c), 0o666); err != nil {
		d.t.Fatal(err)
	}
}

// prove sets the proof: the card had these files.
func (d *dest) prove(files map[string]string) {
	d.proof = proofOf(files)
}

func proofOf(files map[string]string) *guard.Proof {
	p := &guard.Proof{Label: "A003", Copies: []guard.Copy{{Name: "SHUTTLE", Folder: "A003"}}}
	for name, c := range files {
		p.Files = append(p.Files, guard.File{
			Entry: guard.Entry{Path: name, Size: int64(len(c)), MTime: day.Add(-time.Hour).UnixNano()},
			Hash:  xxhash.Sum64String(c),
		})
	}
	slices.SortFunc(p.Files, func(a, b guard.File) int { return strings.Compare(a.Path, b.Path) })
	return p
}

// extra adds digests of a further format to the proof.
func extra(t *testing.T, p *guard.Proof, format string, files map[string]string) {
	t.Helper()
	if p.Hashes == nil {
		p.Hashes = map[string][]string{}
	}
	for _, f := range p.Files {
		p.Hashes[format] = append(p.Hashes[format], digest(t, format, files[f.Path]))
	}
}

func digest(t *testing.T, format, contents string) string {
	t.Helper()
	h, err := hashes.New(format)
	if err != nil {
		t.Fatal(err)
	}
	h.Write([]byte(contents))
	return hashes.Text(format, h.Sum(nil))
}

// record stages and publishes, and moves the clock on by a minute.
func (d *dest) record() error {
	d.t.Helper()
	defer func() { d.now = d.now.Add(time.Minute) }()
	s, err := d.rec.Stage(context.Background(), d.root, "A003", d.proof, 0)
	if err != nil {
		return err
	}
	return s.Publish()
}

func (d *dest) mustRecord() {
	d.t.Helper()
	if err := d.record(); err != nil {
		d.t.Fatal(err)
	}
}

func (d *dest) history() *History {
	d.t.Helper()
	h, err := ReadHistory(context.Background(), d.root, "A003")
	if err != nil {
		d.t.Fatal(err)
	}
	return h
}

// manifest reads generation nr's records from disk.
func (d *dest) manifest(nr int) (*Header, map[string]FileRecord, map[string]DirRecord) {
	d.t.Helper()
	h := d.history()
	b, err := os.ReadFile(d.path("A003", Folder, h.Links[nr-1].Name))
	if err != nil {
		d.t.Fatal(err)
	}
	return decode(d.t, b)
}

func decode(t *testing.T, b []byte) (*Header, map[string]FileRecord, map[string]DirRecord) {
	t.Helper()
	files, dirs := map[string]FileRecord{}, map[string]DirRecord{}
	head, err := Decode(bytes.NewReader(b), Visitor{
		File: func(r FileRecord) error { files[r.Path] = r; return nil },
		Dir:  func(r DirRecord) error { dirs[r.Path] = r; return nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	return head, files, dirs
}

// snapshot is every file below the destination with its contents.
func (d *dest) snapshot() map[string]string {
	d.t.Helper()
	m := map[string]string{}
	err := filepath.WalkDir(d.top, func(p string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		m[strings.TrimPrefix(p, d.top+"/")] = string(b)
		return err
	})
	if err != nil {
		d.t.Fatal(err)
	}
	return m
}

// depthFirst sorts the names of files and folders into the order of a manifest.
func depthFirst(files map[string]string, more []string) []string {
	ps := append(keys(files), more...)
	slices.SortFunc(ps, ComparePaths)
	return ps
}
