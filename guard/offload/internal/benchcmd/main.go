// Benchcmd is the copy engine as a program of its own, without the rest of twobin: benchcmd copy FOLDER --to PATH…
// It exists to measure the engine; it keeps no journal and writes no hash list.
package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"twobin/guard"
	"twobin/guard/offload"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// run copies args[1] to every folder that follows a --to.
func run(args []string) error {
	if len(args) < 4 || args[0] != "copy" {
		return fmt.Errorf("usage: benchcmd copy FOLDER --to PATH")
	}
	list, err := offload.Scan(context.Background(), args[1])
	if err != nil {
		return err
	}
	job := offload.Job{Label: filepath.Base(args[1]), SourcePath: args[1], Listing: list}
	for i := 2; i+1 < len(args); i += 2 {
		job.Targets = append(job.Targets, offload.Target{Name: args[i+1], Path: args[i+1], Folder: job.Label, Volume: guard.Volume{Mount: args[i+1]}})
	}
	var prog offload.Progress
	p, errs := offload.Run(context.Background(), job, &prog)
	for _, err := range errs {
		fmt.Fprintln(os.Stderr, err)
	}
	for i := range p.Copies {
		c := &p.Copies[i]
		fmt.Printf("%s: proven=%v %s; written after %v, proven after %v\n", c.Name, p.Proven(c), c.Honesty,
			c.LastWrite.Sub(p.Began).Round(time.Millisecond), p.Ended.Sub(p.Began).Round(time.Millisecond))
		if !p.Proven(c) {
			return fmt.Errorf("%s is not proven", c.Name)
		}
	}
	return nil
}
