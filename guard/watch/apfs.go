package watch

import (
	"bytes"
	"encoding/xml"
	"strings"
)

// apfsStores reads, from what `diskutil info -plist` prints about an APFS volume, the partitions that its container lies
// on (disk0s2): the strings in the array that follows the key APFSPhysicalStores. (Key and form from memory of macOS;
// anything else gives nothing, and a disk that is not known never counts as separate.)
func apfsStores(plist []byte) []string {
	d := xml.NewDecoder(bytes.NewReader(plist))
	d.Strict = false
	var stores []string
	var text strings.Builder
	depth, next := 0, false // depth: how many arrays deep below the key
	for {
		tok, err := d.Token()
		if err != nil {
			return nil // the end, and the array was not closed
		}
		switch t := tok.(type) {
		case xml.StartElement:
			text.Reset()
			if t.Name.Local == "array" && (next || depth > 0) {
				depth++
			} else if depth == 0 {
				next = false
			}
		case xml.CharData:
			text.Write(t)
		case xml.EndElement:
			switch {
			case depth == 0 && t.Name.Local == "key":
				next = text.String() == "APFSPhysicalStores"
			case depth > 0 && t.Name.Local == "string":
				stores = append(stores, text.String())
			case depth > 0 && t.Name.Local == "array":
				if depth--; depth == 0 {
					return stores
				}
			}
		}
	}
}

// wholeDisk is diskN of diskNsM or /dev/diskNsM; empty if the name is none.
func wholeDisk(name string) string {
	n, ok := strings.CutPrefix(strings.TrimPrefix(name, "/dev/"), "disk")
	digits := 0
	for digits < len(n) && n[digits] >= '0' && n[digits] <= '9' {
		digits++
	}
	if !ok || digits == 0 || digits < len(n) && n[digits] != 's' {
		return ""
	}
	return "disk" + n[:digits]
}
