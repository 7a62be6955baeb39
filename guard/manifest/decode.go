package manifest

import (
	"encoding/xml"
	"io"
	"slices"
	"strconv"
	"strings"
)

// nsManifest is the namespace of manifests, nsChain that of chain files.
const (
	nsManifest = "urn:ASC:MHL:v2.0"
	nsChain    = "urn:ASC:MHL:DIRECTORY:v2.0"
)

// Visitor receives the records of a manifest in the order written. A nil function passes its records over. The records
// are the visitor's own; an error from it ends the reading and is returned as it is.
type Visitor struct {
	File func(FileRecord) error
	Dir  func(DirRecord) error
}

// Decode reads one manifest. The records go to v, the rest is returned. Errors wrap [ErrXML] or [ErrPath], or are those
// of r and v. What v has seen before an error must not be used.
func Decode(r io.Reader, v Visitor) (*Header, error) {
	d := &decoder{element: newElements(r, maxManifest, nsManifest), v: v}
	start, err := d.root("hashlist")
	if err != nil {
		return nil, err
	}
	if ver, _ := attr(start, "version"); ver != "2.0" {
		return nil, d.fail("version %.40q, want 2.0", ver)
	}
	err = d.children(func(s xml.StartElement) error {
		switch s.Name.Local {
		case "creatorinfo":
			d.creator = true
			return d.creatorInfo()
		case "processinfo":
			d.process = true
			return d.processInfo()
		case "hashes":
			return d.hashes()
		case "metadata":
			return d.skip()
		case "references":
			return d.references()
		}
		return d.unknown(s, "hashlist")
	})
	if err != nil {
		return nil, err
	}
	if !d.creator || !d.process {
		return nil, d.fail("creatorinfo and processinfo are required")
	}
	if err := d.end(); err != nil {
		return nil, err
	}
	d.h.Warnings = d.warn
	return &d.h, nil
}

type decoder struct {
	*element
	v                Visitor
	h                Header
	creator, process bool
}

func (d *decoder) creatorInfo() error {
	c := &d.h.Creator
	return d.children(func(s xml.StartElement) error {
		if !slices.Contains([]string{"creationdate", "hostname", "tool", "author", "location", "comment"}, s.Name.Local) {
			return d.unknown(s, "creatorinfo")
		}
		text, err := d.text()
		if err != nil {
			return err
		}
		switch s.Name.Local {
		case "creationdate":
			if c.Created, c.Zone, err = readTime(text); err != nil {
				return d.fail("creationdate: %v", err)
			}
		case "hostname":
			c.Hostname = text
		case "tool":
			c.Tool = text
			c.Version, _ = attr(s, "version")
		case "author":
			a := Author{Name: text}
			a.Email, _ = attr(s, "email")
			a.Phone, _ = attr(s, "phone")
			a.Role, _ = attr(s, "role")
			if len(c.Authors) < 1000 {
				c.Authors = append(c.Authors, a)
			}
		case "location":
			c.Location = text
		case "comment":
			c.Comment = text
		}
		return nil
	})
}

func (d *decoder) processInfo() error {
	return d.children(func(s xml.StartElement) error {
		switch s.Name.Local {
		case "process":
			text, err := d.text()
			if err != nil {
				return err
			}
			d.h.Process = Process(strings.TrimSpace(text))
			switch d.h.Process {
			case Transfer, InPlace:
			case Flatten:
				d.warnf("process flatten: read like the others")
			default:
				return d.fail("process %.40q is not of the schema", text)
			}
			return nil
		case "roothash":
			var err error
			d.h.RootContent, d.h.RootStructure, err = d.folderHashes()
			return err
		case "ignore":
			return d.children(func(s xml.StartElement) error {
				if s.Name.Local != "pattern" {
					return d.unknown(s, "ignore")
				}
				p, err := d.text()
				if err != nil {
					return err
				}
				if len(d.h.Ignore) >= 1000 || len(p) > maxPath {
					return d.fail("too many or too long ignore patterns")
				}
				d.h.Ignore = append(d.h.Ignore, p)
				return nil
			})
		}
		return d.unknown(s, "processinfo")
	})
}

// folderHashes reads the content and structure of a roothash.
func (d *decoder) folderHashes() (content, structure []Hash, err error) {
	err = d.children(func(s xml.StartElement) (err error) {
		switch s.Name.Local {
		case "content":
			content, err = d.hashSet()
		case "structure":
			structure, err = d.hashSet()
		default:
			err = d.unknown(s, "roothash")
		}
		return err
	})
	return content, structure, err
}

