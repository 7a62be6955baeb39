package journal

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"twobin/guard"
)

// Busy is the error of opening a journal that a process has open already. It wraps a *guard.Error of KindBusy.
type Busy struct {
	Path string `json:"-"`
	// PID and Host name the process and its computer, Since is when it opened the journal. They come from the note
	// beside the journal; zero where that cannot be read.
	PID   int       `json:"pid"`
	Host  string    `json:"host"`
	Since time.Time `json:"since"`
}

// Error says who has the journal.
func (b *Busy) Error() string {
	if b.PID == 0 {
		return fmt.Sprintf("open journal %s: another process has it open", b.Path)
	}
	return fmt.Sprintf("open journal %s: process %d on %s has it open since %s", b.Path, b.PID, b.Host, b.Since.Format(time.RFC3339))
}

// Unwrap gives the fault for callers that decide by kind.
func (b *Busy) Unwrap() error {
	return &guard.Error{Op: "open", Item: "journal", Path: b.Path, Kind: guard.KindBusy}
}

// errLocked: the file is locked by someone else.
var errLocked = errors.New("locked by another process")

// holderFile is the note beside the journal that says who has it open. It is for people: the lock itself is on the
// journal, and a note that a crash left behind locks nobody out.
func holderFile(path string) string { return path + ".lock" }

func busy(path string) *Busy {
	b := &Busy{}
	raw, err := os.ReadFile(holderFile(path))
	if err != nil || json.Unmarshal(raw, b) != nil {
		b = &Busy{}
	}
	b.Path = path
	return b
}

func writeHolder(path string, now time.Time) error {
	host, _ := os.Hostname()
	raw, err := json.Marshal(Busy{PID: os.Getpid(), Host: host, Since: now.Round(0)})
	if err != nil {
		return err
	}
	return os.WriteFile(holderFile(path), append(raw, '\n'), 0o644)
}

func removeHolder(path string) error {
	err := os.Remove(holderFile(path))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// fault gives err its kind; nil stays nil.
func fault(op, path string, err error) error {
	if err == nil {
		return nil
	}
	kind := guard.KindWrite
	switch {
	case isNoSpace(err):
		kind = guard.KindNoSpace
	case isReadOnly(err):
		kind = guard.KindReadOnly
	case errors.Is(err, fs.ErrPermission):
		kind = guard.KindDenied
	case errors.Is(err, fs.ErrNotExist):
		kind = guard.KindGone
	}
	var named *fs.PathError
	if errors.As(err, &named) {
		err = named.Err // the journal is named already
	}
	return &guard.Error{Op: op, Item: "journal", Path: filepath.Base(path), Kind: kind, Err: err}
}
