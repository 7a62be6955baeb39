package offload

import (
	"crypto/sha256"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"twobin/guard/device"
)

// sum is a hash of another family than the ones under test.
func sum(data []byte) [32]byte { return sha256.Sum256(data) }

func TestRunCopiesEverything(t *testing.T) {
	t.Parallel()
	src, dst := t.TempDir(), folderSet(t, 3)
	cardTree(t, src)
	job := plainJob(t, src, dst...)
	job.Extra = []string{"md5", "c4", "xxh64"}
	var prog Progress
	p, errs := Run(t.Context(), job, &prog)
	noFaults(t, p, errs)
	want := tree(t, src)
	for _, target := range job.Targets {
		if diff := cmp.Diff(want, tree(t, rolled(target, ""))); diff != "" {
			t.Errorf("%s differs from the card (-card +copy):\n%s", target.Name, diff)
		}
	}
	s := prog.Snapshot(p.Ended)
	if s.Phase != Done || s.Bytes != job.Listing.Bytes() || s.Files != int64(len(job.Listing.Files)) || s.Targets[2].Back != s.Bytes || s.Targets[2].Written != s.Bytes {
		t.Errorf("last snapshot = %+v", s)
	}
	// A second run finds everything and writes nothing.
	again, errs := Run(t.Context(), job, nil)
	noFaults(t, again, errs)
	if diff := cmp.Diff(want, tree(t, rolled(job.Targets[0], ""))); diff != "" {
		t.Errorf("after a second run (-card +copy):\n%s", diff)
	}
}

func TestRunResumesAndCleansUp(t *testing.T) {
	t.Parallel()
	src, dst := t.TempDir(), folderSet(t, 2)
	cardTree(t, src)
	job := plainJob(t, src, dst...)
	if _, errs := Run(t.Context(), job, nil); errs != nil {
		t.Fatal(errs)
	}
	half := rolled(job.Targets[0], "CLIPS/"+device.TempName("CLIPS/A003C001.mov"))
	if err := os.Rename(rolled(job.Targets[0], "CLIPS/A003C001.mov"), half); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(half, 1000); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(rolled(job.Targets[1], "FRAMES/R01/f0002.dpx")); err != nil {
		t.Fatal(err)
	}
	mine := filepath.Join(dst[0], "Show", "note.txt")
	if err := os.WriteFile(mine, []byte("not yours"), 0o644); err != nil {
		t.Fatal(err)
	}
	p, errs := Run(t.Context(), job, nil)
	noFaults(t, p, errs)
	if _, err := os.Stat(half); err == nil {
		t.Error("the half copy is still there")
	}
	if data, _ := os.ReadFile(mine); string(data) != "not yours" {
		t.Errorf("a file beside the roll now holds %q", data)
	}
	for _, target := range job.Targets {
		if diff := cmp.Diff(tree(t, src), tree(t, rolled(target, ""))); diff != "" {
			t.Errorf("%s (-card +copy):\n%s", target.Name, diff)
		}
	}
}

func TestCheckIsContentWithGoodJobs(t *testing.T) {
	t.Parallel()
	src, dst := t.TempDir(), folderSet(t, 2)
	cardTree(t, src)
	job := plainJob(t, src, dst...)
	for _, err := range Check(t.Context(), job) {
		t.Errorf("Check = %v", err)
	}
	left, err := os.ReadDir(dst[0])
	if err != nil || len(left) != 0 {
		t.Errorf("Check left %v on the destination (%v)", left, err)
	}
	if strings.Contains(tree(t, dst[0]), ".part") {
		t.Error("a temporary name is left")
	}
}
