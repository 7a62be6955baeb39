package device

// Align is the alignment of addresses, offsets and lengths for access past the page cache, in bytes. 4096 covers every
// logical block size of present drives.
const Align = 4096

// BlockSize is the length of one request to a drive, in bytes. Anything from 1 to 8 MiB was measured to be equal.
const BlockSize = 4 << 20

// AlignUp rounds n up to a multiple of Align.
func AlignUp(n int64) int64 { return (n + Align - 1) &^ (Align - 1) }

// NewBuffer returns n bytes (rounded up) at an aligned address, outside the collected heap where the platform can do
// that. It must be given back with FreeBuffer, but only when no call to a drive can still be using it: a buffer that
// a stuck call holds is leaked on purpose.
func NewBuffer(n int64) ([]byte, error) { return newBuffer(int(AlignUp(n))) }

// FreeBuffer gives back what NewBuffer returned.
func FreeBuffer(b []byte) {
	if cap(b) > 0 {
		freeBuffer(b[:cap(b)])
	}
}

// Scratch is room for reading one file at a time: two buffers, made when first needed. The zero value is ready; Free
// gives the room back. It belongs to one goroutine at a time.
type Scratch struct {
	buffers [2][]byte
}

// hugePage is the least a Scratch maps, in bytes: what Linux calls a huge page on most processors. A request of 128 KiB
// that lies in one page instead of 32 took a sixth off the time of a card of small files.
const hugePage = 2 << 20

// get returns buffer i with room for n bytes, at most BlockSize.
func (s *Scratch) get(i int, n int64) ([]byte, error) {
	n = min(AlignUp(n), BlockSize)
	if int64(cap(s.buffers[i])) >= n {
		return s.buffers[i][:n], nil
	}
	FreeBuffer(s.buffers[i])
	s.buffers[i] = nil
	b, err := NewBuffer(max(n, hugePage))
	if err != nil {
		return nil, err
	}
	s.buffers[i] = b
	return b[:n], nil
}

// Free gives the room back.
func (s *Scratch) Free() {
	for i := range s.buffers {
		FreeBuffer(s.buffers[i])
		s.buffers[i] = nil
	}
}
