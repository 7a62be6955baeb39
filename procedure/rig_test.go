package procedure_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/procedure/media"
	"twobin/procedure/plain"
)

// rig is a station in a temporary folder: a reader, two drives, a journal, the real engine, and plain mode behind pipes.
// Its volumes are simulated, so the journal is a drill's: that is what lets it run on any file system.
type rig struct {
	tb    testing.TB
	dir   string
	drill string
	clock *shiftedClock
	vols  chan procedure.VolumeChange

	mu      sync.Mutex
	gone    map[string]bool
	cardID  string
	media   procedure.Media
	cfg     procedure.Config
	runner  *procedure.Runner
	in      *io.PipeWriter
	out     *lines
	done    chan error
	journal string
}

// shiftedClock is the real clock plus what a test lets pass at once.
type shiftedClock struct {
	mu  sync.Mutex
	add time.Duration
}

func (c *shiftedClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return time.Now().Add(c.add)
}

func (c *shiftedClock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.add += d
}

// lines collects output and lets a test wait for a line.
type lines struct {
	mu   sync.Mutex
	all  []string
	seen int
	more chan struct{}
}

func (l *lines) read(r io.Reader) {
	sc := bufio.NewScanner(r)
	for sc.Scan() {
		l.mu.Lock()
		l.all = append(l.all, sc.Text())
		close(l.more)
		l.more = make(chan struct{})
		l.mu.Unlock()
	}
}

func (l *lines) text() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.all, "\n")
}

// await gives the first line not yet passed that contains want, and passes it.
func (l *lines) await(tb testing.TB, want string) string {
	tb.Helper()
	deadline := time.After(20 * time.Second)
	for {
		l.mu.Lock()
		for i := l.seen; i < len(l.all); i++ {
			if strings.Contains(l.all[i], want) {
				l.seen = i + 1
				s := l.all[i]
				l.mu.Unlock()
				return s
			}
		}
		more := l.more
		l.mu.Unlock()
		select {
		case <-more:
		case <-deadline:
			tb.Fatalf("no line with %q came. All output:\n%s", want, l.text())
		}
	}
}

func newRig(tb testing.TB) *rig {
	tb.Helper()
	r := &rig{tb: tb, dir: tb.TempDir(), drill: "rig", clock: &shiftedClock{}, gone: map[string]bool{}, cardID: "sim:card-1"}
	for _, d := range []string{"raid", "shuttle", "third", "home/proofs", "home/journals"} {
		if err := os.MkdirAll(filepath.Join(r.dir, d), 0o755); err != nil {
			tb.Fatal(err)
		}
	}
	r.journal = filepath.Join(r.dir, "home/journals/rig.jsonl")
	r.media = media.New(media.Options{Ident: r, Proofs: filepath.Join(r.dir, "home/proofs"), Policy: guard.DefaultPolicy(), Tool: "twobin",
		Version: "test", Host: "rig", Now: r.clock.now, Rand: rand.New(rand.NewPCG(1, 2))})
	tb.Cleanup(r.stop)
	return r
}

// Identify implements guard.Identifier: every folder of the rig is a volume of its own.
func (r *rig) Identify(path string) (guard.Volume, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	rel, err := filepath.Rel(r.dir, path)
	if err != nil {
		return guard.Volume{}, err
	}
	name, _, _ := strings.Cut(filepath.ToSlash(rel), "/")
	if r.gone[name] {
		return guard.Volume{}, &guard.Error{Op: "identify", Path: path, Kind: guard.KindGone, Err: errors.New("no volume")}
	}
	id := "sim:" + name
	if name == "reader" {
		id = r.cardID
	}
	return guard.Volume{Mount: filepath.Join(r.dir, name), FSType: "simulated", Name: strings.ToUpper(name), ID: id, Disk: "sim-" + name,
		Size: 1 << 40, Free: 1 << 39, Simulated: true}, nil
}

func (r *rig) Changes() <-chan procedure.VolumeChange { return r.vols }

