package notebook

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"wetside/session/words"
)

// A Difference is one thing in which two sheets differ, in words.
type Difference struct {
	What string
	A, B string
	By   string // how much, where that can be said: "+0:20", "+0.7 stops"
}

// Compare says in what two sheets differ, in the order of their lives.
func Compare(a, b *Record) []Difference {
	var out []Difference
	add := func(what, x, y, by string) {
		if x != y {
			out = append(out, Difference{what, cmp.Or(x, "–"), cmp.Or(y, "–"), by})
		}
	}
	add("rehearsal", yes(a.Rehearsal), yes(b.Rehearsal), "")
	add("maker", words.Clean(a.Maker), words.Clean(b.Maker), "")
	add("paper", words.Clean(a.Paper.Key), words.Clean(b.Paper.Key), "")
	add("camera", words.Clean(a.Camera), words.Clean(b.Camera), "")
	add("process", words.Clean(a.Process), words.Clean(b.Process), "")
	add("temperature", celsius(a.Celsius), celsius(b.Celsius), delta(a.Celsius, b.Celsius, "°C"))
	add("light", words.Clean(a.Light), words.Clean(b.Light), "")
	ea, eb := cmp.Or(a.Exposure, &ExposureRecord{}), cmp.Or(b.Exposure, &ExposureRecord{})
	add("exposure planned", span(ea.Planned), span(eb.Planned), stopsBetween(ea.Planned, eb.Planned))
	add("exposure", span(ea.Actual), span(eb.Actual), stopsBetween(ea.Actual, eb.Actual))
	if len(ea.Readings)+len(eb.Readings) > 0 {
		add("share of exposure", percent(ea.Share), percent(eb.Share), "")
	}
	add("times covered", fmt.Sprint(len(ea.Covered)), fmt.Sprint(len(eb.Covered)), "")
	for _, p := range pair(a.Stages, b.Stages) {
		compareStages(p[0], p[1], add)
	}
	add("image seen after", span(a.Emerged), span(b.Emerged), "")
	add("under the safelight", span(a.Safelight), span(b.Safelight), words.Difference((b.Safelight - a.Safelight).D()))
	add("taken back", fmt.Sprint(len(a.Undone)), fmt.Sprint(len(b.Undone)), "")
	add("washed in full", yes(a.Washed), yes(b.Washed), "")
	add("end", words.Clean(strings.TrimSpace(a.State+" "+a.Spoiled)), words.Clean(strings.TrimSpace(b.State+" "+b.Spoiled)), "")
	add("judged", judged(a), judged(b), "")
	return out
}

func judged(r *Record) string {
	j, is := r.Judged()
	switch {
	case !is:
		return ""
	case j.LeftOut():
		return words.Clean(j.Seen)
	}
	s := stopsWords(j.Stops)
	if j.Seen != "" {
		s += ", " + words.Clean(j.Seen)
	}
	return s
}

// pair sets the stages of two sheets side by side: the first develop with the
// first develop, and so on.
func pair(a, b []StageRecord) [][2]*StageRecord {
	var out [][2]*StageRecord
	b = slices.Clone(b)
	for i := range a {
		p := [2]*StageRecord{&a[i], nil}
		if j := slices.IndexFunc(b, func(s StageRecord) bool { return s.Stage == a[i].Stage }); j >= 0 {
			s := b[j]
			p[1], b = &s, slices.Delete(b, j, j+1)
		}
		out = append(out, p)
	}
	for k := range b {
		out = append(out, [2]*StageRecord{nil, &b[k]})
	}
	return out
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func celsius(c float64) string {
	if c == 0 {
		return ""
	}
	return words.Decimals(c, 1) + " °C"
}

func delta(a, b float64, unit string) string {
	if a == 0 || b == 0 {
		return ""
	}
	return words.Signed(b-a, 1) + " " + unit
}

func span(s Secs) string {
	if s == 0 {
		return ""
	}
	return words.Finished(s.D())
}

func window(s *StageRecord) string {
	if s.AtMost == 0 {
		return ""
	}
	return plan(s.AtLeast, s.AtMost)
}

func percent(f float64) string {
	if f == 0 {
		return ""
	}
	return words.Percent(f)
}

// stopsBetween says by how many stops b is more light than a: the base-2
// logarithm of the ratio of the times.
func stopsBetween(a, b Secs) string {
	if a <= 0 || b <= 0 {
		return ""
	}
	return words.StopsBy(math.Log2(float64(b) / float64(a)))
}

// took is how long a stage took, as far as it was seen.
func (s *StageRecord) took() string {
	if s.Unseen && s.Actual == 0 {
		return "not seen"
	}
	if s.Led {
		return words.Finished(s.Actual.D()) + ", led"
	}
	return words.Finished(s.Actual.D())
}

// compareStages compares two stages, one of which may not be there.
func compareStages(x, y *StageRecord, add func(what, x, y, by string)) {
	var name, sx, sy, wx, wy, by string
	if x != nil {
		name, sx, wx = label(x), x.took(), window(x)
	}
	if y != nil {
		name, sy, wy = label(y), y.took(), window(y)
	}
	both := x != nil && y != nil
	if both && !x.Unseen && !y.Unseen && !x.Led && !y.Led {
		by = words.Difference((y.Actual - x.Actual).D())
	}
	name = words.Clean(name)
	add(name, sx, sy, by)
	add(name+" planned", wx, wy, "")
	if both && x.Use != nil && y.Use != nil {
		add(name+" bath age", words.Finished(x.Use.Age.D()), words.Finished(y.Use.Age.D()), words.Difference((y.Use.Age - x.Use.Age).D()))
		add(name+" bath used", percent(x.Use.Share), percent(y.Use.Share), "")
		add(name+" dilution", words.Clean(x.Use.Dilution), words.Clean(y.Use.Dilution), "")
	}
}
