package offload

import (
	"context"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
	"twobin/guard/hashes"
)

// TestExpect copies from an earlier copy. A file that is not what its hash list says is placed nowhere, the others are,
// and nothing counts as proven.
func TestExpect(t *testing.T) {
	t.Parallel()
	src := t.TempDir()
	cardTree(t, src)
	known := map[string]string{}
	for _, name := range []string{"CLIPS/A003C001.mov", "CLIPS/A003C002.mov", "FRAMES/R01/f0002.dpx", "FRAMES/R01/f0001.dpx", "CLIPS/empty.idx"} {
		data, err := os.ReadFile(src + "/" + name)
		if err != nil {
			t.Fatal(err)
		}
		h, err := hashes.New("md5")
		if err != nil {
			t.Fatal(err)
		}
		h.Write(data)
		known[name] = hashes.Text("md5", h.Sum(nil))
	}
	job := plainJob(t, src, t.TempDir())
	job.Expect = func(path string) (string, string) {
		if want, ok := known[path]; ok {
			return "md5", strings.ToUpper(want)
		}
		return "", ""
	}
	p, errs := Run(t.Context(), job, nil)
	noFaults(t, p, errs)
	if p.Hashes != nil {
		t.Errorf("hashes that nobody asked for are in the proof: %v", p.Hashes)
	}

	known["CLIPS/A003C001.mov"] = strings.Repeat("0", 32)
	known["FRAMES/R01/f0002.dpx"] = strings.Repeat("1", 32)
	job = plainJob(t, src, t.TempDir())
	job.Expect = func(path string) (string, string) {
		if want, ok := known[path]; ok {
			return "md5", want
		}
		return "", ""
	}
	p, errs = Run(t.Context(), job, nil)
	var wrong []string
	for _, err := range errs {
		if err.Kind != guard.KindMismatch || err.Item != card {
			t.Errorf("error = %v, want a mismatch of the card", err)
		}
		wrong = append(wrong, err.Path)
	}
	if diff := cmp.Diff([]string{"FRAMES/R01/f0002.dpx", "CLIPS/A003C001.mov"}, wrong); diff != "" {
		t.Errorf("mismatches (-want +got):\n%s", diff)
	}
	for _, e := range job.Listing.Files {
		_, err := os.Stat(rolled(job.Targets[0], e.Path))
		if stands, want := err == nil, e.Path != wrong[0] && e.Path != wrong[1]; stands != want {
			t.Errorf("%q stands there: %v, want %v", e.Path, stands, want)
		}
	}
	if p.Proven(&p.Copies[0]) || strings.Contains(tree(t, job.Targets[0].Path), ".part") {
		t.Error("want nothing proven and no half copies left")
	}
}

// staged counts what happens to what a recorder wrote.
type staged struct{ published, discarded *int }

func (s staged) Publish() error { *s.published++; return nil }
func (s staged) Discard() error { *s.discarded++; return nil }

type recorder struct {
	staged
	fail  error
	files int
}

func (r *recorder) Stage(_ context.Context, _ *os.Root, _ string, p *guard.Proof, _ int) (Staged, error) {
	if r.fail != nil {
		return nil, r.fail
	}
	for _, f := range p.Files {
		if f.Hash != 0 {
			r.files++
		}
	}
	return r.staged, nil
}

// TestRecorder: staged with all hashes known, published only for a whole copy, discarded otherwise, and a recorder that
// fails condemns the copy.
func TestRecorder(t *testing.T) {
	t.Parallel()
	src := t.TempDir()
	cardTree(t, src)
	published, discarded := 0, 0
	rec := &recorder{staged: staged{&published, &discarded}}
	job := plainJob(t, src, t.TempDir())
	job.Recorder = rec
	p, errs := Run(t.Context(), job, nil)
	noFaults(t, p, errs)
	if published != 1 || discarded != 0 || rec.files != len(p.Files) {
		t.Errorf("published %d, discarded %d, with %d hashes of %d", published, discarded, rec.files, len(p.Files))
	}
	// A copy that changes between its last write and the read-back.
	job = plainJob(t, src, t.TempDir())
	job.Recorder = spoiler{rec, func() error {
		return os.WriteFile(rolled(job.Targets[0], "FRAMES/R01/f0003.dpx"), []byte("?"), 0o644)
	}}
	p, errs = Run(t.Context(), job, nil)
	if len(errs) != 1 || errs[0].Kind != guard.KindMismatch || p.Proven(&p.Copies[0]) || published != 1 || discarded != 1 {
		t.Errorf("spoiled: errors %v, published %d, discarded %d", errs, published, discarded)
	}
	job = plainJob(t, src, t.TempDir())
	job.Recorder = &recorder{fail: os.ErrInvalid}
	p, errs = Run(t.Context(), job, nil)
	if len(errs) != 1 || errs[0].Kind != guard.KindRecord || p.Proven(&p.Copies[0]) {
		t.Errorf("failing recorder: errors %v", errs)
	}
}

// spoiler changes something after staging.
type spoiler struct {
	*recorder
	spoil func() error
}

func (s spoiler) Stage(ctx context.Context, root *os.Root, folder string, p *guard.Proof, c int) (Staged, error) {
	st, err := s.recorder.Stage(ctx, root, folder, p, c)
	if err == nil {
		err = s.spoil()
	}
	return st, err
}
