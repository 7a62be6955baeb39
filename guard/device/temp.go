package device

import (
	"strings"

	"github.com/cespare/xxhash/v2"

	"twobin/guard/hashes"
)

// The pattern of temporary names: tempStart, sixteen hexadecimal digits, tempEnd. No camera, system or other program is
// known to use it, so whatever bears such a name was left by an interrupted run of this program.
const (
	tempStart = ".twobin-"
	tempEnd   = ".part"
)

// TempName is the temporary name that stands for key (usually the path of the file it will become). It is always 29
// bytes, so that a file whose own name has the longest length allowed has a temporary name too.
func TempName(key string) string {
	return tempStart + hashes.Text64(xxhash.Sum64String(key)) + tempEnd
}

// IsTemp says whether name is one that TempName gives. Only such names are ever removed from a destination.
func IsTemp(name string) bool {
	digits, ok := strings.CutPrefix(name, tempStart)
	if !ok {
		return false
	}
	digits, ok = strings.CutSuffix(digits, tempEnd)
	if !ok {
		return false
	}
	_, err := hashes.Parse64(digits)
	return err == nil && digits == strings.ToLower(digits)
}
