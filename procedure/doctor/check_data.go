package doctor

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
	"time"

	"twobin/guard"
	"twobin/guard/watch"
)

// Room for the data folder, in bytes. A journal takes about a kilobyte an event and a proof some hundred bytes a file,
// so a day stays far below the first figure; the second leaves room for sheets and logs of a long production.
const (
	roomStop = 50e6
	roomLook = 1e9
)

// slowFlush is a flush that is felt: every answer of the operator waits for one.
const slowFlush = time.Second

// dataFolder judges where the journal is kept. Every answer is flushed there before the screen says it is done.
func dataFolder(dir string, t Trial) Line {
	l := Line{Subject: "data folder", Mark: Fine}
	const other = "take a folder on a local drive: --home DIR."
	switch {
	case t.Write != nil:
		l.Mark, l.Seen = Stop, fmt.Sprintf("%s: cannot be written to: %s.", dir, reason(t.Write))
		l.Do = "put the permission right, or " + other
	case t.Flush != nil:
		l.Mark, l.Seen = Stop, fmt.Sprintf("%s: what is written cannot be flushed: %s.", dir, reason(t.Flush))
		l.Do = other
	case watch.Network(t.Volume.FSType):
		l.Mark, l.Seen = Stop, fmt.Sprintf("%s: lies on a network share (%s), where a flush may not last.", dir, t.Volume.FSType)
		l.Do = other
	case t.Volume.FSType == "tmpfs" || t.Volume.FSType == "ramfs":
		l.Mark, l.Seen = Look, dir+": lies in memory and is lost when the power goes."
		l.Do = other
	case t.Took > slowFlush:
		l.Mark, l.Seen = Look, fmt.Sprintf("%s: one flush took %.1f s; every answer waits for one.", dir, t.Took.Seconds())
		l.Do = "take a folder on a faster drive: --home DIR."
	case t.Missing:
		l.Seen = dir + ": not there yet, can be made, written and flushed."
	default:
		l.Seen = dir + ": written and flushed."
	}
	return l
}

// dataRoom judges the space for the journal.
func dataRoom(t Trial) Line {
	l := Line{Subject: "room", Mark: Fine}
	v := t.Volume
	l.Seen = fmt.Sprintf("%s free for the journal.", bytesText(v.Free))
	const do = "make room on that drive, or take another one: --home DIR."
	switch {
	case v.Size == 0:
		l.Mark, l.Seen = Look, "the drive of the data folder does not tell its room."
		l.Do = "look yourself that there is room."
	case v.Free < roomStop:
		l.Mark, l.Do = Stop, do
	case v.Free < roomLook:
		l.Mark, l.Do = Look, do
	}
	return l
}

// readBack judges whether this system lets us past its own memory, tried on the data folder's drive.
func readBack(t Trial) Line {
	l := Line{Subject: "read-back", Mark: Fine}
	switch {
	case t.Reading != nil:
		l.Mark, l.Seen = Look, "a file just written could not be read back: "+reason(t.Reading)+"."
		l.Do = "have the data folder's drive checked."
	case t.Back == guard.FromDevice:
		l.Seen = "from the device, past the cache: tried on the data folder's drive."
	default:
		l.Mark = Look
		l.Seen = "tried on the data folder's drive: cannot be told from the cache" + typed(t.Volume.FSType) + "."
		l.Do = "see the lines of the destinations: theirs is what counts."
	}
	return l
}

func typed(fsType string) string {
	if fsType == "" {
		return ""
	}
	return " (" + fsType + ")"
}

// reason says why in plain words, without numbers and paths where the cause is known.
func reason(err error) string {
	for _, r := range []struct {
		is  error
		say string
	}{
		{fs.ErrPermission, "not allowed"},
		{fs.ErrNotExist, "it is not there"},
		{syscall.ENOSPC, "it is full"},
		{syscall.EROFS, "it is read-only"},
		{syscall.EIO, "the drive reports an error"},
		{syscall.ENOTDIR, "a part of the path is no folder"},
	} {
		if errors.Is(err, r.is) {
			return r.say
		}
	}
	var g *guard.Error
	if errors.As(err, &g) && g.Kind == guard.KindStalled {
		return "the drive does not answer"
	}
	return err.Error()
}
