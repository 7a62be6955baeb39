// Package faultfs is a file system for tests: it shows a folder, and lets a test spoil single calls. It needs /dev/fuse and
// fusermount. Each [Hooks] function may be nil; they are called concurrently.
package faultfs

import (
	"context"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
	"golang.org/x/sys/unix"
)

// Hooks spoil calls. Paths are relative to the mounted folder.
type Hooks struct {
	// Read may change what was read, or give an error.
	Read func(path string, off int64, data []byte) syscall.Errno
	// Less says how many of the n bytes that were read are given: fewer make a short read.
	Less func(path string, off int64, n int) int
	// Write may change the data that will be written, cut it short by returning fewer bytes, or give an error.
	Write func(path string, off int64, data []byte) (int, syscall.Errno)
	// Fsync comes for files and for folders ("" is the top).
	Fsync func(path string) syscall.Errno
	// Create comes before a file is made, Rename before it is renamed to path.
	Create, Rename func(path string) syscall.Errno
	// Lookup comes whenever a name is looked up.
	Lookup func(path string) syscall.Errno
	// Beside comes before one of the calls whose names are given below, and may give their error.
	Beside func(call, path string) syscall.Errno
}

// The calls that come to Beside. Opening is that of a file, Listing that of a folder; Attributes are time, length and mode.
const (
	Opening    = "open"
	Closing    = "close"
	Listing    = "list"
	Making     = "make folder"
	Attributes = "set attributes"
	Allocating = "allocate"
)

// FS is one mounted file system.
type FS struct {
	server *fuse.Server
	hooks  atomic.Pointer[Hooks]
}

// Mount shows the folder backing at the empty folder at.
func Mount(backing, at string) (*FS, error) {
	f := &FS{}
	f.Set(Hooks{})
	var st syscall.Stat_t
	if err := syscall.Stat(backing, &st); err != nil {
		return nil, err
	}
	root := &fs.LoopbackRoot{Path: backing, Dev: uint64(st.Dev)}
	//lint:ignore SA1019 its replacement does not reach nodes made by LoopbackNode itself
	root.NewNode = func(data *fs.LoopbackRoot, _ *fs.Inode, _ string, _ *syscall.Stat_t) fs.InodeEmbedder {
		return &node{LoopbackNode: fs.LoopbackNode{RootData: data}, f: f}
	}
	//lint:ignore SA1019 as above
	top := root.NewNode(root, nil, "", &st)
	root.RootNode = top
	var never time.Duration
	server, err := fs.Mount(at, top, &fs.Options{
		MountOptions: fuse.MountOptions{MaxWrite: 512 << 10, FsName: "faultfs", Name: "faultfs"},
		EntryTimeout: &never, AttrTimeout: &never,
	})
	if err != nil {
		return nil, err
	}
	f.server = server
	return f, nil
}

// Set replaces the hooks from the next call on.
func (f *FS) Set(h Hooks) { f.hooks.Store(&h) }

// Unmount ends it. Calls that hang must have been let go.
func (f *FS) Unmount() error { return f.server.Unmount() }

// node is a file or folder.
type node struct {
	fs.LoopbackNode
	f *FS
}

var (
	_ fs.NodeOpener    = (*node)(nil)
	_ fs.NodeCreater   = (*node)(nil)
	_ fs.NodeRenamer   = (*node)(nil)
	_ fs.NodeFsyncer   = (*node)(nil)
	_ fs.NodeLookuper  = (*node)(nil)
	_ fs.NodeMkdirer   = (*node)(nil)
	_ fs.NodeSetattrer = (*node)(nil)
)

func (n *node) path() string { return n.EmbeddedInode().Path(nil) }

func (n *node) below(name string) string {
	if p := n.path(); p != "" {
		return p + "/" + name
	}
	return name
}

