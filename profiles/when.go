package profiles

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"wetside/session/words"
)

// clocks are how a time of day is written, of 24 hours and of 12.
var clocks = []string{"15:04", "15:04:05", "15.04", "3:04pm", "3:04:05pm", "3.04pm", "3pm"}

// Day reads a day: "today", "yesterday" or "2026-05-03", in now's zone.
func Day(s string, now time.Time) (time.Time, bool) {
	back, named := map[string]int{"today": 0, "yesterday": -1}[strings.ToLower(s)]
	if named {
		s = now.AddDate(0, 0, back).Format(time.DateOnly)
	}
	t, err := time.ParseInLocation(time.DateOnly, s, now.Location())
	return t, err == nil
}

// When reads the time of day that a text begins with, "14:10", "2.30 pm" or
// "yesterday 14:10", and returns what stands behind it. dated says that the day
// stands there; else it is now's.
func When(text string, now time.Time) (t time.Time, dated bool, rest string, err error) {
	if n := len(time.DateOnly); len(text) > n && (text[n] == 'T' || text[n] == 't') {
		text = text[:n] + " " + text[n+1:]
	}
	fields := strings.Fields(strings.NewReplacer(",", " ", "a.m.", "am", "p.m.", "pm").Replace(text))
	day, _ := Day("today", now)
	if len(fields) > 0 {
		if d, ok := Day(fields[0], now); ok {
			day, dated, fields = d, true, fields[1:]
		}
	}
	for n := min(2, len(fields)); n > 0; n-- {
		clock := strings.ToLower(strings.Join(fields[:n], ""))
		for _, layout := range clocks {
			if at, err := time.ParseInLocation("2006-01-02 "+layout, day.Format(time.DateOnly)+" "+clock, now.Location()); err == nil {
				return at, dated, strings.Join(fields[n:], " "), nil
			}
		}
	}
	if strings.TrimSpace(text) == "" {
		return t, dated, "", errors.New("write a time, like 14:30, 2:30 pm, yesterday 14:30, or 2026-05-03 14:30")
	}
	return t, dated, "", fmt.Errorf("%q is no time: write 14:30, 2:30 pm, yesterday 14:30, or 2026-05-03 14:30", words.Clip(text))
}
