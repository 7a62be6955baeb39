package manifest

import "time"

// Judge gives each digest computed in this run its action against what is known of the file (nil: nothing), and tells
// whether any failed.
//
//   - nothing known, or only in a format that is not computed: original;
//   - equal to the known value: verified; different: failed, beside the new, wrong digest;
//   - a format new for this file: verified if a known one matched and none failed. If one failed it is left out, and
//     if no known one was computed at all the caller has not done its work: see [Needs].
func Judge(k *Known, computed []Digest, date time.Time) (hs []Hash, failed bool) {
	matched := false
	if k != nil {
		for _, d := range computed {
			switch k.Digest(d.Format) {
			case "":
			case d.Text:
				matched = true
			default:
				failed = true
			}
		}
	}
	for _, d := range computed {
		h := Hash{Format: d.Format, Text: d.Text, Action: Original, Date: date}
		if k != nil {
			switch ref := k.Digest(d.Format); {
			case ref == d.Text:
				h.Action = Verified
			case ref != "":
				h.Action = Failed
			case failed:
				continue
			case matched:
				h.Action = Verified
			}
		}
		hs = append(hs, h)
	}
	return hs, failed
}

// Needs is a format that must be computed for the file beside those at hand, so that at least one known value is
// compared; "" if one of them is known already or nothing known can be computed.
func Needs(k *Known, at func(format string) bool) string {
	if k == nil {
		return ""
	}
	need := ""
	for _, d := range k.Digests {
		if at(d.Format) {
			return ""
		}
		if need == "" && d.Format != "xxh32" {
			need = d.Format
		}
	}
	return need
}
