package sheet

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"sync"
)

// Create writes a new file whole: flushed and closed, or removed again when anything fails. A file of that name is left
// as it is, and the error then wraps [fs.ErrExist].
func Create(path string, write func(io.Writer) error) (err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already and was left as it is; give another name: %w", path, err)
	}
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
	if err != nil {
		err = fmt.Errorf("write %s: %w", path, err)
		if rerr := os.Remove(path); rerr != nil {
			err = errors.Join(err, rerr)
		}
	}
	return err
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
