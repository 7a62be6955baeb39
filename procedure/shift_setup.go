package procedure

import (
	"fmt"
	"slices"
	"strings"
)

// applySetUp folds the set-up of a shift. Cameras and destinations may also be added later; the rest is asked once.
func (s *Shift) applySetUp(e Entry) error {
	switch ev := e.Event.(type) {
	case CameraSet:
		if err := s.CheckCamera(ev.Camera, ev.Colour); err != nil {
			return s.refuse(e, err.Error())
		}
		s.Cameras = append(s.Cameras, CameraInfo{Camera: ev.Camera, Colour: ev.Colour})
	case MarkingAgreed:
		s.Marking = ev.Text
	case KitChecked:
		s.Kit = true
	case BinsPlaced:
		s.Bins = true
	case DestinationSet:
		if _, ok := s.Dest(ev.Destination.Name); ok {
			return s.refuse(e, fmt.Sprintf("%s is in use already", clip(ev.Destination.Name, 20)))
		}
		s.Dests = append(s.Dests, ev.Destination)
		delete(s.GoneDests, ev.Destination.Name) // one that went and was dropped is there again
		s.Stood, s.Sheet = nil, nil
		s.voidLocks()
	case DestinationDropped:
		gone, ok := s.Dest(ev.Dest)
		if !ok {
			return s.refuse(e, fmt.Sprintf("%s is not in use", clip(ev.Dest, 20)))
		}
		for _, r := range s.Rolls {
			if r.Copy == CopyRunning {
				return s.refuse(e, "a copy is running")
			}
		}
		s.Dropped = append(s.Dropped, gone)
		s.Dests = slices.DeleteFunc(s.Dests, func(d Destination) bool { return d.Name == ev.Dest })
		s.Stood, s.Sheet = nil, nil
		s.voidLocks()
	case SetUpDone:
		if why := s.setUpLacks(); why != "" {
			return s.refuse(e, why)
		}
		s.Ready = true
	}
	return nil
}

func (s *Shift) setUpLacks() string {
	switch {
	case len(s.Cameras) == 0:
		return "no camera is set up"
	case s.Marking == "":
		return "how full cards are marked is not agreed"
	case !s.Kit:
		return "the kit is not checked"
	case !s.Bins:
		return "the bins are not placed"
	case len(s.Dests) < s.limits().Destinations:
		return tooFew(len(s.Dests), s.limits().Destinations)
	}
	return ""
}

// CheckCamera says why a camera letter cannot have this tape colour: red and green are the bins' colours, and two
// cameras never share one (common practice, no source).
func (s *Shift) CheckCamera(c Camera, colour string) error {
	t := strings.ToLower(strings.TrimSpace(colour))
	if t == "" {
		return fmt.Errorf("camera %s has no tape colour", c)
	}
	for _, w := range strings.FieldsFunc(t, func(r rune) bool { return r == ' ' || r == '-' }) {
		if w == "red" || w == "green" {
			return fmt.Errorf("%s is a bin's colour; choose another for camera %s", w, c)
		}
	}
	for _, k := range s.Cameras {
		if k.Camera == c {
			return fmt.Errorf("camera %s is set up already, with %s tape", c, k.Colour)
		}
		if strings.EqualFold(k.Colour, t) {
			return fmt.Errorf("%s tape belongs to camera %s; choose another for camera %s", k.Colour, k.Camera, c)
		}
	}
	return nil
}

// applyAside folds what can happen at any time and moves no roll.
func (s *Shift) applyAside(e Entry) error {
	switch ev := e.Event.(type) {
	case Refused:
		s.Refusals++
	case AwayBegan:
		at := e.At
		s.Away = &at
	case AwayEnded:
		if s.Away == nil {
			return s.refuse(e, "nobody was called away")
		}
		s.Away = nil
	case NoteMade:
		if ev.ID != len(s.Notes)+1 {
			return s.refuse(e, "notes are numbered in order")
		}
		s.Notes = append(s.Notes, Note{ID: ev.ID, Roll: e.Roll, Camera: ev.Camera, Text: ev.Text, At: e.At})
		s.Sheet = nil // the notes stand in it
	case NoteDone:
		if ev.ID < 1 || ev.ID > len(s.Notes) || s.Notes[ev.ID-1].Done {
			return s.refuse(e, fmt.Sprintf("note %d is not open", ev.ID))
		}
		s.Notes[ev.ID-1].Done = true
	case StrayVolume:
		s.Strays = append(s.Strays, ev.Volume)
		s.voidLocks()
	case DestGone:
		if _, ok := s.Dest(ev.Dest); !ok {
			return s.refuse(e, "no such destination")
		}
		s.GoneDests[ev.Dest] = true
		s.voidLocks()
	case DestBack:
		delete(s.GoneDests, ev.Dest)
		s.voidLocks()
	case OperatorChanged:
		if strings.TrimSpace(ev.To) == "" {
			return s.refuse(e, "no name")
		}
		s.Operator = ev.To
		s.voidLocks()
	}
	return nil
}

// applyClosed: after the close only the reading back of the code, and the opening by a later run, are left.
func (s *Shift) applyClosed(e Entry) error {
	switch ev := e.Event.(type) {
	case CodeRead:
		s.CodeRight = s.CodeRight || ev.Right
		return nil
	case RunBegan, Refused, ClockJumped, IncidentScored:
		return nil
	}
	return s.refuse(e, "the shift is closed")
}
