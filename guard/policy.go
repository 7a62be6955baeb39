package guard

import (
	"fmt"
	"slices"
	"time"

	"twobin/guard/hashes"
)

// Recheck says how much of each copy is hashed once more for the fresh look. The zero value is not a choice; the lock
// takes it for RecheckFull.
type Recheck int

const (
	recheckInvalid Recheck = iota
	// RecheckSample: files chosen at random, see Policy.SampleFiles. The default.
	RecheckSample
	// RecheckFull: every file.
	RecheckFull
)

// String is the word used in the policy file and in the journal.
func (r Recheck) String() string {
	switch r {
	case RecheckSample:
		return "sample"
	case RecheckFull:
		return "full"
	case recheckInvalid:
	}
	return "invalid"
}

// Policy is what a production may demand beyond the rules that always hold. It can only be stricter than
// [DefaultPolicy]: [ReadPolicy] refuses anything laxer, and [Lock] takes the default for any value that is laxer (or
// zero), so that no Policy whatever opens a lock that the default keeps closed.
type Policy struct {
	// Destinations is how many proven copies on separate devices an erase needs: 2 or more.
	Destinations int
	// Recheck says how much of each copy is hashed again before an erase.
	Recheck Recheck
	// SampleFiles and SampleBytes bound the sample: files are chosen at random until there are SampleFiles, or until
	// no other file fits into SampleBytes (bytes). One file is always chosen, whatever its size. See [Policy.Enough].
	SampleFiles int
	SampleBytes int64
	// StartWithin is the longest time from seating the card to starting the copy, DeskWithin the longest time a card may
	// lie on the desk, EraseWithin the greatest age of the fresh look when the erase begins. All can only be shorter.
	StartWithin time.Duration
	DeskWithin  time.Duration
	EraseWithin time.Duration
	// Hashes are formats (package hashes) to be computed beside XXH64, which always is.
	Hashes []string
	// Reread: the card is read a second time and compared.
	Reread bool
}

// DefaultPolicy is the laxest policy there is. The three times are house rules without a published source; the size of
// the sample is own choice: some seconds on a spinning drive for a card of many files, one clip for a card of few.
func DefaultPolicy() Policy {
	return Policy{
		Destinations: 2, Recheck: RecheckSample, SampleFiles: 16, SampleBytes: 8e9,
		StartWithin: 30 * time.Second, DeskWithin: 3 * time.Minute, EraseWithin: 60 * time.Second,
	}
}

// Strict is p with every value that is zero, unknown or laxer than the default replaced: by the default, and an unknown
// Recheck by RecheckFull. A time below zero becomes zero, which nothing satisfies.
func (p Policy) Strict() Policy {
	d := DefaultPolicy()
	p.Destinations = max(p.Destinations, d.Destinations)
	if p.Recheck != RecheckSample {
		p.Recheck = RecheckFull
	}
	p.SampleFiles = max(p.SampleFiles, d.SampleFiles)
	p.SampleBytes = max(p.SampleBytes, d.SampleBytes)
	p.StartWithin = shorter(p.StartWithin, d.StartWithin)
	p.DeskWithin = shorter(p.DeskWithin, d.DeskWithin)
	p.EraseWithin = shorter(p.EraseWithin, d.EraseWithin)
	p.Hashes = extraHashes(p.Hashes)
	return p
}

// shorter gives the shorter time; 0 means not said.
func shorter(d, most time.Duration) time.Duration {
	if d == 0 {
		return most
	}
	return max(0, min(d, most))
}

// extraHashes keeps what can be computed, once each, without XXH64, in the order in which manifests have them.
func extraHashes(want []string) []string {
	var extra []string
	for _, f := range hashes.Formats() {
		if f != hashes.XXH64 && slices.Contains(want, f) {
			extra = append(extra, f)
		}
	}
	return extra
}

// Enough says whether chosen (numbers of p.Files, each at most once) is as much of the proof as the policy wants hashed
// again: every file with RecheckFull; otherwise SampleFiles files, or so many that no other file fits into SampleBytes.
// The error says what is lacking.
func (p Policy) Enough(proof *Proof, chosen []int) error {
	p = p.Strict()
	n := len(proof.Files)
	seen := make(map[int]bool, len(chosen))
	var bytes int64
	for _, i := range chosen {
		if i < 0 || i >= n || seen[i] {
			return fmt.Errorf("file number %d of %d is wrong or named twice", i, n)
		}
		seen[i] = true
		bytes += proof.Files[i].Size
	}
	if len(chosen) == n {
		return nil
	}
	if p.Recheck != RecheckSample {
		return fmt.Errorf("%d of %d files, all are wanted", len(chosen), n)
	}
	if len(chosen) >= p.SampleFiles {
		return nil
	}
	if len(chosen) == 0 {
		return fmt.Errorf("none of %d files", n)
	}
	for i := range proof.Files {
		if !seen[i] && proof.Files[i].Size <= p.SampleBytes-bytes {
			return fmt.Errorf("%d files of %d bytes: too few", len(chosen), bytes)
		}
	}
	return nil
}
