package command

import (
	"sync"

	"twobin/guard"
	"twobin/procedure"
)

// freeNow asks the shift's drives for their free room, in bytes by the destination's name. A drive that is not there,
// does not answer, or is not the volume that was set up is left out. Drives are asked at the same time, so that the wait
// is that for the slowest.
func freeNow(ident guard.Identifier, s *procedure.Shift) map[string]int64 {
	free := map[string]int64{}
	if s == nil {
		return free
	}
	var mu sync.Mutex
	var wg sync.WaitGroup
	for _, d := range s.Dests {
		if d.Volume.Simulated || d.Volume.ID == "" {
			continue
		}
		wg.Go(func() {
			v, err := ident.Identify(d.Path)
			if err != nil || v.ID != d.Volume.ID {
				return
			}
			mu.Lock()
			defer mu.Unlock()
			free[d.Name] = v.Free
		})
	}
	wg.Wait()
	return free
}
