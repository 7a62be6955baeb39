package journal

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"twobin/guard"
)

// ErrClosed is in the error of everything that is asked of a journal after Close, or after a failed write.
var ErrClosed = errors.New("journal is closed")

// Journal is one open journal. Its methods may be called concurrently.
type Journal struct {
	path string
	file *os.File
	out  File
	o    Options

	mu     sync.Mutex
	last   Line  // the last line on the device; zero if there is none
	size   int64 // of the file, as far as we have written it
	run    int
	begin  time.Time     // Now at the begin of this run, with its monotonic reading
	mono0  time.Duration // Mono at the begin of this run
	broken error         // why nothing counts any more
	closed bool
}

// Append writes lines, in this order, in one write and one flush, and returns them as they are on the device: Seq, Time,
// Run, Mono, Prev and Sum filled in, Station too where it was empty. Only when Append has returned without an error
// have these events happened. All lines of one call have the same Time and Mono. A crash may keep the first few lines
// of one call and lose the others, so each line must make sense without those after it.
//
// If the wall clock has jumped since the line before, a clock.jumped line comes first and is returned too: the caller's
// own lines are always the last len(lines).
//
// Errors: ErrLine if a line is refused for what it says; nothing was written and the journal goes on. ctx's error if it
// was done before anything was written (it is not heeded later: what is half written cannot be stopped). Every other
// error, *guard.Error with its kind, closes the journal for good, since what is on the device is then unknown: the same
// error, together with ErrClosed, is returned from then on. Open reads anew what is there.
func (j *Journal) Append(ctx context.Context, lines ...Line) ([]Line, error) {
	for i := range lines {
		if err := lines[i].check(); err != nil {
			return nil, err
		}
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.usable(); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("append to journal: %w", err)
	}
	if len(lines) == 0 {
		return nil, nil
	}
	return j.write(lines)
}

func (j *Journal) usable() error {
	switch {
	case j.broken != nil:
		return fmt.Errorf("%w: %w", ErrClosed, j.broken)
	case j.closed:
		return ErrClosed
	}
	return nil
}

// write stamps, encodes, writes and flushes. The caller holds mu, or is Open.
func (j *Journal) write(lines []Line) ([]Line, error) {
	now := j.o.Now()
	if y := now.Year(); y < 0 || y > 9999 {
		return nil, fmt.Errorf("%w: the clock shows the year %d", ErrLine, y)
	}
	out, buf, err := j.encode(now, lines)
	if err != nil {
		return nil, err
	}
	if err := j.put(buf); err != nil {
		j.broken = err
		forget(j.file) // so that whoever opens it next sees the device, not the cache
		j.o.Log.Error("journal closed for good", "path", j.path, "err", err)
		return nil, err
	}
	j.last = out[len(out)-1]
	j.run = j.last.Run
	j.size += int64(len(buf))
	return out, nil
}

// encode fills in what the journal knows and gives the bytes.
func (j *Journal) encode(now time.Time, lines []Line) ([]Line, []byte, error) {
	next := Line{Time: stamp(now), Run: j.run, Mono: j.elapsed(now), Station: j.o.Station}
	if j.run == 0 {
		next.Run, next.Mono = j.last.Run+1, 0
		j.begin = now
		if j.o.Mono != nil {
			j.mono0 = j.o.Mono()
		}
	}
	out := make([]Line, 0, len(lines)+1)
	if by, jumped := Jump(j.last, next); jumped && j.last.Seq > 0 {
		data, err := json.Marshal(JumpedData{By: by})
		if err != nil {
			return nil, nil, err
		}
		note := Line{Event: EventJumped, Data: data}
		if j.run == 0 { // a run begins with journal.opened, nothing before it
			lines = append(lines[:len(lines):len(lines)], note)
		} else {
			out = append(out, note)
		}
	}
	out = append(out, lines...)
	var buf []byte
	prev := j.last
	if prev.Seq == 0 {
		prev.Sum = genesis()
	}
	for i := range out {
		l := &out[i]
		l.Seq, l.Time, l.Run, l.Mono, l.Prev = prev.Seq+1, next.Time, next.Run, next.Mono, prev.Sum
		if l.Station == "" {
			l.Station = next.Station
		}
		if string(l.Data) == "null" {
			l.Data = nil
		}
		before := len(buf)
		buf = encode(buf, l)
		if n := len(buf) - before; n > MaxLine {
			return nil, nil, fmt.Errorf("%w: event %s: %d bytes, at most %d", ErrLine, l.Event, n, MaxLine)
		}
		prev = *l
	}
	if len(buf) > MaxAppend {
		return nil, nil, fmt.Errorf("%w: %d bytes at once, at most %d", ErrLine, len(buf), MaxAppend)
	}
	return out, buf, nil
}

// elapsed is the monotonic time of this run, later than that of the append before even if the clock says otherwise: two
// appends never have the same, which is how the parts of a torn one are told.
func (j *Journal) elapsed(now time.Time) time.Duration {
	mono := now.Sub(j.begin)
	if j.o.Mono != nil {
		mono = j.o.Mono() - j.mono0
	}
	return max(mono, j.last.Mono+1)
}

// put brings b to the end of the file and down to the device.
func (j *Journal) put(b []byte) error {
	// Someone may have moved the file away or written to it; then what we add would be lost or would break the chain.
	if err := j.inPlace(); err != nil {
		return err
	}
	if err := j.hasSize(j.size); err != nil {
		return err
	}
	n, err := j.out.Write(b)
	if err == nil && n != len(b) {
		err = io.ErrShortWrite
	}
	if err != nil {
		return fault("append to", j.path, err)
	}
	if err := j.out.Sync(); err != nil {
		return fault("flush", j.path, err)
	}
	return j.hasSize(j.size + int64(len(b)))
}

func (j *Journal) hasSize(want int64) error {
	info, err := j.file.Stat()
	if err != nil {
		return fault("look at", j.path, err)
	}
	if info.Size() != want {
		return &guard.Error{Op: "append to", Item: "journal", Path: j.path, Kind: guard.KindRecord,
			Err: fmt.Errorf("it has %d bytes, want %d: something else wrote to it", info.Size(), want)}
	}
	return nil
}

// Path is where the journal lies.
func (j *Journal) Path() string { return j.path }

// Code is the closing code as of the last line; see CodeOf.
func (j *Journal) Code() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return CodeOf(j.last)
}

// Check reads the whole journal again and says whether it is whole and ends in the line that was last written here.
// This is the fact that condition L7 of the lock asks for.
func (j *Journal) Check() (Report, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.usable(); err != nil {
		return Report{Path: j.path}, err
	}
	lines, damage, err := ReadFile(j.path)
	if err != nil {
		return Report{Path: j.path}, err
	}
	if damage == nil && (len(lines) == 0 || lines[len(lines)-1].Sum != j.last.Sum) {
		damage = &Damage{Line: len(lines) + 1, Offset: j.size, What: "is not the line that was last written"}
	}
	return report(j.path, lines, damage), nil
}

// Close gives the journal free for others. It writes nothing: what counts is on the device already.
func (j *Journal) Close() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed {
		return nil
	}
	j.closed = true
	// The note first, while the lock still keeps others from writing theirs.
	return errors.Join(removeHolder(j.path), fault("unlock", j.path, unlock(j.file)), fault("close", j.path, j.file.Close()))
}
