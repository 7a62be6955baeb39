package journal

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"twobin/guard"
	"twobin/guard/proofstore"
)

// script is what the traced child does in dir: two runs of a journal, proofs that are saved before their lines, and what
// counts said on standard output.
func script(dir string) error {
	path, proofs := filepath.Join(dir, "j"), filepath.Join(dir, "proofs")
	for run := range 2 {
		j, lines, err := Open(path, Options{Station: "A"})
		if err != nil {
			return err
		}
		fmt.Println("ack", len(lines))
		for i := range 2 {
			p := &guard.Proof{Label: "A003", Began: time.Unix(int64(run), 0).UTC(), Ended: time.Unix(9, 0).UTC()}
			for n := range 12 * (i + 1) {
				p.Files = append(p.Files, guard.File{Entry: guard.Entry{Path: fmt.Sprintf("CLIPS/f%03d", n), Size: int64(n)}, Hash: uint64(n * run)})
			}
			sha, err := proofstore.Save(proofs, p)
			if err != nil {
				return err
			}
			note := Line{Event: "copy.proven", Data: []byte(`{"proof":"` + sha + `"}`)}
			long := Line{Event: "note.made", Data: []byte(`{"text":"` + strings.Repeat("x", 300*i) + `"}`)}
			out, err := j.Append(context.Background(), []Line{note, long, long}[:1+2*i]...)
			if err != nil {
				return err
			}
			fmt.Println("ack", out[len(out)-1].Seq)
		}
		if err := j.Close(); err != nil {
			return err
		}
	}
	return nil
}
