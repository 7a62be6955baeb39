package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"twobin/guard/proofstore"
)

// op is one recorded call that changes something. Files are numbers, so that a name may move.
type op struct {
	kind     string // write, size, entry, gone, flush, flush folder, ack
	file     int
	dir      string
	name     string
	off, len int64
	data     []byte
	ack      int
}

// disk is a state of the folder: names and contents.
type disk struct {
	names map[string]int
	files map[int][]byte
	dirs  map[string]int // folders, by name
}

// writing are the calls that can change a file, a name or what is durable of them, and those by which a handle is come by.
const writing = "openat,close,write,ftruncate,truncate,fsync,fdatasync,mkdirat,renameat,renameat2,unlinkat,mmap,fcntl," + // known
	"open,openat2,creat,open_by_handle_at,dup,dup2,dup3,pwrite64,writev,pwritev,pwritev2,fallocate,mkdir,rmdir,rename,unlink,link,linkat,symlink,symlinkat," +
	"mknod,mknodat,copy_file_range,sendfile,splice,sync,syncfs,msync,io_uring_setup"

// recorder turns a trace into ops. It knows the calls that the journal and the proofs make, and fails at any other.
type recorder struct {
	t     *testing.T
	base  string
	open  map[int]*handle // by descriptor
	names map[string]int
	sizes map[int]int64
	next  int
	ops   []op
}

type handle struct {
	file   int
	path   string
	at     int64
	append bool
}

// unhex turns strace -xx text back.
func unhex(t *testing.T, s string) []byte {
	t.Helper()
	out := make([]byte, 0, len(s)/4)
	for part := range strings.SplitSeq(s, `\x`) {
		if part == "" {
			continue
		}
		b, err := strconv.ParseUint(part, 16, 8)
		if err != nil {
			t.Fatalf("%q: %v", part, err)
		}
		out = append(out, byte(b))
	}
	return out
}

// call takes one whole call of the trace: name, arguments, result.
func (r *recorder) call(name, args string, result int64) {
	var texts [][]byte
	for i, s := range strings.Split(args, `"`) {
		if i%2 == 1 {
			texts = append(texts, unhex(r.t, s))
		}
	}
	fd := -1
	if n, err := strconv.Atoi(strings.TrimSpace(strings.SplitN(args, ",", 2)[0])); err == nil {
		fd = n
	}
	if result < 0 {
		return
	}
	for i := range texts {
		if h := r.open[fd]; strings.HasSuffix(name, "at") && h != nil && !filepath.IsAbs(string(texts[i])) {
			texts[i] = []byte(filepath.Join(h.path, string(texts[i])))
		}
	}
	switch name {
	case "openat":
		r.opened(string(texts[0]), args, int(result))
	case "mmap": // of memory, most of them
		if n, err := strconv.Atoi(strings.TrimSpace(append(strings.Split(args, ","), "", "", "", "", "")[4])); err == nil && r.open[n] != nil {
			r.t.Fatalf("a file is written or read through memory: %s", args)
		}
	case "fcntl":
		if r.open[fd] != nil && strings.Contains(args, "F_DUPFD") {
			r.t.Fatalf("a handle is copied: %s", args)
		}
	case "close":
		delete(r.open, fd)
	case "write":
		if fd == 1 {
			if n, err := strconv.Atoi(strings.TrimPrefix(strings.TrimSpace(string(texts[0])), "ack ")); err == nil {
				r.ops = append(r.ops, op{kind: "ack", ack: n})
			}
			return
		}
		h := r.open[fd]
		if h == nil {
			return // not in the folder
		}
		if int(result) != len(texts[0]) {
			r.t.Fatalf("write of %d bytes wrote %d", len(texts[0]), result)
		}
		if h.append {
			h.at = r.sizes[h.file]
		}
		r.ops = append(r.ops, op{kind: "write", file: h.file, off: h.at, data: texts[0]})
		h.at += result
		r.sizes[h.file] = max(r.sizes[h.file], h.at)
	case "truncate":
		n, err := strconv.ParseInt(strings.TrimSpace(args[strings.LastIndex(args, ",")+1:]), 10, 64)
		if err != nil {
			r.t.Fatal(err)
		}
		file := r.names[string(texts[0])]
		r.ops = append(r.ops, op{kind: "size", file: file, len: n})
		r.sizes[file] = n
	case "ftruncate":
		h := r.open[fd]
		n, err := strconv.ParseInt(strings.TrimSpace(strings.Split(args, ",")[1]), 10, 64)
		if err != nil {
			r.t.Fatal(err)
		}
		r.ops = append(r.ops, op{kind: "size", file: h.file, len: n})
		r.sizes[h.file] = n
	case "fsync", "fdatasync":
		if h := r.open[fd]; h == nil {
			return
		} else if h.file == 0 {
			r.ops = append(r.ops, op{kind: "flush folder", dir: h.path})
		} else {
			r.ops = append(r.ops, op{kind: "flush", file: h.file})
		}
	case "mkdirat":
		if p := string(texts[0]); r.inside(p) {
			r.ops = append(r.ops, op{kind: "entry", dir: filepath.Dir(p), name: p, file: -1})
		}
	case "renameat", "renameat2":
		from, to := string(texts[0]), string(texts[1])
		r.ops = append(r.ops, op{kind: "entry", dir: filepath.Dir(to), name: to, file: r.names[from]}, op{kind: "gone", dir: filepath.Dir(from), name: from})
		r.names[to] = r.names[from]
		delete(r.names, from)
	case "unlinkat":
		if p := string(texts[0]); r.inside(p) {
			r.ops = append(r.ops, op{kind: "gone", dir: filepath.Dir(p), name: p})
			delete(r.names, p)
		}
	default:
		r.t.Fatalf("a call that this test does not know: %s(%s)", name, args)
	}
}