func (d *decoder) hashSet() (hs []Hash, err error) {
	err = d.children(func(s xml.StartElement) error { return d.hash(s, &hs) })
	return hs, err
}

// hash reads one format element into hs.
func (d *decoder) hash(s xml.StartElement, hs *[]Hash) error {
	h := Hash{Format: s.Name.Local}
	if !KnownFormat(h.Format) {
		return d.unknown(s, "hash (no format of this standard)")
	}
	if slices.ContainsFunc(*hs, func(o Hash) bool { return o.Format == h.Format }) {
		return d.fail("format %s twice", h.Format)
	}
	if a, ok := attr(s, "action"); ok {
		switch h.Action = Action(a); h.Action {
		case Original, Verified, Failed:
		default:
			return d.fail("action %.40q is not of the schema", a)
		}
	}
	h.Date = d.timeAttr(s, "hashdate")
	text, err := d.text()
	if err != nil {
		return err
	}
	if h.Text, err = normalDigest(h.Format, strings.TrimSpace(text)); err != nil {
		return d.fail("%v", err)
	}
	*hs = append(*hs, h)
	return nil
}

func (d *decoder) hashes() error {
	return d.children(func(s xml.StartElement) error {
		switch s.Name.Local {
		case "hash":
			return d.file()
		case "directoryhash":
			return d.dir()
		}
		return d.unknown(s, "hashes")
	})
}

// path reads a path element; folders may carry one slash at the end, as an old schema example does.
func (d *decoder) path(dir bool) (string, error) {
	p, err := d.text()
	if err != nil {
		return "", err
	}
	if dir && len(p) > 1 {
		p = strings.TrimSuffix(p, "/")
	}
	return p, CheckPath(p)
}

func (d *decoder) file() error {
	f := FileRecord{Size: -1}
	err := d.children(func(s xml.StartElement) (err error) {
		switch s.Name.Local {
		case "path":
			if v, ok := attr(s, "size"); ok {
				if f.Size, err = strconv.ParseInt(strings.TrimSpace(v), 10, 64); err != nil || f.Size < 0 {
					return d.fail("size %.40q", v)
				}
			}
			f.Modified = d.timeAttr(s, "lastmodificationdate")
			f.Path, err = d.path(false)
		case "previousPath":
			f.Previous, err = d.path(false)
		case "metadata":
			err = d.skip()
		default:
			err = d.hash(s, &f.Hashes)
		}
		return err
	})
	if err != nil {
		return err
	}
	if f.Path == "" {
		return d.fail("hash without a path")
	}
	if len(f.Hashes) == 0 {
		d.warnf("no digest that can be read for %.200q", f.Path)
	}
	if d.v.File == nil {
		return nil
	}
	return d.v.File(f)
}

func (d *decoder) dir() error {
	var r DirRecord
	err := d.children(func(s xml.StartElement) (err error) {
		switch s.Name.Local {
		case "path":
			r.Modified = d.timeAttr(s, "lastmodificationdate")
			r.Path, err = d.path(true)
		case "content":
			r.Content, err = d.hashSet()
		case "structure":
			r.Structure, err = d.hashSet()
		case "previousPath":
			r.Previous, err = d.path(true)
		case "metadata":
			err = d.skip()
		default:
			err = d.unknown(s, "directoryhash")
		}
		return err
	})
	if err != nil {
		return err
	}
	if r.Path == "" {
		return d.fail("directoryhash without a path")
	}
	if d.v.Dir == nil {
		return nil
	}
	return d.v.Dir(r)
}

func (d *decoder) references() error {
	return d.children(func(s xml.StartElement) error {
		if s.Name.Local != "hashlistreference" {
			return d.unknown(s, "references")
		}
		var r Reference
		err := d.children(func(s xml.StartElement) (err error) {
			switch s.Name.Local {
			case "path":
				r.Path, err = d.path(false)
			case "c4":
				var hs []Hash
				if err = d.hash(s, &hs); err == nil {
					r.C4 = hs[0].Text
				}
			default:
				err = d.unknown(s, "hashlistreference")
			}
			return err
		})
		if err != nil {
			return err
		}
		if r.Path == "" || r.C4 == "" {
			return d.fail("reference without path or c4")
		}
		if len(d.h.References) >= 100_000 {
			return d.fail("too many references")
		}
		d.h.References = append(d.h.References, r)
		return nil
	})
}
