package guard

import (
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"twobin/guard/hashes"
)

// policyLimit is the greatest size of a policy file, 64 KiB: a hundred times what all keys need.
const policyLimit = 64 << 10

// word is one key of the policy file. set takes a value as TOML has it, and says whether it is allowed.
type word struct {
	key     string
	allowed string
	set     func(p *Policy, v any) bool
}

// words lists every key, in the order of the file's documentation.
func words() []word {
	d := DefaultPolicy()
	return []word{
		{"destinations", "a whole number from 2 to 99", func(p *Policy, v any) bool {
			n, ok := v.(int64)
			p.Destinations = int(n)
			return ok && n >= int64(d.Destinations) && n <= 99
		}},
		{"recheck", `"sample" or "full"`, func(p *Policy, v any) bool {
			p.Recheck = map[any]Recheck{"sample": RecheckSample, "full": RecheckFull}[scalar(v)]
			return p.Recheck != recheckInvalid
		}},
		{"sample_files", fmt.Sprintf("a whole number from %d to 1000000", d.SampleFiles), func(p *Policy, v any) bool {
			n, ok := v.(int64)
			p.SampleFiles = int(n)
			return ok && n >= int64(d.SampleFiles) && n <= 1e6
		}},
		{"sample_gb", fmt.Sprintf("a whole number of GB from %d to 1000000", d.SampleBytes/1e9), func(p *Policy, v any) bool {
			n, ok := v.(int64)
			if !ok || n < d.SampleBytes/1e9 || n > 1e6 {
				return false
			}
			p.SampleBytes = n * 1e9
			return true
		}},
		span("start_within", d.StartWithin, func(p *Policy) *time.Duration { return &p.StartWithin }),
		span("desk_within", d.DeskWithin, func(p *Policy) *time.Duration { return &p.DeskWithin }),
		span("erase_within", d.EraseWithin, func(p *Policy) *time.Duration { return &p.EraseWithin }),
		{"hashes", "a list of " + strings.Join(hashes.Formats(), ", "), func(p *Policy, v any) bool {
			list, ok := v.([]any)
			var names []string
			for _, x := range list {
				s, isText := x.(string)
				ok = ok && isText && hashes.Known(s)
				names = append(names, s)
			}
			p.Hashes = extraHashes(names)
			return ok
		}},
		{"reread", "true or false", func(p *Policy, v any) (ok bool) {
			p.Reread, ok = v.(bool)
			return ok
		}},
	}
}

// span is a key for a time that can only be shorter than most. Under a second nobody could keep it.
func span(key string, most time.Duration, field func(p *Policy) *time.Duration) word {
	return word{key, fmt.Sprintf(`a time from "1s" to %q`, most), func(p *Policy, v any) bool {
		s, _ := v.(string)
		d, err := time.ParseDuration(s)
		*field(p) = d
		return err == nil && d >= time.Second && d <= most
	}}
}

// scalar keeps lists and tables, which cannot be looked up, out of a table of words.
func scalar(v any) any {
	if s, ok := v.(string); ok {
		return s
	}
	return nil
}

// ReadPolicy reads a policy file: TOML, all keys optional. The keys are destinations, recheck ("sample", "full"),
// sample_files, sample_gb, start_within, desk_within, erase_within (such as "45s"), hashes (such as ["md5", "c4"]) and
// reread. An unknown key, and a value laxer than [DefaultPolicy], is an error of one line that names the word and says
// what is allowed; the policy is then the default.
func ReadPolicy(r io.Reader) (Policy, error) {
	d := DefaultPolicy()
	data, err := io.ReadAll(io.LimitReader(r, policyLimit+1))
	if err != nil {
		return d, fmt.Errorf("read policy: %w", err)
	}
	if len(data) > policyLimit {
		return d, fmt.Errorf("read policy: more than %d bytes", policyLimit)
	}
	var file map[string]any
	if err := toml.Unmarshal(data, &file); err != nil {
		return d, fmt.Errorf("read policy: %s", oneLine(err.Error()))
	}
	p := d
	table := words()
	for _, key := range slices.Sorted(maps.Keys(file)) {
		i := slices.IndexFunc(table, func(w word) bool { return w.key == key })
		if i < 0 {
			return d, fmt.Errorf("policy: unknown word %q: allowed is %s", clip(key), keys(table))
		}
		if !table[i].set(&p, file[key]) {
			return d, fmt.Errorf("policy: %s = %s: allowed is %s", key, shown(file[key]), table[i].allowed)
		}
	}
	return p, nil
}

// ReadPolicyFile reads the policy file at path, see [ReadPolicy].
func ReadPolicyFile(path string) (Policy, error) {
	f, err := os.Open(path)
	if err != nil {
		return DefaultPolicy(), fmt.Errorf("read policy: %w", err)
	}
	defer f.Close()
	p, err := ReadPolicy(f)
	if err != nil {
		return p, fmt.Errorf("%s: %w", path, err)
	}
	return p, nil
}

func keys(table []word) string {
	var names []string
	for _, w := range table {
		names = append(names, w.key)
	}
	return strings.Join(names, ", ")
}

// shown is a refused value for an error: text quoted, everything on one line, not too long.
func shown(v any) string {
	if s, ok := v.(string); ok {
		return fmt.Sprintf("%q", clip(s))
	}
	return oneLine(clip(fmt.Sprintf("%+q", fmt.Sprint(v))))
}

// clip keeps untrusted text short.
func clip(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// oneLine keeps untrusted text to printable characters of one line.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 {
			return ' '
		}
		return r
	}, s)
}