func (r *recorder) inside(path string) bool { return strings.HasPrefix(path, r.base) }

func (r *recorder) opened(path, args string, fd int) {
	if !r.inside(path) {
		return
	}
	if fi, err := os.Stat(path); err == nil && fi.IsDir() {
		r.open[fd] = &handle{path: path}
		return
	}
	file, there := r.names[path]
	if !there {
		if !strings.Contains(args, "O_CREAT") {
			r.t.Fatalf("opened, never made: %s", path)
		}
		r.next++
		file = r.next
		r.names[path] = file
		r.ops = append(r.ops, op{kind: "entry", dir: filepath.Dir(path), name: path, file: file})
	}
	if strings.Contains(args, "O_TRUNC") && there {
		r.ops = append(r.ops, op{kind: "size", file: file})
		r.sizes[file] = 0
	}
	r.open[fd] = &handle{file: file, path: path, append: strings.Contains(args, "O_APPEND")}
}

// traceScript runs the script in base under strace, a general tool, and gives the ops.
func traceScript(t *testing.T, base string, before map[string][]byte) (ops []op, start disk) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "trace")
	cmd := exec.Command("strace", "-f", "-qq", "-xx", "-s", "100000", "-e", "signal=none", "-e",
		"trace="+writing, "-o", out, self)
	cmd.Env = append(os.Environ(), "TWOBIN_JOURNAL_SCRIPT="+base)
	if b, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, b)
	}
	raw, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	r := &recorder{t: t, base: base, open: map[int]*handle{}, names: map[string]int{}, sizes: map[int]int64{}}
	start = disk{names: map[string]int{}, files: map[int][]byte{}, dirs: map[string]int{}}
	for name, b := range before {
		r.next++
		r.names[name], r.sizes[r.next] = r.next, int64(len(b))
		start.names[name], start.files[r.next] = r.next, b
	}
	half := map[string]string{} // calls that were interrupted by another thread's, by process
	for line := range strings.Lines(string(raw)) {
		pid, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		rest = strings.TrimSpace(rest)
		if head, ok := strings.CutSuffix(rest, "<unfinished ...>"); ok {
			half[pid] = head
			continue
		}
		if strings.HasPrefix(rest, "<... ") {
			_, tail, _ := strings.Cut(rest, "resumed>")
			rest = half[pid] + tail
		}
		i := strings.LastIndex(rest, ") = ")
		if at := strings.LastIndex(rest, ")  "); at > i { // strace pads results
			i = at
		}
		name, args, ok := strings.Cut(rest[:max(i, 0)], "(")
		if !ok {
			continue
		}
		fields := strings.Fields(rest[strings.LastIndex(rest, "= ")+2:])
		result, err := strconv.ParseInt(fields[0], 0, 64)
		if err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		r.call(name, args, result)
	}
	return r.ops, start
}

// apply does one op to a state. variant: 0 whole; for writes n > 0 is only the first n bytes, n < 0 the length is there but
// the sectors of the bits of -n read as zeros.
func (d *disk) apply(o op, variant int) {
	switch o.kind {
	case "write":
		b := o.data
		if variant > 0 {
			b = b[:min(variant, len(b))]
		}
		if variant < 0 {
			b = bytes.Clone(b)
			for i := range b {
				if s := (o.off+int64(i))/sector - o.off/sector; -variant&(1<<min(s, 20)) != 0 {
					b[i] = 0
				}
			}
		}
		f := d.files[o.file]
		n := make([]byte, max(int64(len(f)), o.off+int64(len(b))))
		copy(n, f)
		copy(n[o.off:], b)
		d.files[o.file] = n
	case "size":
		n := make([]byte, o.len)
		copy(n, d.files[o.file])
		d.files[o.file] = n
	case "entry":
		if o.file == -1 {
			d.dirs[o.name] = 1
		} else {
			d.names[o.name] = o.file
		}
	case "gone":
		delete(d.names, o.name)
	}
}

