package bench

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

var small = []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
	"eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"}
var tens = []string{"", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}

// Number is n in words, from 0 ("no") to 99; figures beyond.
func Number(n int) string {
	switch {
	case n < 0 || n > 99:
		return strconv.Itoa(n)
	case n < 20:
		return small[n]
	case n%10 == 0:
		return tens[n/10]
	}
	return tens[n/10] + "-" + small[n%10]
}

func count(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	return Number(n) + " " + many
}

// Span is a time in words, to the second up to ten minutes, then to the minute,
// rounded up: what is said is never sooner than what is meant.
func Span(d time.Duration) string {
	if d < 0 {
		d = 0
	}
	sec := int((d + time.Second - 1) / time.Second)
	if sec >= 600 {
		sec = (sec + 59) / 60 * 60
	}
	h, m, s := sec/3600, sec/60%60, sec%60
	var p []string
	if h > 0 {
		p = append(p, count(h, "hour", "hours"))
	}
	if m > 0 {
		p = append(p, count(m, "minute", "minutes"))
	}
	if s > 0 || len(p) == 0 {
		p = append(p, count(s, "second", "seconds"))
	}
	return strings.Join(p, " ")
}

func sheetName(num int) string {
	if num <= 0 {
		return "the sheet"
	}
	return "sheet " + Number(num)
}

// MayGoIn says when a sheet may go in: "sheet five may go in in thirty-five
// seconds".
func MayGoIn(num int, start, now time.Duration) string {
	if start <= now {
		return sheetName(num) + " may go in now"
	}
	return fmt.Sprintf("%s may go in in %s", sheetName(num), Span(start-now))
}

// MixWords says how to mix: "1+9 to make 500 ml: 50 and 450".
func MixWords(dilution string, parts []Part) string {
	total := 0.0
	var p []string
	for _, x := range parts {
		total += x.ML
		p = append(p, millilitres(x.ML))
	}
	n := len(p) - 1
	if n < 1 {
		return dilution
	}
	return fmt.Sprintf("%s to make %s ml: %s and %s", dilution, millilitres(total), strings.Join(p[:n], ", "), p[n])
}

// millilitres is a volume to three figures, as a measure can be read.
func millilitres(v float64) string {
	d := 0
	if v < 10 {
		d = 2
	} else if v < 100 {
		d = 1
	}
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// Words is the state of a bath: "fixer 1: 62 percent used, twelve sheets".
func (b BathState) Words() string {
	n := count(b.Sheets, "sheet", "sheets")
	if b.Cause == ByNone {
		return fmt.Sprintf("%s: %s, capacity not stated", b.Name, n)
	}
	w := fmt.Sprintf("%s: %d percent used, %s", b.Name, int(b.Share*100+1e-6), n)
	if b.Cause == ByAge {
		w += ", by its age"
	}
	return w
}

// Words is the state of a batch: "wash tray: three sheets, twelve minutes left".
func (b Batch) Words(now time.Duration) string {
	if b.Done <= now {
		return fmt.Sprintf("%s: %s, washed", b.Bath, count(len(b.Sheets), "sheet", "sheets"))
	}
	return fmt.Sprintf("%s: %s, %s left", b.Bath, count(len(b.Sheets), "sheet", "sheets"), Span(b.Done-now))
}

// Words is one waiting sheet: "sheet five waits, exposed twelve minutes ago".
func (w Wait) Words() string {
	return fmt.Sprintf("%s waits, exposed %s ago", sheetName(w.Sheet.Num), Span(w.Since))
}

// Words sums a maker up: "Ash: four sheets, three washed, one spoiled".
func (m MakerSum) Words() string {
	name := m.Maker
	if name == "" {
		name = "no maker"
	}
	p := []string{count(m.Sheets, "sheet", "sheets")}
	for _, x := range []struct {
		n    int
		what string
	}{{m.Washed, "washed"}, {len(m.Unwashed), "done, not washed in full"}, {m.Wet, "in the trays"}, {m.Waiting, "waiting"}, {m.Other, "not exposed"}, {m.Spoiled, "spoiled"}} {
		if x.n > 0 {
			p = append(p, Number(x.n)+" "+x.what)
		}
	}
	return name + ": " + strings.Join(p, ", ")
}