// Lookup finds a name.
func (n *node) Lookup(ctx context.Context, name string, out *fuse.EntryOut) (*fs.Inode, syscall.Errno) {
	if h := n.f.hooks.Load().Lookup; h != nil {
		if e := h(n.below(name)); e != 0 {
			return nil, e
		}
	}
	return n.LoopbackNode.Lookup(ctx, name, out)
}

func (n *node) beside(call, path string) syscall.Errno {
	if h := n.f.hooks.Load().Beside; h != nil {
		return h(call, path)
	}
	return 0
}

// Mkdir makes a folder.
func (n *node) Mkdir(ctx context.Context, name string, mode uint32, out *fuse.EntryOut) (*fs.Inode, syscall.Errno) {
	if e := n.beside(Making, n.below(name)); e != 0 {
		return nil, e
	}
	return n.LoopbackNode.Mkdir(ctx, name, mode, out)
}

// Setattr sets time, length or mode.
func (n *node) Setattr(ctx context.Context, f fs.FileHandle, in *fuse.SetAttrIn, out *fuse.AttrOut) syscall.Errno {
	if e := n.beside(Attributes, n.path()); e != 0 {
		return e
	}
	return n.LoopbackNode.Setattr(ctx, f, in, out)
}

// Open opens a file; the flag for direct access stays with the kernel.
func (n *node) Open(_ context.Context, flags uint32) (fs.FileHandle, uint32, syscall.Errno) {
	if e := n.beside(Opening, n.path()); e != 0 {
		return nil, 0, e
	}
	fd, err := syscall.Open(n.LoopbackNode.RootData.Path+"/"+n.path(), int(flags)&^(syscall.O_APPEND|syscall.O_DIRECT), 0)
	if err != nil {
		return nil, 0, fs.ToErrno(err)
	}
	return &handle{fd: fd, n: n, path: n.path()}, 0, 0
}

// Create makes a file.
func (n *node) Create(ctx context.Context, name string, flags, mode uint32, out *fuse.EntryOut) (*fs.Inode, fs.FileHandle, uint32, syscall.Errno) {
	path := n.below(name)
	if h := n.f.hooks.Load().Create; h != nil {
		if e := h(path); e != 0 {
			return nil, nil, 0, e
		}
	}
	inode, stock, _, e := n.LoopbackNode.Create(ctx, name, flags&^syscall.O_DIRECT, mode, out)
	if e != 0 {
		return nil, nil, 0, e
	}
	stock.(fs.FileReleaser).Release(ctx)
	fd, err := syscall.Open(n.LoopbackNode.RootData.Path+"/"+path, syscall.O_RDWR, 0)
	if err != nil {
		return nil, nil, 0, fs.ToErrno(err)
	}
	return inode, &handle{fd: fd, n: n, path: path}, 0, 0
}

// Rename renames.
func (n *node) Rename(ctx context.Context, name string, to fs.InodeEmbedder, toName string, flags uint32) syscall.Errno {
	if h := n.f.hooks.Load().Rename; h != nil {
		if e := h(to.(*node).below(toName)); e != 0 {
			return e
		}
	}
	return n.LoopbackNode.Rename(ctx, name, to, toName, flags)
}

// Fsync flushes a file or folder.
func (n *node) Fsync(_ context.Context, f fs.FileHandle, _ uint32) syscall.Errno {
	path := n.path()
	h, isFile := f.(*handle)
	if isFile {
		path = h.path
	}
	if hook := n.f.hooks.Load().Fsync; hook != nil {
		if e := hook(path); e != 0 {
			return e
		}
	}
	if isFile {
		return fs.ToErrno(syscall.Fsync(h.fd))
	}
	return 0
}

// OpendirHandle opens a folder for listing.
func (n *node) OpendirHandle(ctx context.Context, flags uint32) (fs.FileHandle, uint32, syscall.Errno) {
	if e := n.beside(Listing, n.path()); e != 0 {
		return nil, 0, e
	}
	stock, fl, e := n.LoopbackNode.OpendirHandle(ctx, flags)
	if e != 0 {
		return nil, 0, e
	}
	return &dirHandle{stock: stock.(stockDir), n: n}, fl, 0
}

