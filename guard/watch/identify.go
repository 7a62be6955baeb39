package watch

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"sync"
	"time"

	"twobin/guard"
)

// patience is how long Identify waits for a drive. A sleeping hard disk needs several seconds to spin up, but asking
// for an identity is answered from memory once a volume is mounted.
const patience = 3 * time.Second

// WakeUp is the patience with a drive that is only asked once, by a command that cannot ask again: as long as a disk that
// sleeps may need until it turns. Own choice.
const WakeUp = 12 * time.Second

// Identifier says which volume carries a path, without watching anything. The zero value knows no reader folders and
// is ready to use.
type Identifier struct {
	// Readers are the reader folders (absolute paths): identified as the card that the folder holds, see the package
	// comment. Everything else is identified as the volume that carries it.
	Readers []string
	// Patience is how long to wait for a drive; 0 for 3 s.
	Patience time.Duration

	tables Tables // nil: the real machine

	mu    sync.Mutex
	stuck map[string]*single[guard.Volume]
}

var _ guard.Identifier = (*Identifier)(nil)
var _ guard.Identifier = (*Watcher)(nil)

// Identify tells what volume carries a path now. Mount is the volume's mount point (for a reader folder: its path),
// whatever folder of the volume was asked for. The path must exist.
//
// Errors are a [guard.Error]: KindGone if the path, or the card in the reader, is not there; KindStalled if the drive
// did not answer in time, and then the volume has what the mount table tells, without ID and sizes; KindDenied.
func (i *Identifier) Identify(path string) (guard.Volume, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return guard.Volume{}, failed(path, guard.KindGone, err)
	}
	limit := i.Patience
	if limit <= 0 {
		limit = patience
	}
	tables := i.tables
	if tables == nil {
		tables = machine{}
	}
	a, ok := i.question(abs).ask(limit, func() (guard.Volume, error) {
		for _, r := range i.Readers {
			if filepath.Clean(r) == abs {
				return card(tables, abs)
			}
		}
		return tables.Carrier(abs)
	})
	if !ok {
		return tableFacts(tables, abs), failed(path, guard.KindStalled, fmt.Errorf("no answer within %s", limit))
	}
	if a.err != nil {
		return guard.Volume{}, failed(path, kindOf(a.err), a.err)
	}
	return a.val, nil
}

// kindOf sorts the reasons why a volume cannot be told.
func kindOf(err error) guard.Kind {
	if errors.Is(err, fs.ErrPermission) {
		return guard.KindDenied
	}
	return guard.KindGone
}

// card describes what the reader folder holds now.
func card(t Tables, reader string) (guard.Volume, error) {
	f, err := t.Folder(reader)
	if err != nil {
		return guard.Volume{}, err
	}
	ms, err := t.Mounts()
	if err != nil {
		return guard.Volume{}, err
	}
	s, _, ok := seat(ms, look{reader, f})
	if !ok {
		return guard.Volume{}, errNoCard
	}
	return describe(t, s)
}

// tableFacts is what the mount table tells of a path whose drive does not answer, so links on the way are not followed.
func tableFacts(t Tables, abs string) guard.Volume {
	ms, err := t.Mounts()
	if err != nil {
		return guard.Volume{}
	}
	i := carrier(ms, abs)
	if i < 0 {
		return guard.Volume{}
	}
	s := seen{mount: ms[i]}
	return s.facts(t.Disk(s.mount))
}

// question is the one open question about a path.
func (i *Identifier) question(abs string) *single[guard.Volume] {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.stuck == nil {
		i.stuck = make(map[string]*single[guard.Volume])
	}
	if i.stuck[abs] == nil {
		i.stuck[abs] = &single[guard.Volume]{}
	}
	return i.stuck[abs]
}

// Identify tells what volume carries a path now, knowing no reader folders, see [Identifier.Identify].
func Identify(path string) (guard.Volume, error) {
	var i Identifier
	return i.Identify(path)
}

// Identify tells what volume carries a path now, knowing the watcher's reader folders, see [Identifier.Identify].
func (w *Watcher) Identify(path string) (guard.Volume, error) { return w.ident.Identify(path) }

func failed(path string, k guard.Kind, err error) error {
	return &guard.Error{Op: "identify", Path: path, Kind: k, Err: err}
}

// errNoCard: the reader folder leads nowhere or to an empty folder.
var errNoCard = errors.New("no card in the reader")
