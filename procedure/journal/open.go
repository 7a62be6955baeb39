package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"twobin/guard"
)

// Options are what a journal needs besides its path. The zero value works.
type Options struct {
	// Now is the wall clock; nil means time.Now.
	Now func() time.Time
	// Mono is the monotonic clock, from any start; nil means the monotonic reading of Now.
	Mono func() time.Duration
	// Station is filled into lines that name none.
	Station string
	// Program is noted in the journal.opened lines: name and version of what writes.
	Program string
	// Log takes what is worth a developer's look; nil means nothing is logged.
	Log *slog.Logger
	// Wrap, if set, stands between the journal and its file: for tests that make writing fail or record it.
	Wrap func(File) File
}

// File is the part of *os.File through which a journal writes.
type File interface {
	io.Writer
	// Sync returns when what was written is on the device, or with an error.
	Sync() error
}

// DamageError is the error of opening a journal that is not whole. The file is left as it is.
type DamageError struct {
	Path string
	Damage
}

// Error names the file, the line and what is wrong.
func (e *DamageError) Error() string {
	return fmt.Sprintf("open journal %s: %v", e.Path, e.Damage.String())
}

// Torn is one torn end that was set aside, as journal.opened lists it.
type Torn struct {
	// File is the file's name, in the folder of the journal.
	File string `json:"file"`
	// Bytes is its length, SHA256 its hash.
	Bytes  int    `json:"bytes"`
	SHA256 Digest `json:"sha256"`
}

// OpenedData is the data of a journal.opened line.
type OpenedData struct {
	Format  string `json:"format"`
	Program string `json:"program,omitempty"`
	PID     int    `json:"pid"`
	Host    string `json:"host,omitempty"`
	// Torn lists what was set aside and not yet listed in an earlier line.
	Torn []Torn `json:"torn,omitempty"`
}

// JumpedData is the data of a clock.jumped line.
type JumpedData struct {
	// By is the jump of the wall clock in nanoseconds; positive is forward.
	By time.Duration `json:"by"`
}

// Open opens the journal at path for this process alone, or begins it; the folder must exist. It returns all lines,
// the journal.opened line that it has just added included, once they are on the device.
//
// Errors: *Busy if another process (or this one) has the journal open; *DamageError, together with the good lines before
// the damage, if it is not whole: then nothing was changed, and the work goes on in another journal; *guard.Error with
// its kind if the file cannot be read or written. The end of an append that a crash has torn is no error: it is moved
// into path + ".torn-1" (or -2, …), and journal.opened says so.
func Open(path string, o Options) (*Journal, []Line, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	// Append-only also for the system: no mistake of ours can write over a line.
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return nil, nil, fault("open", path, err)
	}
	j := &Journal{path: path, file: f, out: f, o: o}
	if o.Wrap != nil {
		j.out = o.Wrap(f)
	}
	lines, err := j.start()
	if err != nil {
		return nil, lines, errors.Join(err, f.Close())
	}
	return j, lines, nil
}

// start locks, and gives free again if the rest of the opening fails.
func (j *Journal) start() ([]Line, error) {
	if err := lock(j.file); err != nil {
		if errors.Is(err, errLocked) {
			return nil, busy(j.path)
		}
		return nil, fault("lock", j.path, err)
	}
	lines, err := j.begun()
	if err != nil {
		err = errors.Join(err, removeHolder(j.path), fault("unlock", j.path, unlock(j.file)))
	}
	return lines, err
}

// begun notes who has the journal, reads, mends and adds the first line of this run.
func (j *Journal) begun() ([]Line, error) {
	if err := j.inPlace(); err != nil {
		return nil, err
	}
	if err := writeHolder(j.path, j.o.Now()); err != nil {
		j.o.Log.Warn("who has the journal cannot be noted", "path", j.path, "err", err)
	}
	lines, err := j.load()
	if err != nil {
		return lines, err
	}
	data, err := j.opened(lines)
	if err != nil {
		return lines, err
	}
	added, err := j.write([]Line{{Event: EventOpened, Station: j.o.Station, Data: data}})
	if err != nil {
		return lines, err
	}
	// The file's name must be as durable as its lines.
	if err := syncFolder(filepath.Dir(j.path)); err != nil {
		return lines, fault("flush folder of", j.path, err)
	}
	return append(lines, added...), nil
}

