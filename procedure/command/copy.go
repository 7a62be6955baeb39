package command

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"twobin/guard"
	"twobin/guard/hashes"
	"twobin/guard/manifest"
	"twobin/guard/offload"
	"twobin/guard/proofstore"
	"twobin/guard/watch"
	"twobin/procedure"
)

// Copy is the verb for a further proven copy of what was copied before.
type Copy struct {
	Common
	Roll     string   `arg:"" name:"label|folder" help:"A roll of the open shift, like A003, or any folder."`
	To       []string `required:"" help:"Where the copy goes; may be given more than once." placeholder:"PATH" sep:"none"`
	From     string   `help:"The destination to read a roll from; default: the first that is there. For a folder: what to take off its path." placeholder:"PATH"`
	Operator string   `help:"Your name, for the hash list." placeholder:"NAME"`
}

// source is what is copied: the folder, where it goes below each destination, and what is known of its files.
type source struct {
	label  procedure.Label // empty for a folder that is no roll of a shift
	path   string
	folder string
	root   *os.Root // the folder above path
	base   string
	known  map[string]manifest.Digest
	proof  *guard.Proof // of the roll, when the shift names it: then known comes from it
	own    bool         // its ascmhl folder is the copy's history, not footage
}

// Run copies, reads back, proves; exit code 1 if any copy is not proven.
func (c *Copy) Run(a *App) error {
	home, err := c.home(a)
	if err != nil {
		return err
	}
	policy, err := c.policy()
	if err != nil {
		return err
	}
	src, err := c.source(home)
	if err != nil {
		return err
	}
	defer src.root.Close() // only read
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	job, err := c.job(ctx, a, src, policy)
	if err != nil {
		return err
	}
	if err := c.check(ctx, a, job); err != nil {
		return err
	}
	var prog offload.Progress
	done := make(chan struct{})
	told := make(chan struct{})
	go func() {
		defer close(told)
		tellCopy(a, &prog, done)
	}()
	proof, faults := offload.Run(ctx, *job, &prog)
	close(done)
	<-told
	return errors.Join(c.report(a, &proof, faults), c.count(a, home, src, &proof))
}

// source finds the folder to read and what is known of it.
func (c *Copy) source(home string) (*source, error) {
	s := &source{}
	if st, err := os.Stat(c.Roll); err == nil && st.IsDir() {
		abs, err := filepath.Abs(c.Roll)
		if err != nil {
			return nil, usage("%s: %w", c.Roll, err)
		}
		s.path, s.folder = abs, filepath.Base(abs)
		if c.From != "" {
			from, err := filepath.Abs(c.From)
			rel := ""
			if err == nil {
				rel, err = filepath.Rel(from, abs)
			}
			if err != nil || strings.HasPrefix(rel, "..") {
				return nil, usage("--from %s: %s is not below it", c.From, c.Roll)
			}
			s.folder = filepath.ToSlash(rel)
		}
		if l, err := procedure.ParseLabel(filepath.Base(abs)); err == nil {
			s.label = l
		}
	} else if err := c.sourceRoll(home, s); err != nil {
		return nil, err
	}
	s.base = filepath.Base(s.path)
	root, err := os.OpenRoot(filepath.Dir(s.path))
	if err != nil {
		return nil, &Exit{Code: CodeFailed, Err: err}
	}
	s.root = root
	if err := s.learn(); err != nil {
		return nil, errors.Join(&Exit{Code: CodeFailed, Err: err}, root.Close())
	}
	return s, nil
}

// sourceRoll finds a roll of the open shift on one of its destinations.
func (c *Copy) sourceRoll(home string, s *source) error {
	l, err := procedure.ParseLabel(c.Roll)
	if err != nil {
		return usage("%s is neither a folder nor a label", c.Roll)
	}
	f, err := current(home, "")
	if err != nil {
		return err
	}
	roll := f.shift.Roll(l)
	if roll == nil || roll.Copy != procedure.CopyIsProven {
		return &Exit{Code: CodeFailed, Err: fmt.Errorf("%s has no proven copy in this shift", l)}
	}
	for _, n := range roll.Copies {
		p := filepath.Join(n.Path, filepath.FromSlash(n.Folder))
		if !n.Proven || c.From != "" && !sameFolder(c.From, n.Path) {
			continue
		}
		if st, err := os.Stat(p); err == nil && st.IsDir() {
			s.label, s.path, s.folder = l, p, n.Folder
			if s.proof, err = proofstore.Load(filepath.Join(home, "proofs"), roll.Proof); err != nil {
				return &Exit{Code: CodeFailed, Err: fmt.Errorf("the proof of %s cannot be read, so nothing can be compared with it: %w. Name the folder instead of the label to go by its hash list", l, err)}
			}
			return nil
		}
	}
	return &Exit{Code: CodeFailed, Err: fmt.Errorf("no proven copy of %s is there now; mount its drive, or name it with --from", l)}
}

