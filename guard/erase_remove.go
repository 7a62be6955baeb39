package guard

import (
	"fmt"
	"strings"
)

// removeFiles removes the proof's files in their order, each looked at right before.
func (e *eraser) removeFiles() error {
	files := e.job.Proof.Files
	for i := range files {
		f := &files[i]
		if err := e.ctx.Err(); err != nil {
			return e.stopped(f.Path, KindErase, err)
		}
		if err := e.removeFile(f.Entry, e.found[i]); err != nil {
			return err
		}
		e.done.Files, e.done.Left = i+1, len(files)-i-1
		e.done.Bytes += f.Size
		if e.job.Progress != nil {
			e.job.Progress(i + 1)
		}
	}
	return nil
}

// removeFile removes one file if it is still the one that was proven and found.
func (e *eraser) removeFile(want Entry, found foundFile) error {
	dir, name := splitPath(want.Path)
	folder, err := e.goTo(dir)
	if err != nil {
		return e.midway(want.Path, err)
	}
	now, err := folder.Stat(name)
	if err != nil {
		return e.midway(want.Path, err)
	}
	same := now.kind == entryFile && now.dev == e.self.dev && now.size == want.Size && now.mtime == want.MTime
	if !same || lastingNumbers(e.job.Card.FSType) && now.ino != found.ino {
		return e.midway(want.Path, errChanged)
	}
	err = folder.RemoveFile(name)
	if err == nil {
		return nil
	}
	err = e.stopped(want.Path, KindErase, err)
	if kindOfCall(err, KindErase) == KindStalled {
		e.done.Doubtful = want.Path
	}
	return err
}

// midway is the error for a file that cannot be looked at or has changed: unproven as long as nothing was removed.
func (e *eraser) midway(path string, err error) error {
	kind := KindErase
	if e.done.Files == 0 {
		kind = KindUnproven
	}
	return e.stopped(path, kind, err)
}

// removeFolders removes the proof's folders, deepest first, each only if nothing is in it.
func (e *eraser) removeFolders() error {
	dirs := ownFolders(e.job.Proof.Dirs, e.job.Card.FSType)
	for i := len(dirs) - 1; i >= 0; i-- {
		if err := e.ctx.Err(); err != nil {
			return e.stopped(dirs[i], KindErase, err)
		}
		parent, name := splitPath(dirs[i])
		folder, err := e.goTo(parent)
		if err != nil {
			return e.midway(dirs[i], err)
		}
		now, err := folder.Stat(name)
		if err != nil {
			return e.midway(dirs[i], err)
		}
		if now.kind != entryDir || now.dev != e.self.dev {
			return e.midway(dirs[i], errChanged)
		}
		if err := folder.RemoveFolder(name); err != nil {
			return e.stopped(dirs[i], KindErase, fmt.Errorf("remove folder: %w", err))
		}
		e.done.Folders++
	}
	return nil
}

// goTo gives the open folder at path below the card, stepping name by name from the nearest folder that is open.
func (e *eraser) goTo(path string) (cardFolder, error) {
	e.leave(path)
	at, done := e.top, ""
	if n := len(e.way); n > 0 {
		at, done = e.way[n-1].folder, e.way[n-1].path
	}
	for done != path {
		name, _, _ := strings.Cut(strings.TrimPrefix(path[len(done):], "/"), "/")
		next, err := at.Sub(name)
		if err != nil {
			return nil, err
		}
		done = joinPath(done, name)
		e.way = append(e.way, openFolder{done, next})
		at = next
	}
	return at, nil
}

// leave closes every open folder that is not on the way to path.
func (e *eraser) leave(path string) {
	for n := len(e.way); n > 0; n-- {
		last := e.way[n-1]
		if path == last.path || strings.HasPrefix(path, last.path+"/") {
			return
		}
		_ = last.folder.Close() // opened for looking only
		e.way = e.way[:n-1]
	}
}

// lastingNumbers says whether a file keeps its number on this type of file system for as long as it is mounted. FAT,
// exFAT and FUSE give a new one whenever the kernel forgot the file, so there the number says nothing.
func lastingNumbers(fsType string) bool {
	switch fsType {
	case "ext2", "ext3", "ext4", "xfs", "btrfs", "f2fs", "tmpfs", "apfs", "hfs":
		return true
	}
	return false
}

// joinPath puts a name below a relative path.
func joinPath(dir, name string) string {
	if dir == "" {
		return name
	}
	return dir + "/" + name
}

// splitPath takes a relative path apart into its folder ("" for the top) and name.
func splitPath(path string) (dir, name string) {
	if i := strings.LastIndexByte(path, '/'); i >= 0 {
		return path[:i], path[i+1:]
	}
	return "", path
}