// start builds the runner and plain mode on it; a journal that is there is gone on with.
func (r *rig) start(change ...func(*procedure.Config)) *rig {
	r.tb.Helper()
	r.vols = make(chan procedure.VolumeChange)
	cfg := procedure.Config{
		Volumes: r, Media: r.media, Policy: guard.DefaultPolicy(), Drill: r.drill, Now: r.clock.now, Reader: filepath.Join(r.dir, "reader"),
		Rand: rand.New(rand.NewPCG(3, 4)), Log: slog.New(slog.DiscardHandler), Brief: true,
		Given: procedure.Given{Production: "Harbour Lights", Day: 3, Operator: "Kim", Station: "cart",
			To: []string{filepath.Join(r.dir, "raid"), filepath.Join(r.dir, "shuttle")}},
		OpenBook: func(procedure.ShiftOpened) (procedure.Book, []journal.Line, error) {
			return journal.Open(r.journal, journal.Options{Now: r.clock.now})
		},
	}
	if _, err := os.Stat(r.journal); err == nil {
		b, ls, err := journal.Open(r.journal, journal.Options{Now: r.clock.now})
		if err != nil {
			r.tb.Fatal(err)
		}
		cfg.Book, cfg.Lines = b, ls
		cfg.Given.To = nil
	}
	for _, f := range change {
		f(&cfg)
	}
	run, err := procedure.Start(context.Background(), cfg)
	if err != nil {
		r.tb.Fatalf("start: %v", err)
	}
	r.cfg, r.runner = cfg, run
	inR, inW := io.Pipe()
	outR, outW := io.Pipe()
	r.in = inW
	r.out = &lines{more: make(chan struct{})}
	go r.out.read(outR)
	r.done = make(chan error, 1)
	go func() {
		err := plain.Run(context.Background(), run, plain.Options{In: inR, Out: outW})
		_ = outW.Close()
		r.done <- err
	}()
	return r
}

// stop leaves the shift open and ends everything.
func (r *rig) stop() {
	if r.runner == nil {
		return
	}
	_ = r.in.Close()
	<-r.done
	if err := r.runner.Close(); err != nil {
		r.tb.Errorf("close: %v", err)
	}
	r.runner = nil
}

func (r *rig) say(ls ...string) {
	r.tb.Helper()
	for _, l := range ls {
		if _, err := io.WriteString(r.in, l+"\n"); err != nil {
			r.tb.Fatal(err)
		}
	}
}

// ask waits for a prompt and answers it.
func (r *rig) ask(id, answer string) string {
	r.tb.Helper()
	l := r.out.await(r.tb, "["+id+"]")
	r.say(answer)
	return l
}

// card makes a folder with files that plays a card; name is its identity.
func (r *rig) card(name string, files map[string]string) string {
	r.tb.Helper()
	dir := filepath.Join(r.dir, "cards", name)
	for f, data := range files {
		p := filepath.Join(dir, f)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			r.tb.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(data), 0o644); err != nil {
			r.tb.Fatal(err)
		}
	}
	return dir
}

// seat puts a card into the reader, pull takes it out.
func (r *rig) seat(name string) {
	r.tb.Helper()
	if err := os.Rename(filepath.Join(r.dir, "cards", name), filepath.Join(r.dir, "reader")); err != nil {
		r.tb.Fatal(err)
	}
	r.mu.Lock()
	r.cardID = "sim:" + name
	r.mu.Unlock()
	v, err := r.Identify(filepath.Join(r.dir, "reader"))
	if err != nil {
		r.tb.Fatal(err)
	}
	r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{v}}
}

func (r *rig) pull(name string) {
	r.tb.Helper()
	v, err := r.Identify(filepath.Join(r.dir, "reader"))
	if err != nil {
		r.tb.Fatal(err)
	}
	if err := os.Rename(filepath.Join(r.dir, "reader"), filepath.Join(r.dir, "cards", name)); err != nil {
		r.tb.Fatal(err)
	}
	r.vols <- procedure.VolumeChange{Gone: []guard.Volume{v}}
}

func clips(label string) map[string]string {
	return map[string]string{
		"CLIPS/" + label + "C001_R4KQ.mov": strings.Repeat("one", 400_000), "CLIPS/" + label + "C002_M2ZT.mov": strings.Repeat("two", 300_000),
		"CLIPS/" + label + "C002_M2ZT.xml": "<side/>", "notes.txt": "hello",
	}
}

// setUp answers what is asked once a shift.
func (r *rig) setUp() *rig {
	r.tb.Helper()
	r.ask("setup.camera", "A blue")
	r.ask("setup.camera", "B yellow")
	r.ask("setup.camera", "")
	r.ask("setup.marking", "red tape over the case")
	r.ask("setup.kit", "k")
	r.ask("setup.bins", "b")
	r.ask("setup.done", "s")
	return r
}