func (d *disk) clone() *disk {
	c := &disk{names: map[string]int{}, files: map[int][]byte{}, dirs: map[string]int{}}
	for k, v := range d.names {
		c.names[k] = v
	}
	for k, v := range d.files {
		c.files[k] = v // apply never changes the bytes in place
	}
	for k, v := range d.dirs {
		c.dirs[k] = v
	}
	return c
}

// variants are the ways in which an op that was not flushed may stand on the disk, besides whole (0) and lost (none).
func (o op) variants() []int {
	if o.kind != "write" {
		return []int{0}
	}
	vs := []int{0, 1, len(o.data) - 1, len(o.data) / 2}
	for cut := sector - o.off%sector; cut < int64(len(o.data)); cut += sector {
		vs = append(vs, int(cut))
	}
	last := (o.off+int64(len(o.data))-1)/sector - o.off/sector
	for mask := 1; mask < 1<<min(last+1, 4); mask++ {
		vs = append(vs, -mask)
	}
	return vs
}

// replayer builds the states and judges them.
type replayer struct {
	t              *testing.T
	base, into     string
	whole, torn    []byte // the journal when all is done; the end that an earlier run had left
	seen           map[[sha256.Size]byte]bool
	states, points int
}

// acknowledged is the beginning of a journal up to the n-th line's end.
func acknowledged(raw []byte, n int) []byte {
	at := 0
	for range n {
		at += bytes.IndexByte(raw[at:], '\n') + 1
	}
	return raw[:at]
}

// kept looks, after the opening, that what was acknowledged stands there byte for byte, and that a torn end of before is
// set aside, whole.
func (r *replayer) kept(path string, acked int) {
	got, err := os.ReadFile(path)
	if err != nil || !bytes.HasPrefix(got, acknowledged(r.whole, acked)) {
		r.t.Errorf("%d lines were acknowledged, and they are not as they were: %v", acked, err)
	}
	names, err := filepath.Glob(path + ".torn-*")
	if err != nil {
		r.t.Fatal(err)
	}
	found := len(r.torn) == 0
	for _, name := range names {
		aside, err := os.ReadFile(name)
		if err != nil {
			r.t.Fatal(err)
		}
		found = found || bytes.Equal(aside, r.torn)
	}
	if !found {
		r.t.Errorf("the torn end of before is in none of %q", names)
	}
}

// point replays a crash after the first n ops: everything flushed stands, and of the rest any part, in any order.
func (r *replayer) point(ops []op, start disk, n, most int, rng *rand.Rand) {
	r.points++
	sure := make([]bool, n)
	acked := 0
	for i, o := range ops[:n] {
		switch o.kind {
		case "ack":
			acked, sure[i] = o.ack, true
		case "flush", "flush folder":
			sure[i] = true
			for k, p := range ops[:i] {
				if o.kind == "flush" && p.file == o.file && (p.kind == "write" || p.kind == "size") ||
					o.kind == "flush folder" && p.dir == o.dir && (p.kind == "entry" || p.kind == "gone") {
					sure[k] = true
				}
			}
		}
	}
	ways := 1
	for i := range n {
		if !sure[i] {
			ways *= 1 + len(ops[i].variants())
			ways = min(ways, 1<<30)
		}
	}
	for w := range min(ways, most) {
		choice := w
		d := start.clone()
		for i, o := range ops[:n] {
			if sure[i] {
				d.apply(o, 0)
				continue
			}
			vs := o.variants()
			c := choice % (1 + len(vs))
			choice /= 1 + len(vs)
			if ways > most {
				c = rng.IntN(1 + len(vs))
			}
			if c > 0 {
				d.apply(o, vs[c-1])
			}
		}
		r.judge(d, acked)
	}
}

