package recheck

import (
	"crypto/md5"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"

	"twobin/guard"
	"twobin/guard/manifest"
	"twobin/guard/offload"
)

// offloadTo runs the real engine from a card folder to drives, with the recorder.
func offloadTo(t *testing.T, card string, rec offload.Recorder, extra []string, drives ...*drive) guard.Proof {
	t.Helper()
	list, err := offload.Scan(t.Context(), card)
	if err != nil {
		t.Fatal(err)
	}
	job := offload.Job{Label: "A003", SourcePath: card, Listing: list, Extra: extra, Recorder: rec}
	for i, d := range drives {
		job.Targets = append(job.Targets, offload.Target{Name: fmt.Sprintf("D%d", i), Path: d.top, Folder: rollDir})
	}
	proof, faults := offload.Run(t.Context(), job, nil)
	if len(faults) != 0 {
		t.Fatalf("offload: %v", faults)
	}
	return proof
}

// TestOffloadThenRecheck goes the whole way: offload to two drives, the outside tools on what it left, a second offload,
// a recheck.
func TestOffloadThenRecheck(t *testing.T) {
	xxhsum := tool(t, "xxhsum")
	card := &drive{t: t, top: t.TempDir()}
	files := clips()
	files["odd \\ name "] = "x"
	files["li\nne"] = "y"
	files["empty"] = ""
	for p, c := range files {
		card.write(p, c)
	}
	card.must(os.Mkdir(card.path("Nothing"), 0o777))
	one, two := &drive{t: t, top: t.TempDir()}, &drive{t: t, top: t.TempDir()}
	rec := manifest.NewRecorder(manifest.Info{Operator: "A. Person", Now: one.clock, Note: func(e *guard.Error) { t.Errorf("note: %v", e) }})
	offloadTo(t, card.top, rec, []string{"md5"}, one, two)
	for _, d := range []*drive{one, two} {
		validate(t, d.top)
		cmd := exec.CommandContext(t.Context(), xxhsum, "-c", "A003.xxh64")
		cmd.Dir = d.path("DAY1/A")
		if out, err := cmd.CombinedOutput(); err != nil || strings.Count(string(out), ": OK\n") < len(files)-1 {
			t.Errorf("xxhsum: %v\n%s", err, out)
		}
		got, dirs := d.generation(rollDir)
		if len(got) != len(files) || len(dirs) != 2 || got["notes.txt"] != "md5 original, xxh64 original" {
			t.Errorf("generation 1: %q", got)
		}
		if r := d.roll(Options{}); !r.OK() || r.Counts.Intact != len(files) || len(r.Warnings) != 0 || len(r.Appended) != 1 {
			t.Errorf("recheck: %+v", r)
		}
	}
	if want := fmt.Sprintf("%x", md5.Sum([]byte("hello\n"))); want != digest(t, "md5", "hello\n") {
		t.Errorf("md5 %s", want)
	}
	offloadTo(t, card.top, rec, nil, one, two)
	if got, _ := one.generation(rollDir); got["notes.txt"] != "xxh64 verified" {
		t.Errorf("generation 3: %q", got)
	}
	validate(t, one.top)
	if r := one.roll(Options{ReadOnly: true}); !r.OK() || r.Generations != 3 {
		t.Errorf("recheck: %+v", r)
	}
}
