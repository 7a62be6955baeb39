//go:build ignore

// Cards writes the cards that offload.sh copies: go run testdata/bench/cards.go long 12 DIR, or frames 20000 DIR. Long
// takes are files of 512 MiB, frames files of 128 KiB in folders of 1,000. The bytes come from ChaCha8, so no drive or
// file system can make them smaller, and every run has the same.
package main

import (
	"fmt"
	"log"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 4 {
		log.Fatal("usage: cards long|frames COUNT DIR")
	}
	count, err := strconv.Atoi(os.Args[2])
	if err != nil {
		log.Fatal(err)
	}
	size, name := 512<<20, func(i int) string { return fmt.Sprintf("CLIPS/A001C%03d.mov", i+1) }
	if os.Args[1] == "frames" {
		size, name = 128<<10, func(i int) string { return fmt.Sprintf("A001R%03d/A001.%07d.dpx", i/1000+1, i+1) }
	}
	random := rand.NewChaCha8([32]byte{'t', 'w', 'o', 'b', 'i', 'n'})
	block := make([]byte, min(size, 4<<20))
	for i := range count {
		path := filepath.Join(os.Args[3], name(i))
		if err := write(path, size, block, random); err != nil {
			log.Fatal(err)
		}
	}
}

// write makes one file of random bytes.
func write(path string, size int, block []byte, random *rand.ChaCha8) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	for n := 0; n < size; n += len(block) {
		random.Read(block)
		if _, err := f.Write(block); err != nil {
			return err
		}
	}
	return f.Close()
}
