// Package proofstore keeps proofs as files, each named by what it holds.
//
// A proof's file is <SHA-256 in lower-case hexadecimal>.proof; its bytes are those of [guard.Proof.Write], which has the
// format line by line. The digest in the name is that of the bytes, and the same as [guard.Proof.Digest]. The journal
// acknowledges a proof by this digest, so a file that was changed, cut or exchanged is found when it is loaded.
//
// A file is written under a temporary name (.twobin-*.part) in the same folder, flushed, renamed, and the folder flushed,
// in this order: after a crash at any instant there is the whole file or none. Temporary files of crashed runs are left
// alone; nothing reads them. Files are never removed.
//
// This folder belongs to the program's own data; nothing here touches a card or a destination. Part of invariant 8 (a
// half copy is never proof). Save and Load may be called concurrently, also by several processes.
package proofstore

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"twobin/guard"
)

const ending = ".proof"

// errSHA is the cause when something else than a digest is asked for; errDiffers when a file is not what its name says.
var (
	errSHA     = errors.New("not a SHA-256 in lower-case hexadecimal")
	errDiffers = errors.New("the file is not what its name says")
)

// file is what Save needs of a file under a temporary name.
type file interface {
	io.Writer
	Name() string
	Sync() error
	Close() error
}

// Save writes p into dir, which it makes if it is lacking (its parent has to exist), and returns the digest. Saving a
// proof again is harmless and mends a damaged file. On an error nothing stands under the proof's name that did not
// before. The error is a [*guard.Error] of KindRecord. Save blocks until everything is on the device.
func Save(dir string, p *guard.Proof) (string, error) {
	return save(dir, p, func() (file, error) { return os.CreateTemp(dir, ".twobin-*.part") })
}

func save(dir string, p *guard.Proof, create func() (file, error)) (sha string, err error) {
	if err := makeFolder(dir); err != nil {
		return "", fault("save proof", err)
	}
	f, err := create()
	if err != nil {
		return "", fault("save proof", err)
	}
	sum := sha256.New()
	err = p.Write(io.MultiWriter(f, sum))
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	sha = hex.EncodeToString(sum.Sum(nil))
	if err == nil {
		err = os.Rename(f.Name(), filepath.Join(dir, sha+ending))
	}
	if err != nil {
		return "", fault("save proof", errors.Join(err, os.Remove(f.Name())))
	}
	if err := syncFolder(dir); err != nil {
		return "", fault("save proof", err)
	}
	return sha, nil
}

// makeFolder makes dir, and makes its name durable.
func makeFolder(dir string) error {
	err := os.Mkdir(dir, 0o777)
	if errors.Is(err, os.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return syncFolder(filepath.Dir(filepath.Clean(dir)))
}

// Load reads the proof whose digest is sha. The error is a [*guard.Error] of KindRecord if the file is lacking
// ([os.ErrNotExist]), or is not, byte for byte, what was saved under this digest; no proof is returned then.
func Load(dir, sha string) (*guard.Proof, error) {
	if len(sha) != 2*sha256.Size || strings.Trim(sha, "0123456789abcdef") != "" {
		return nil, fault("load proof", fmt.Errorf("%.70q: %w", sha, errSHA))
	}
	f, err := os.Open(filepath.Join(dir, sha+ending))
	if err != nil {
		return nil, fault("load proof", err)
	}
	defer f.Close()
	p, err := read(f, sha)
	if err != nil {
		return nil, fault("load proof", fmt.Errorf("%s: %w", sha[:12], err))
	}
	return p, nil
}

// read reads a proof and its digest in one pass. A digest that differs is told before anything else, because the rest
// follows from it.
func read(r io.Reader, sha string) (*guard.Proof, error) {
	sum := sha256.New()
	all := io.TeeReader(r, sum)
	p, err := guard.ReadProof(all)
	if err != nil {
		if _, e := io.Copy(io.Discard, all); e != nil {
			return nil, errors.Join(err, e)
		}
	}
	if hex.EncodeToString(sum.Sum(nil)) != sha {
		return nil, errors.Join(errDiffers, err)
	}
	return p, err
}

func fault(op string, err error) error {
	return &guard.Error{Op: op, Kind: guard.KindRecord, Err: err}
}