// judge opens a state as the program would: the journal opens, has every line that was acknowledged, is whole afterwards,
// and every proof that one of its lines names is there and right.
func (r *replayer) judge(d *disk, acked int) {
	r.states++
	h := sha256.New()
	fmt.Fprint(h, acked, d.names, d.dirs)
	for f := range 64 { // more than there are
		fmt.Fprintf(h, "|%d %q", f, d.files[f])
	}
	k := [sha256.Size]byte(h.Sum(nil))
	if r.seen[k] {
		return
	}
	r.seen[k] = true
	if err := errors.Join(os.RemoveAll(r.into), os.Mkdir(r.into, 0o755)); err != nil {
		r.t.Fatal(err)
	}
	under := func(name string) string { return filepath.Join(r.into, strings.TrimPrefix(name, r.base)) }
	for name := range d.dirs {
		if err := os.MkdirAll(under(name), 0o755); err != nil {
			r.t.Fatal(err)
		}
	}
	for name, file := range d.names {
		if _, err := os.Stat(filepath.Dir(under(name))); err != nil {
			continue // the name of its folder was lost, and it with it
		}
		if err := os.WriteFile(under(name), d.files[file], 0o644); err != nil {
			r.t.Fatal(err)
		}
	}
	j, lines, err := Open(under(filepath.Join(r.base, "j")), Options{})
	if err != nil {
		r.t.Fatalf("%d lines were acknowledged, and the journal does not open: %v\n%v", acked, err, d.names)
	}
	if len(lines)-1 < acked {
		r.t.Errorf("%d lines were acknowledged, %d are there", acked, len(lines)-1)
	}
	r.kept(under(filepath.Join(r.base, "j")), acked)
	for _, l := range lines {
		var proven struct {
			Proof string `json:"proof"`
		}
		if l.Event == "copy.proven" && json.Unmarshal(l.Data, &proven) == nil {
			if _, err := proofstore.Load(under(filepath.Join(r.base, "proofs")), proven.Proof); err != nil {
				r.t.Errorf("line %d names a proof that is not there: %v", l.Seq, err)
			}
		}
	}
	if err := j.Close(); err != nil {
		r.t.Error(err)
	}
	if rep, err := Verify(under(filepath.Join(r.base, "j"))); err != nil || !rep.Whole {
		r.t.Errorf("afterwards %v, %v", rep, err)
	}
}

// Every call that writes is a crash point. The journal and the proofs of a script are recorded call by call, and every
// prefix is replayed, with every reordering that the flushes allow: what was not flushed is lost, stands whole, in part, or
// with its length and zeros (Pillai et al., OSDI 2014; see [TestInvariant8BlocksOfTheLastAppendLost]). At points with more
// ways than TWOBIN_WAYS (default 60, 12 in short mode) that many are drawn.
func TestInvariant8EveryWriteIsACrashPoint(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("strace"); err != nil {
		if os.Getenv("TWOBIN_TEST_ALL") == "1" {
			t.Fatal("lacks strace")
		}
		t.Skip("lacks strace")
	}
	most := 60
	if testing.Short() {
		most = 12
	}
	if n, err := strconv.Atoi(os.Getenv("TWOBIN_WAYS")); err == nil {
		most = n
	}
	for _, torn := range []bool{false, true} {
		base := memoryDir(t)
		before := map[string][]byte{}
		if torn { // the journal begins with the torn end of an earlier run
			raw, _ := sample(t, "red", "green")
			name := filepath.Join(base, "j")
			before[name] = raw[:len(raw)-40]
			if err := os.WriteFile(name, before[name], 0o644); err != nil {
				t.Fatal(err)
			}
		}
		ops, start := traceScript(t, base, before)
		r := &replayer{t: t, base: base, into: filepath.Join(memoryDir(t), "state"), seen: map[[sha256.Size]byte]bool{}}
		end := start.clone()
		for _, o := range ops {
			end.apply(o, 0)
		}
		raw := before[filepath.Join(base, "j")]
		r.whole, r.torn = end.files[end.names[filepath.Join(base, "j")]], raw[bytes.LastIndexByte(raw, '\n')+1:]
		if torn == (len(r.torn) == 0) {
			t.Fatalf("torn before: %v, and the end is %q", torn, r.torn)
		}
		for name, file := range end.names {
			if now, err := os.ReadFile(name); err != nil || !bytes.Equal(now, end.files[file]) {
				t.Fatalf("the recording gives another %s than the one that was written: %v", filepath.Base(name), err)
			}
		}
		rng := rand.New(rand.NewPCG(7, 8))
		acks := 0
		for n := range len(ops) + 1 {
			if n > 0 && ops[n-1].kind == "ack" {
				acks++
			}
			r.point(ops, start, n, most, rng)
		}
		if acks != 6 || len(ops) < 40 {
			t.Errorf("%d acknowledgements and %d calls were seen: this test shows nothing", acks, len(ops))
		}
		t.Logf("torn before: %v; %d calls", torn, len(ops))
		t.Logf("figure: crash points of journal and proofs = %d", r.points)
		t.Logf("figure: disk states replayed = %d", r.states)
		t.Logf("figure: different disk states opened = %d", len(r.seen))
	}
}
