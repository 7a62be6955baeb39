package manifest

// generation is one manifest's records, until they are folded into the history.
type generation struct {
	nr    int
	files []FileRecord
	dirs  []DirRecord
}

// fold takes one generation's records into what is known. Moves come first, all from the state before this generation,
// so that two files that changed places are told apart. A failed digest gives nothing: the good value stays the
// earlier one. A file that a generation does not list stays known.
func (h *History) fold(g *generation) {
	moved := map[string]*Known{}
	for i := range g.files {
		if r := &g.files[i]; r.Previous != "" {
			if k := h.Files[r.Previous]; k != nil {
				moved[r.Path] = k
			}
		}
	}
	h.foldDirs(g, moved)
	for i := range g.files {
		if r := &g.files[i]; moved[r.Path] != nil && r.Previous != "" {
			delete(h.Files, r.Previous)
			h.Former[r.Previous] = true
		}
	}
	for p, k := range moved {
		h.Files[p] = k
	}
	for i := range g.files {
		r := &g.files[i]
		k := h.Files[r.Path]
		if k == nil {
			k = &Known{Size: -1}
			h.Files[r.Path] = k
		}
		k.take(r, g.nr)
	}
}

// foldDirs takes the folder records. A moved folder takes along the files that the generation lists in the new place
// without a previous path of their own.
func (h *History) foldDirs(g *generation, moved map[string]*Known) {
	clear(h.DirHash)
	var from map[string]string
	for _, d := range g.dirs {
		if d.Previous != "" {
			if from == nil {
				from = map[string]string{}
			}
			from[d.Path] = d.Previous
			delete(h.Dirs, d.Previous)
		}
		h.Dirs[d.Path] = true
		h.DirHash[d.Path] = d
	}
	if from == nil {
		return
	}
	for i := range g.files {
		r := &g.files[i]
		if r.Previous != "" || h.Files[r.Path] != nil {
			continue
		}
		for dir := parentOf(r.Path); dir != ""; dir = parentOf(dir) {
			old, ok := from[dir]
			if !ok {
				continue
			}
			if k := h.Files[old+r.Path[len(dir):]]; k != nil {
				r.Previous = old + r.Path[len(dir):]
				moved[r.Path] = k
			}
			break
		}
	}
}

// take adds what one record says. Earliest good values stay.
func (k *Known) take(r *FileRecord, nr int) {
	k.Last = nr
	good := false
	for _, d := range r.Hashes {
		if d.Action == Failed {
			continue
		}
		good = true
		if k.Digest(d.Format) == "" {
			k.Digests = append(k.Digests, Digest{Format: d.Format, Text: d.Text})
		}
	}
	if good && k.Size < 0 {
		k.Size = r.Size
	}
}
