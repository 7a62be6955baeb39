package sheet

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"sync"

	"twobin/guard/device"
)

// Create writes a new file whole: under a temporary name of [device.TempName], flushed, closed, and only then given its
// own name. When anything fails it is removed again; after a crash or power cut at any instant there is the whole file,
// or none but perhaps the temporary one. A file of that name is left as it is, and the error then wraps [fs.ErrExist].
func Create(path string, write func(io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return isThere(path)
	}
	f, err := openTemp(path)
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	placed := false
	if err == nil {
		placed, err = place(f.Name(), path)
	}
	if errors.Is(err, fs.ErrExist) {
		return errors.Join(isThere(path), os.Remove(f.Name()))
	}
	if err != nil {
		err = fmt.Errorf("write %s: %w", path, err)
	}
	if !placed {
		err = errors.Join(err, os.Remove(f.Name()))
	}
	return err
}

func isThere(path string) error {
	return fmt.Errorf("%s is there already and was left as it is; give another name: %w", path, fs.ErrExist)
}

// openTemp makes the temporary file of path beside it. One that is there, of a crashed run or of one at work, is not touched.
func openTemp(path string) (*os.File, error) {
	for n := 0; ; n++ {
		name := filepath.Join(filepath.Dir(path), device.TempName(path+strconv.Itoa(n)))
		f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
		if !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	}
}

// place gives the file its own name, unless there is one of that name; placed: the temporary name is gone. A second name
// fails if it is taken; where a file system has no second names, the look and the rename are two steps.
func place(temp, path string) (placed bool, err error) {
	err = os.Link(temp, path)
	if err == nil {
		return false, nil // the temporary name is the second one now
	}
	if errors.Is(err, fs.ErrExist) {
		return false, err
	}
	if _, err := os.Lstat(path); err == nil {
		return false, fs.ErrExist
	}
	err = os.Rename(temp, path)
	return err == nil, err
}

// Form is one file to write. Write may be called beside those of other forms.
type Form struct {
	Path  string
	Write func(io.Writer) error
}

// CreateAll writes several files by [Create], all at a time, and gives the paths of those that stand there then, in
// order. The error joins those of the others.
func CreateAll(forms ...Form) (done []string, err error) {
	errs := make([]error, len(forms))
	var wg sync.WaitGroup
	for i, f := range forms {
		wg.Go(func() { errs[i] = Create(f.Path, f.Write) })
	}
	wg.Wait()
	for i, f := range forms {
		if errs[i] == nil {
			done = append(done, f.Path)
		}
	}
	return done, errors.Join(errs...)
}
