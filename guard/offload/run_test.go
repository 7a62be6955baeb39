package offload

import (
	"crypto/sha256"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
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

// identOf answers by path; a path that it does not know is a drive that is silent.
type identOf map[string]guard.Volume

func (i identOf) Identify(path string) (guard.Volume, error) {
	if v, ok := i[path]; ok {
		return v, nil
	}
	return guard.Volume{}, &guard.Error{Op: "identify", Path: path, Kind: guard.KindStalled, Err: errors.New("no answer")}
}

// TestCheckAsksWhoIsThere: another volume at the place of the card or of a drive is refused before the first byte, a
// silent one is told as silent, and both by the name that the operator knows.
func TestCheckAsksWhoIsThere(t *testing.T) {
	t.Parallel()
	src, dst := t.TempDir(), folderSet(t, 2)
	cardTree(t, src)
	job := plainJob(t, src, dst...)
	job.Source.ID, job.Targets[0].Volume.ID, job.Targets[1].Volume.ID = "card", "one", "two"
	good := identOf{src: {ID: "card"}, dst[0]: {ID: "one"}, dst[1]: {ID: "two"}}
	type seen struct {
		item string
		kind guard.Kind
	}
	for name, c := range map[string]struct {
		at   string
		is   *guard.Volume
		want []seen
	}{
		"as set up":     {dst[0], &guard.Volume{ID: "one"}, nil},
		"other drive":   {dst[0], &guard.Volume{ID: "three"}, []seen{{"DRIVE1", guard.KindGone}}},
		"drives swap":   {dst[1], &guard.Volume{ID: "one"}, []seen{{"DRIVE2", guard.KindGone}}},
		"unknown drive": {dst[1], &guard.Volume{}, []seen{{"DRIVE2", guard.KindGone}}},
		"silent drive":  {dst[1], nil, []seen{{"DRIVE2", guard.KindStalled}}},
		"other card":    {src, &guard.Volume{ID: "other"}, []seen{{card, guard.KindGone}}},
		"silent card":   {src, nil, []seen{{card, guard.KindStalled}}},
	} {
		ident := maps.Clone(good)
		if delete(ident, c.at); c.is != nil {
			ident[c.at] = *c.is
		}
		job.Ident = ident
		var got []seen
		for _, err := range Check(t.Context(), job) {
			got = append(got, seen{err.Item, err.Kind})
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: Check = %v, want %v", name, got, c.want)
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
