package stats

import (
	"encoding/json"
	"testing"

	"pgregory.net/rapid"
)

// No list of finite times, however short, equal or wild, gives a NaN or an infinity anywhere: JSON has no way to write
// one, so that what can be written has none. And no share or chance leaves 0 to 1.
func TestResultsAreFinite(t *testing.T) {
	t.Parallel()
	time := rapid.OneOf(rapid.Float64Range(0.001, 1e7), rapid.SampledFrom([]float64{0.1, 0.1, 1, 2, 1e7}), rapid.Map(rapid.IntRange(1, 9), func(i int) float64 { return float64(i) }))
	list := rapid.SliceOfN(time, 0, 24)
	rapid.Check(t, func(t *rapid.T) {
		a, b := list.Draw(t, "a"), list.Draw(t, "b")
		var ps []Point
		var rs []Run
		for i, v := range a {
			gone := rapid.IntRange(0, 9).Draw(t, "missing") == 0
			ps = append(ps, Point{Time: v, Missing: gone})
			if !gone {
				rs = append(rs, Run{N: i + 1, Time: v})
			}
		}
		curve, c := FitCurve(rs), Compare(a, b, 0.05)
		standard := time.Draw(t, "standard")
		for _, result := range []any{Summarize(a), ModifiedZ(a), Grubbs(a, 0.05), NewChart(ps), NewLimits(ps), curve, curve.Forecast(standard), c} {
			if _, err := json.Marshal(result); err != nil {
				t.Errorf("%T of %v and %v: %v", result, a, b, err)
			}
		}
		if c.P < 0 || c.P > 1+1e-12 || c.AOverB < 0 || c.AOverB > 1 || c.Z > 0 {
			t.Errorf("comparison out of range: %+v", c)
		}
		if p := curve.Forecast(standard); p.OK && p.Met && p.Run > curve.Last {
			t.Errorf("met in a run that was not seen: %+v of %+v", p, curve)
		}
	})
}