// stockDir is what the stock handle of a folder can do.
type stockDir interface {
	fs.FileReaddirenter
	fs.FileSeekdirer
	fs.FileReleasedirer
}

// dirHandle is an open folder whose flush comes to the hook.
type dirHandle struct {
	stock stockDir
	n     *node
}

// Readdirent gives the next entry.
func (d *dirHandle) Readdirent(ctx context.Context) (*fuse.DirEntry, syscall.Errno) {
	return d.stock.Readdirent(ctx)
}

// Seekdir goes to an entry.
func (d *dirHandle) Seekdir(ctx context.Context, off uint64) syscall.Errno {
	return d.stock.Seekdir(ctx, off)
}

// Releasedir ends the listing.
func (d *dirHandle) Releasedir(ctx context.Context, flags uint32) { d.stock.Releasedir(ctx, flags) }

// Fsyncdir flushes the folder.
func (d *dirHandle) Fsyncdir(ctx context.Context, flags uint32) syscall.Errno {
	return d.n.Fsync(ctx, d, flags)
}

// handle is an open file. It has all of its own, because the stock one may let the kernel go round it.
type handle struct {
	fd   int
	n    *node
	path string
}

var (
	_ fs.FileReader    = (*handle)(nil)
	_ fs.FileWriter    = (*handle)(nil)
	_ fs.FileReleaser  = (*handle)(nil)
	_ fs.FileFlusher   = (*handle)(nil)
	_ fs.FileAllocater = (*handle)(nil)
	_ fs.FileGetattrer = (*handle)(nil)
	_ fs.FileLseeker   = (*handle)(nil)
)

// Read reads.
func (h *handle) Read(_ context.Context, dest []byte, off int64) (fuse.ReadResult, syscall.Errno) {
	n, err := syscall.Pread(h.fd, dest, off)
	if err != nil {
		return nil, fs.ToErrno(err)
	}
	if hook := h.n.f.hooks.Load().Read; hook != nil {
		if e := hook(h.path, off, dest[:n]); e != 0 {
			return nil, e
		}
	}
	if less := h.n.f.hooks.Load().Less; less != nil {
		n = less(h.path, off, n)
	}
	return fuse.ReadResultData(dest[:n]), 0
}

// Write writes.
func (h *handle) Write(_ context.Context, data []byte, off int64) (uint32, syscall.Errno) {
	if hook := h.n.f.hooks.Load().Write; hook != nil {
		n, e := hook(h.path, off, data)
		if e != 0 {
			return 0, e
		}
		data = data[:n]
	}
	n, err := syscall.Pwrite(h.fd, data, off)
	return uint32(max(n, 0)), fs.ToErrno(err)
}

// Allocate reserves room.
func (h *handle) Allocate(_ context.Context, off, size uint64, mode uint32) syscall.Errno {
	if e := h.n.beside(Allocating, h.path); e != 0 {
		return e
	}
	return fs.ToErrno(syscall.Fallocate(h.fd, mode, int64(off), int64(size)))
}

// Lseek finds data and holes.
func (h *handle) Lseek(_ context.Context, off uint64, whence uint32) (uint64, syscall.Errno) {
	n, err := unix.Seek(h.fd, int64(off), int(whence))
	return uint64(n), fs.ToErrno(err)
}

// Getattr describes.
func (h *handle) Getattr(_ context.Context, out *fuse.AttrOut) syscall.Errno {
	var st syscall.Stat_t
	if err := syscall.Fstat(h.fd, &st); err != nil {
		return fs.ToErrno(err)
	}
	out.FromStat(&st)
	return 0
}

// Flush comes with every close.
func (h *handle) Flush(context.Context) syscall.Errno { return h.n.beside(Closing, h.path) }

// Release comes after the last close.
func (h *handle) Release(context.Context) syscall.Errno { return fs.ToErrno(syscall.Close(h.fd)) }