func (r *rig) receive(label string) {
	r.tb.Helper()
	r.ask("next", "arrived "+label)
	r.ask("receive.from", "Robin")
	r.ask("receive.bin", "b")
}

// toReader brings a roll to where its card is waited for.
func (r *rig) toReader(label string) {
	r.tb.Helper()
	r.ask("next", "p")
	r.ask("pick.card", label)
	r.ask("pick.tape", label)
	r.ask("seat.tape", "t")
	r.out.await(r.tb, "waiting for the card")
}

// toStart brings a roll to the one key of start, its card seated.
func (r *rig) toStart(label string) {
	r.tb.Helper()
	r.toReader(label)
	r.seat(label)
	r.out.await(r.tb, "[start.go]")
}

// volume is what a folder of the rig carries.
func (r *rig) volume(name string) guard.Volume {
	r.tb.Helper()
	v, err := r.Identify(filepath.Join(r.dir, name))
	if err != nil {
		r.tb.Fatal(err)
	}
	return v
}

// logCount answers what is asked while it copies.
func (r *rig) logCount() {
	r.tb.Helper()
	r.ask("log.serial", "S-0117")
	r.ask("log.notes", "")
	book := r.out.await(r.tb, "for the book:")
	r.ask("count.written", "w")
	_, fig, _ := strings.Cut(book, "for the book: ")
	files, size, _ := strings.Cut(fig, ", ")
	n, _, _ := strings.Cut(files, " ")
	r.ask("count.files", n)
	r.ask("count.size", size)
}

// answerOf finds what a sighted check asks for, by looking at the drive's folder as a person would.
func (r *rig) answerOf(question string) string {
	r.tb.Helper()
	drive := "raid"
	if strings.Contains(question, "look.SHUTTLE") {
		drive = "shuttle"
	}
	_, open, _ := strings.Cut(question, "Open ")
	where, rest, _ := strings.Cut(open, ". ")
	label, sub, _ := strings.Cut(where, "/")
	matches, err := filepath.Glob(filepath.Join(r.dir, drive, "*", "*", "*", label, sub))
	if err != nil || len(matches) != 1 {
		r.tb.Fatalf("%s: found %v, %v", question, matches, err)
	}
	entries, err := os.ReadDir(matches[0])
	if err != nil {
		r.tb.Fatal(err)
	}
	if _, shown, ok := strings.Cut(rest, "for the dots: "); ok {
		head, ext, _ := strings.Cut(shown, "····")
		for _, e := range entries {
			if n := e.Name(); strings.HasPrefix(n, head) && strings.HasSuffix(n, ext) && len(n) == len(head)+4+len(ext) {
				return n[len(head) : len(head)+4]
			}
		}
	}
	if strings.HasPrefix(rest, "How many files") {
		n := 0
		for _, e := range entries {
			if !e.IsDir() && e.Name() != "ascmhl" {
				n++
			}
		}
		return fmt.Sprint(n)
	}
	r.tb.Fatalf("cannot answer %q in %s", question, matches[0])
	return ""
}

// toGreen takes a roll from start to the green bin.
func (r *rig) toGreen(label string) {
	r.tb.Helper()
	r.say("s")
	r.logCount()
	r.out.await(r.tb, "[pull.desk]")
	r.pull(label)
	r.out.await(r.tb, "reader: card out")
	r.say("d")
	for range 2 {
		q := r.out.await(r.tb, "[look.")
		r.say(r.answerOf(q))
	}
	r.ask("mark.green", "g")
	r.ask("bin.green", "i")
}

// toErase seats the card again, up to the typed label.
func (r *rig) toErase(label string) {
	r.tb.Helper()
	r.ask("next", "e")
	r.out.await(r.tb, "waiting for the card")
	r.seat(label)
	r.ask("reseat.in", "i")
	r.out.await(r.tb, "[erase.label]")
}

// events reads the journal from disk.
func (r *rig) events() []procedure.Entry {
	r.tb.Helper()
	ls, damage, err := journal.ReadFile(r.journal)
	if err != nil || damage != nil {
		r.tb.Fatalf("journal: %v %v", err, damage)
	}
	_, es, err := procedure.Fold(ls)
	if err != nil {
		r.tb.Fatalf("fold: %v", err)
	}
	return es
}

func (r *rig) count(name string) int {
	n := 0
	for _, e := range r.events() {
		if e.Event.Name() == name {
			n++
		}
	}
	return n
}
