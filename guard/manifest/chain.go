package manifest

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// ErrChain says that a history's chain is broken: a gap, a manifest missing or altered, a chain file missing or of a
// superseded draft. Such a history is never extended.
var ErrChain = errors.New("the chain of hash lists is broken")

// ErrDraft says that the chain is of a superseded draft of the standard: not supported, and not damage.
var ErrDraft = errors.New("draft chain, not supported")

// draftChains are the chain files of drafts that were plain text.
var draftChains = []string{"chain.txt", "ascmhl_chain.txt"}

// isDraft knows the root elements of draft chain files.
func isDraft(n xml.Name) bool {
	return n.Space == "urn:ASC:MHL:CHAIN:v2.0" || n.Local == "ascmhlchain" || n.Local == "ascmhlmanifest"
}

// Link is one generation in a chain file.
type Link struct {
	// Nr is the sequence number, from 1 without gaps.
	Nr int
	// Name is the manifest's file name in the same folder; C4 the C4 ID of its bytes.
	Name, C4 string
}

// DecodeChain reads a chain file. Numbers must run 1, 2, 3, … (one that is left out is taken from the place), names be
// bare and different. Errors wrap [ErrXML], [ErrPath] or [ErrChain].
func DecodeChain(r io.Reader) ([]Link, []string, error) {
	e := newElements(r, maxChain, nsChain)
	if _, err := e.root("ascmhldirectory"); err != nil {
		return nil, nil, err
	}
	var links []Link
	seen := map[string]bool{}
	err := e.children(func(s xml.StartElement) error {
		if s.Name.Local != "hashlist" {
			return e.unknown(s, "ascmhldirectory")
		}
		l, err := e.link(s, len(links)+1)
		if err != nil {
			return err
		}
		if seen[l.Name] {
			return fmt.Errorf("%w: %.200q is listed twice", ErrChain, l.Name)
		}
		seen[l.Name] = true
		links = append(links, l)
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	if err := e.end(); err != nil {
		return nil, nil, err
	}
	if len(links) == 0 {
		return nil, nil, fmt.Errorf("%w: no generation is listed", ErrChain)
	}
	return links, e.warn, nil
}

func (e *element) link(s xml.StartElement, place int) (Link, error) {
	l := Link{Nr: place}
	if v, ok := attr(s, "sequencenr"); ok {
		nr, err := strconv.Atoi(strings.TrimSpace(v))
		if err != nil || nr != place {
			return l, fmt.Errorf("%w: generation %d is numbered %.40q", ErrChain, place, v)
		}
	} else {
		e.warnf("generation %d has no number", place)
	}
	err := e.children(func(s xml.StartElement) (err error) {
		switch s.Name.Local {
		case "path":
			l.Name, err = e.text()
		case "c4":
			var text string
			if text, err = e.text(); err == nil {
				if l.C4, err = normalDigest(c4, strings.TrimSpace(text)); err != nil {
					err = e.fail("%v", err)
				}
			}
		default:
			err = e.unknown(s, "hashlist")
		}
		return err
	})
	if err != nil {
		return l, err
	}
	if l.C4 == "" {
		return l, fmt.Errorf("%w: generation %d has no C4 ID", ErrChain, place)
	}
	if err := CheckPath(l.Name); err != nil {
		return l, err
	}
	if strings.Contains(l.Name, "/") || l.Name == ChainName {
		return l, fmt.Errorf("%w: %.200q is no manifest in the same folder", ErrChain, l.Name)
	}
	return l, nil
}

// EncodeChain writes a chain file. Existing links are written again with the values they had.
func EncodeChain(links []Link) ([]byte, error) {
	var buf bytes.Buffer
	e := &encoder{w: bufio.NewWriter(&buf)}
	e.raw(xml.Header)
	e.raw("<ascmhldirectory xmlns=\"" + nsChain + "\">\n")
	for _, l := range links {
		e.raw("  <hashlist sequencenr=\"" + strconv.Itoa(l.Nr) + "\">\n")
		e.simple("    ", "path", l.Name)
		e.simple("    ", "c4", l.C4)
		e.raw("  </hashlist>\n")
	}
	e.raw("</ascmhldirectory>\n")
	if e.err != nil {
		return nil, e.err
	}
	err := e.w.Flush()
	return buf.Bytes(), err
}