// load reads what is on the device and sets a torn end aside.
func (j *Journal) load() ([]Line, error) {
	// A process that was killed may have left lines in the cache that no flush has covered. And after a failed flush the
	// cache shows lines that the device does not have. So: flush, forget the cache where the system allows, then read.
	if err := j.out.Sync(); err != nil {
		return nil, fault("flush", j.path, err)
	}
	forget(j.file)
	raw, err := os.ReadFile(j.path)
	if err != nil {
		return nil, fault("read", j.path, err)
	}
	lines, damage := Parse(raw)
	j.size = int64(len(raw))
	if len(lines) > 0 {
		j.last = lines[len(lines)-1]
	}
	if damage == nil {
		return lines, nil
	}
	if !damage.Torn {
		return lines, &DamageError{Path: j.path, Damage: *damage}
	}
	if err := j.setAside(raw[damage.Offset:]); err != nil {
		return lines, err
	}
	j.o.Log.Warn("torn end of journal set aside", "path", j.path, "offset", damage.Offset, "bytes", len(raw)-int(damage.Offset))
	j.size = damage.Offset
	return lines, nil
}

// setAside moves the torn end into a file of its own. The copy is on the device before the journal is cut; a crash in
// between leaves the copy, which the next opening uses again.
func (j *Journal) setAside(end []byte) error {
	for n := 1; ; n++ {
		name := fmt.Sprintf("%s.torn-%d", j.path, n)
		have, err := os.ReadFile(name)
		if err == nil && bytes.Equal(have, end) {
			break
		}
		if err == nil {
			continue
		}
		if !errors.Is(err, fs.ErrNotExist) {
			return fault("set torn end aside in", name, err)
		}
		if err := writeNew(name, end); err != nil {
			return fault("set torn end aside in", name, err)
		}
		break
	}
	if err := syncFolder(filepath.Dir(j.path)); err != nil {
		return fault("flush folder of", j.path, err)
	}
	// Not through the handle: it may only append, also in the eyes of the system.
	if err := os.Truncate(j.path, j.size-int64(len(end))); err != nil {
		return fault("cut torn end off", j.path, err)
	}
	return fault("flush", j.path, j.out.Sync())
}

// opened builds the data of this run's first line.
func (j *Journal) opened(lines []Line) (json.RawMessage, error) {
	listed := map[string]bool{}
	for _, l := range lines {
		if l.Event != EventOpened {
			continue
		}
		var d OpenedData
		if err := json.Unmarshal(l.Data, &d); err != nil {
			return nil, &DamageError{Path: j.path, Damage: Damage{Line: int(l.Seq), What: "its data are not those of " + EventOpened}}
		}
		for _, t := range d.Torn {
			listed[t.File] = true
		}
	}
	d := OpenedData{Format: Format, Program: j.o.Program, PID: os.Getpid()}
	d.Host, _ = os.Hostname() // for people; a computer without a name is no reason to stop
	for n := 1; ; n++ {
		name := fmt.Sprintf("%s.torn-%d", j.path, n)
		have, err := os.ReadFile(name)
		if errors.Is(err, fs.ErrNotExist) {
			return json.Marshal(d)
		}
		if err != nil {
			return nil, fault("read", name, err)
		}
		if base := filepath.Base(name); !listed[base] {
			d.Torn = append(d.Torn, Torn{File: base, Bytes: len(have), SHA256: sha256.Sum256(have)})
		}
	}
}

// inPlace says whether the path still leads to the file that is open here, and that it has the size it should.
func (j *Journal) inPlace() error {
	open, err := j.file.Stat()
	if err != nil {
		return fault("look at", j.path, err)
	}
	if !open.Mode().IsRegular() {
		return &guard.Error{Op: "open", Item: "journal", Path: j.path, Kind: guard.KindRecord, Err: errors.New("not an ordinary file")}
	}
	named, err := os.Stat(j.path)
	if err != nil {
		return fault("look at", j.path, err)
	}
	if !os.SameFile(open, named) {
		return &guard.Error{Op: "open", Item: "journal", Path: j.path, Kind: guard.KindGone, Err: errors.New("another file has its name now")}
	}
	return nil
}

// writeNew writes a file that does not exist yet, down to the device.
func writeNew(name string, b []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	err = errors.Join(err, f.Sync(), f.Close())
	if err != nil {
		// Half a copy would be taken for a second torn end next time.
		err = errors.Join(err, os.Remove(name))
	}
	return err
}
