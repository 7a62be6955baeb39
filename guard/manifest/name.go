package manifest

import (
	"fmt"
	"regexp"
	"strconv"
	"time"
)

// Names that the standard fixes.
const (
	// Folder is the folder of a history, directly in the folder whose history it is.
	Folder = "ascmhl"
	// ChainName is the chain file in it.
	ChainName = "ascmhl_chain.xml"
	// Ext is the ending of manifests.
	Ext = ".mhl"
)

// ManifestName is the file name of generation nr of a folder named root: four digits at least, the folder's name, the
// UTC date and time to the second, "Z". A root name that a file name on this or another system could not carry (or
// that would make it longer than 255 bytes) is left out of the name: the standard text on it was not to be had.
func ManifestName(nr int, root string, at time.Time) string {
	stamp := at.UTC().Format("2006-01-02_150405") + "Z"
	if !Recordable(root) || len(root) > 200 || plainName.FindString(root) != root {
		return fmt.Sprintf("%04d_%s%s", nr, stamp, Ext)
	}
	return fmt.Sprintf("%04d_%s_%s%s", nr, root, stamp, Ext)
}

var plainName = regexp.MustCompile(`[^/\\:*?"<>|\x00-\x1f]+`)

var namePattern = regexp.MustCompile(`^(\d{4,9})_(?:(.*)_)?(\d{4}-\d{2}-\d{2}_\d{6})Z?\.mhl$`)

// ParseName takes a manifest's file name apart. Older samples lack the Z; both are taken. ok is false for any other
// form: a manifest may be called otherwise, the chain decides.
func ParseName(name string) (nr int, root string, at time.Time, ok bool) {
	m := namePattern.FindStringSubmatch(name)
	if m == nil {
		return 0, "", time.Time{}, false
	}
	at, err := time.Parse("2006-01-02_150405", m[3])
	if err != nil {
		return 0, "", time.Time{}, false
	}
	nr, err = strconv.Atoi(m[1])
	return nr, m[2], at, err == nil
}