func sameFolder(a, b string) bool {
	x, err1 := os.Stat(a)
	y, err2 := os.Stat(b)
	return err1 == nil && err2 == nil && os.SameFile(x, y)
}

// learn says what is known of the files. A roll of the shift is verified against the shift's own proof; anything else
// against the ASC MHL history, and the checksum list beside the folder for what no history speaks of. Neither: nothing is
// known.
func (s *source) learn() error {
	s.known = map[string]manifest.Digest{}
	fromCard, err := manifest.FromCard(s.root, s.base)
	if err != nil {
		return fmt.Errorf("hash list of %s: %w", s.base, err)
	}
	h, err := manifest.ReadHistory(context.Background(), s.root, s.base)
	switch {
	case err == nil && !fromCard:
		s.own = true
		for p, k := range h.Files {
			if d, ok := best(k.Digests); ok {
				s.known[p] = d
			}
		}
	case err != nil && !errors.Is(err, manifest.ErrNoHistory):
		return fmt.Errorf("hash list of %s: %w", s.base, err)
	}
	if s.proof != nil {
		s.known = map[string]manifest.Digest{}
		for i := range s.proof.Files {
			f := &s.proof.Files[i]
			s.known[f.Path] = manifest.Digest{Format: hashes.XXH64, Text: hashes.Text64(f.Hash)}
		}
		return nil
	}
	if fromCard {
		h = nil // the card's own, older than the list
	}
	return s.learnList(h)
}

// learnList adds what the checksum list says of files that no history speaks of: names that no manifest can hold, files
// of nested histories, and all of them where there is none.
func (s *source) learnList(h *manifest.History) error {
	f, err := s.root.Open(s.base + manifest.ListExt)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close() // only read
	return manifest.ReadList(f, func(path string, hash uint64) error {
		rel, ok := strings.CutPrefix(path, s.base+"/")
		if _, known := s.known[rel]; !ok || known || h != nil && h.Former[rel] {
			return nil
		}
		if s.own && (strings.HasPrefix(rel, manifest.Folder+"/") || strings.Contains(rel, "/"+manifest.Folder+"/")) {
			return nil // a history's own files: they grow
		}
		s.known[rel] = manifest.Digest{Format: hashes.XXH64, Text: hashes.Text64(hash)}
		return nil
	})
}

// best picks the digest to verify with: XXH64 is computed anyway.
func best(ds []manifest.Digest) (manifest.Digest, bool) {
	var d manifest.Digest
	for _, x := range ds {
		if x.Format == "xxh32" {
			continue
		}
		if d.Format == "" || x.Format == "xxh64" {
			d = x
		}
	}
	return d, d.Format != ""
}

