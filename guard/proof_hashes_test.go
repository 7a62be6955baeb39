package guard_test

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
)

// A proof with further digests, as the policy's hashes ask for, reads back as it was written: with none, one and two
// formats, with one and more copies, and with a copy whose read-back broke off.
func TestProofWithFurtherHashesReadsBack(t *testing.T) {
	t.Parallel()
	began := time.Date(2031, 5, 9, 8, 0, 0, 0, time.UTC)
	for formats := range 3 {
		for copies := range 4 {
			p := &guard.Proof{Label: "A001", Began: began, Ended: began.Add(time.Minute)}
			for n := range 3 {
				p.Files = append(p.Files, guard.File{Entry: guard.Entry{Path: fmt.Sprintf("CLIPS/A001C%03d.mov", n), Size: int64(n), MTime: 5}, Hash: uint64(n) << 60})
			}
			for c := range copies {
				k := guard.Copy{Name: fmt.Sprintf("DRIVE%d", c), Path: "/d", Folder: "f", LastWrite: began.Add(time.Second), ReadFrom: began.Add(2 * time.Second)}
				for n := range 3 - c%3 {
					k.Back = append(k.Back, guard.Back{Hash: uint64(n) << 60, OK: n != 1})
				}
				p.Copies = append(p.Copies, k)
			}
			for n, f := range []string{"md5", "sha1"}[:formats] {
				if p.Hashes == nil {
					p.Hashes = map[string][]string{}
				}
				for i := range p.Files {
					p.Hashes[f] = append(p.Hashes[f], fmt.Sprintf("%02d%02d", n, i))
				}
			}
			var out bytes.Buffer
			if err := p.Write(&out); err != nil {
				t.Fatalf("%d formats, %d copies: %v", formats, copies, err)
			}
			text := out.String()
			got, err := guard.ReadProof(&out)
			if err != nil {
				t.Errorf("%d formats, %d copies: %v\n%s", formats, copies, err, text)
				continue
			}
			if diff := cmp.Diff(p.Files, got.Files); diff != "" || !cmp.Equal(p.Hashes, got.Hashes) || len(got.Copies) != copies {
				t.Errorf("%d formats, %d copies: read differently: %s%v", formats, copies, diff, got.Hashes)
			}
		}
	}
}
