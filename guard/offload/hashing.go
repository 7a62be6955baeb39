package offload

import (
	"errors"
	"hash"
	"strings"

	"twobin/guard"
	"twobin/guard/hashes"
)

// errChanged is the cause of KindSourceChanged in one file.
var errChanged = errors.New("size or time changed")

// newHashes makes one hash for each format beside XXH64; valid has checked the formats.
func (r *run) newHashes() []hash.Hash {
	hs := make([]hash.Hash, len(r.formats))
	for k, f := range r.formats {
		hs[k], _ = hashes.New(f)
	}
	return hs
}

// note puts a file's hashes into the proof and compares them with what was expected.
func (r *run) note(i int, sum uint64, extra []string) *guard.Error {
	f := &r.proof.Files[i]
	f.Hash = sum
	for k, format := range r.formats {
		if texts := r.proof.Hashes[format]; texts != nil {
			texts[i] = extra[k]
		}
	}
	r.prog.files.Add(1)
	if f.Size <= smallSize {
		r.prog.bytes.Add(f.Size)
	}
	if r.job.Expect == nil {
		return nil
	}
	format, want := r.job.Expect(f.Path)
	got := hashes.Text64(sum)
	if format == "" {
		return nil
	}
	for k, other := range r.formats {
		if other == format {
			got = extra[k]
		}
	}
	if got == want || format != "c4" && strings.EqualFold(got, want) {
		return nil
	}
	return &guard.Error{Op: "compare", Item: card, Path: f.Path, Kind: guard.KindMismatch, Err: errors.New("not the bytes that its hash list has")}
}
