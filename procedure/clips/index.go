package clips

import (
	"encoding/binary"
	"path"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
	"twobin/procedure"
)

// contents tells a file's contents by one number, made of its XXH64 and its size. Among a million different files the
// chance that any two share it is one in thirty million; what comes of it is a question, never more.
func contents(f guard.File) uint64 { return f.Hash ^ uint64(f.Size)*0x9E3779B97F4A7C15 }

// fatTick is the step in which FAT counts a file's time (Microsoft, "FAT: General Overview of On-Disk Format", 2 s).
const fatTick = 2e9

// likeness tells a clip by its name, without its folder, its size and its recording time. buf is used again.
func likeness(buf []byte, e guard.Entry) (uint64, []byte) {
	buf = binary.LittleEndian.AppendUint64(buf[:0], uint64(e.Size))
	buf = binary.LittleEndian.AppendUint64(buf, uint64(e.MTime/fatTick))
	buf = append(buf, path.Base(e.Path)...)
	return xxhash.Sum64(buf), buf
}

// Index finds equal files among the rolls of a production, by XXH64 and size. A file costs about 30 bytes, wherever and
// under whatever name it stands. The zero value is ready to use; a nil one holds nothing.
type Index struct {
	labels []procedure.Label
	files  map[uint64]uint32 // contents -> number in labels
}

// Add takes in the files of a roll that are large enough to be clips, and not hidden; of equal ones the first stays. Not for a nil Index.
func (ix *Index) Add(l procedure.Label, p *guard.Proof) {
	if ix.files == nil {
		ix.files = map[uint64]uint32{}
	}
	n := uint32(len(ix.labels))
	ix.labels = append(ix.labels, l)
	for i := range p.Files {
		if f := p.Files[i]; f.Size >= minEqual && !isHidden(f.Path) {
			if _, ok := ix.files[contents(f)]; !ok {
				ix.files[contents(f)] = n
			}
		}
	}
}

func (ix *Index) find(f guard.File) (procedure.Label, bool) {
	if ix == nil {
		return "", false
	}
	n, ok := ix.files[contents(f)]
	if !ok {
		return "", false
	}
	return ix.labels[n], true
}