// job makes the offload's job, and refuses a source that lacks files of its hash list.
func (c *Copy) job(ctx context.Context, a *App, s *source, policy guard.Policy) (*offload.Job, error) {
	list, err := offload.Scan(ctx, s.path)
	if err != nil {
		return nil, &Exit{Code: CodeFailed, Err: err}
	}
	if s.own {
		list.Files = slices.DeleteFunc(list.Files, func(e guard.Entry) bool { return strings.HasPrefix(e.Path, "ascmhl/") })
		list.Dirs = slices.DeleteFunc(list.Dirs, func(d string) bool { return d == "ascmhl" || strings.HasPrefix(d, "ascmhl/") })
	}
	have := map[string]bool{}
	for _, f := range list.Files {
		have[f.Path] = true
	}
	for p := range s.known {
		if !have[p] {
			return nil, &Exit{Code: CodeFailed, Err: fmt.Errorf("%s lacks %s, which its hash list has; nothing was copied. Read another copy", s.base, procedure.Plain(p))}
		}
	}
	ident := &watch.Identifier{Patience: watch.WakeUp}
	vol, err := ident.Identify(s.path)
	if err != nil {
		return nil, &Exit{Code: CodeFailed, Err: err}
	}
	host, _ := os.Hostname() // for people
	rec := manifest.NewRecorder(manifest.Info{Tool: "twobin", Version: Version, Hostname: host, Operator: c.Operator, Now: a.Now,
		Note: func(e *guard.Error) { fmt.Fprintln(a.Err, "look: "+procedure.Plain(e.Error())) }})
	if s.own {
		rec = rec.Carry(s.root, s.base)
	}
	j := &offload.Job{Label: s.base, Source: vol, SourcePath: s.path, Listing: list, Partial: s.own, Recorder: rec, Now: a.Now, Reread: policy.Reread}
	unknown := 0
	for _, f := range list.Files {
		if _, ok := s.known[f.Path]; !ok {
			unknown++
		}
	}
	switch {
	case len(s.known) == 0:
		fmt.Fprintln(a.Err, "look: there is no hash list; the copy is proven against what is read now")
	case unknown > 0:
		fmt.Fprintf(a.Err, "look: of %d files, %d are in no hash list; those are proven against what is read now\n", len(list.Files), unknown)
	}
	if len(s.known) > 0 {
		j.Expect = func(path string) (string, string) { d := s.known[path]; return d.Format, d.Text }
	}
	for _, h := range policy.Hashes {
		if h != "xxh64" {
			j.Extra = append(j.Extra, h)
		}
	}
	for _, to := range c.To {
		abs, err := filepath.Abs(to)
		if err != nil {
			return nil, usage("--to %s: %w", to, err)
		}
		v, err := ident.Identify(abs)
		if err != nil {
			return nil, usage("--to %s: %w", to, err)
		}
		j.Targets = append(j.Targets, offload.Target{Name: filepath.Base(abs), Path: abs, Folder: s.folder, Volume: v})
	}
	return j, nil
}

// check looks before the first byte. A shared device is only said: this copy opens no lock by itself.
func (c *Copy) check(ctx context.Context, a *App, j *offload.Job) error {
	var errs []error
	for _, e := range offload.Check(ctx, *j) {
		if e.Kind == guard.KindSameDevice {
			fmt.Fprintln(a.Err, "look: "+procedure.Plain(e.Item)+" may share a physical device with the copy that is read, or with another destination")
			continue
		}
		n := procedure.FaultNotice(procedure.Label(j.Label), e)
		errs = append(errs, fmt.Errorf("%s Safe: %s (%w)", n.What, n.Safe, e))
	}
	if len(errs) > 0 {
		return &Exit{Code: CodeFailed, Err: errors.Join(errs...)}
	}
	return nil
}

func tellCopy(a *App, p *offload.Progress, done <-chan struct{}) {
	const every = 2 * time.Second
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-done:
			return
		case <-t.C:
			s := p.Snapshot(a.Now())
			left := ""
			if s.Left >= 0 {
				left = ", " + procedure.Clockface(s.Left) + " left"
			}
			fmt.Fprintf(a.Err, "copy: %s, %s of %s, %d of %d files%s\n", s.Phase, procedure.SizeText(s.Bytes), procedure.SizeText(s.BytesTotal), s.Files, s.FilesTotal, left)
		}
	}
}

// report says what each destination holds now.
func (c *Copy) report(a *App, p *guard.Proof, faults []*guard.Error) error {
	ok := len(p.Copies) > 0
	for i := range p.Copies {
		n := &p.Copies[i]
		word := "proven: every file read back from the device and equal"
		if !p.Proven(n) {
			ok = false
			word = "NOT proven: " + n.Honesty.String()
			if n.Fault != "" {
				word = "NOT proven: " + procedure.Plain(n.Fault)
			}
		}
		if _, err := fmt.Fprintf(a.Out, "%s on %s: %d files, %s, %s\n", p.Label, n.Name, len(p.Files), procedure.SizeText(p.Bytes()), word); err != nil {
			return err
		}
	}
	if ok {
		return nil
	}
	errs := make([]error, 0, len(faults))
	for _, f := range faults {
		errs = append(errs, f)
	}
	return &Exit{Code: CodeFailed, Err: errors.Join(errs...)}
}
