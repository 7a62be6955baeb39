package manifest

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"
)

// timeLayout is xs:dateTime in whole seconds with a numeric offset, as the published sample histories write it.
const timeLayout = "2006-01-02T15:04:05-07:00"

// Record is one entry of a manifest: exactly one of the two is set.
type Record struct {
	File *FileRecord
	Dir  *DirRecord
}

// Encode writes one manifest: UTF-8 with a declaration, line feeds, two spaces a level, a final newline. Records are
// taken one after the other and not kept. Text that XML cannot hold is an error, never altered: callers keep such names
// out (see [Recordable]). The caller answers for order and formats of the hashes; they are sorted by element name here.
func Encode(w io.Writer, h *Header, records iter.Seq[Record]) error {
	e := &encoder{w: bufio.NewWriterSize(w, 64<<10)}
	e.raw(xml.Header)
	e.raw("<hashlist version=\"2.0\" xmlns=\"" + nsManifest + "\">\n")
	e.creatorInfo(&h.Creator)
	e.processInfo(h)
	some := false
	for r := range records {
		if !some {
			e.raw("  <hashes>\n")
			some = true
		}
		if r.File != nil {
			e.file(r.File)
		} else {
			e.dir(r.Dir)
		}
		if e.err != nil {
			return e.err
		}
	}
	if some {
		e.raw("  </hashes>\n") // an empty one is not allowed by the schema
	}
	if len(h.References) > 0 {
		e.raw("  <references>\n")
		for _, r := range h.References {
			e.raw("    <hashlistreference>\n      <path>")
			e.text(r.Path)
			e.raw("</path>\n      <c4>")
			e.text(r.C4)
			e.raw("</c4>\n    </hashlistreference>\n")
		}
		e.raw("  </references>\n")
	}
	e.raw("</hashlist>\n")
	if e.err != nil {
		return e.err
	}
	return e.w.Flush()
}

// encoder keeps the first error; later calls do nothing.
type encoder struct {
	w   *bufio.Writer
	err error
	// lastTime and lastText are the last hashdate: one generation has the same for every hash.
	lastTime time.Time
	lastText string
}

func (e *encoder) raw(s string) {
	if e.err == nil {
		_, e.err = e.w.WriteString(s)
	}
}

func (e *encoder) text(s string) {
	if e.err != nil {
		return
	}
	if !Recordable(s) {
		e.err = fmt.Errorf("%.200q cannot be written in XML", s)
		return
	}
	if !strings.ContainsAny(s, "<>&\"'\t\n\r") {
		e.raw(s)
		return
	}
	e.err = xml.EscapeText(e.w, []byte(s))
}

func (e *encoder) attr(name, value string) {
	if value == "" {
		return
	}
	e.raw(" " + name + "=\"")
	e.text(value)
	e.raw("\"")
}

func (e *encoder) simple(indent, name, value string) {
	e.raw(indent + "<" + name + ">")
	e.text(value)
	e.raw("</" + name + ">\n")
}

func (e *encoder) creatorInfo(c *Creator) {
	e.raw("  <creatorinfo>\n")
	e.simple("    ", "creationdate", c.Created.Format(timeLayout))
	e.simple("    ", "hostname", c.Hostname)
	e.raw("    <tool")
	e.attr("version", c.Version)
	e.raw(">")
	e.text(c.Tool)
	e.raw("</tool>\n")
	for _, a := range c.Authors {
		e.raw("    <author")
		e.attr("email", a.Email)
		e.attr("phone", a.Phone)
		e.attr("role", a.Role)
		e.raw(">")
		e.text(a.Name)
		e.raw("</author>\n")
	}
	if c.Location != "" {
		e.simple("    ", "location", c.Location)
	}
	if c.Comment != "" {
		e.simple("    ", "comment", c.Comment)
	}
	e.raw("  </creatorinfo>\n")
}

func (e *encoder) processInfo(h *Header) {
	e.raw("  <processinfo>\n")
	e.simple("    ", "process", string(h.Process))
	if len(h.RootContent) > 0 && len(h.RootStructure) > 0 {
		e.raw("    <roothash>\n")
		e.set("      ", "content", h.RootContent)
		e.set("      ", "structure", h.RootStructure)
		e.raw("    </roothash>\n")
	}
	if len(h.Ignore) > 0 {
		e.raw("    <ignore>\n")
		for _, p := range h.Ignore {
			e.simple("      ", "pattern", p)
		}
		e.raw("    </ignore>\n")
	}
	e.raw("  </processinfo>\n")
}

func (e *encoder) set(indent, name string, hs []Hash) {
	e.raw(indent + "<" + name + ">\n")
	e.hashes(indent+"  ", hs)
	e.raw(indent + "</" + name + ">\n")
}

// hashes writes digests sorted by element name: a later schema asks for that order, this one allows it.
func (e *encoder) hashes(indent string, hs []Hash) {
	byName := func(a, b Hash) int { return strings.Compare(a.Format, b.Format) }
	if !slices.IsSortedFunc(hs, byName) {
		hs = slices.SortedFunc(slices.Values(hs), byName)
	}
	for _, h := range hs {
		e.raw(indent + "<" + h.Format)
		e.attr("action", string(h.Action))
		e.date("hashdate", h.Date)
		e.raw(">")
		e.text(h.Text)
		e.raw("</" + h.Format + ">\n")
	}
}

// date leaves out times that are not known or not to be written with four digits of the year.
func (e *encoder) date(name string, t time.Time) {
	if t.IsZero() || t.Year() < 1 || t.Year() > 9999 {
		return
	}
	if name != "hashdate" { // a file's own time: hardly ever the one before
		e.attr(name, t.Format(timeLayout))
		return
	}
	if t != e.lastTime {
		e.lastTime, e.lastText = t, t.Format(timeLayout)
	}
	e.attr(name, e.lastText)
}

func (e *encoder) file(f *FileRecord) {
	e.raw("    <hash>\n      <path")
	if f.Size >= 0 {
		e.attr("size", strconv.FormatInt(f.Size, 10))
	}
	e.date("lastmodificationdate", f.Modified)
	e.raw(">")
	e.text(f.Path)
	e.raw("</path>\n")
	e.hashes("      ", f.Hashes)
	if f.Previous != "" {
		e.simple("      ", "previousPath", f.Previous)
	}
	e.raw("    </hash>\n")
}

func (e *encoder) dir(d *DirRecord) {
	e.raw("    <directoryhash>\n      <path")
	e.date("lastmodificationdate", d.Modified)
	e.raw(">")
	e.text(d.Path)
	e.raw("</path>\n")
	e.set("      ", "content", d.Content)
	e.set("      ", "structure", d.Structure)
	if d.Previous != "" {
		e.simple("      ", "previousPath", d.Previous)
	}
	e.raw("    </directoryhash>\n")
}
