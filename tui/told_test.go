package tui

import (
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// An exposure that was timed by a watch is written down in the field, of a sheet
// that waits, and on the bench, of the one described there; what is wrong with what
// was typed can be put right.
func TestAnExposureByAWatchIsWrittenDown(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	one := m.add(t, "one", "4m")
	m.keys(t, "t")
	for wrong, why := range map[string]string{"at noon": "is no time", "13:10": "for how long", "23:59 5m": "has not come yet"} {
		m.typed(t, wrong)
		if m.ask == nil || !strings.Contains(m.said, why) {
			t.Fatalf("%q: %q, want %q", wrong, m.said, why)
		}
		m.ask.input.SetValue("")
	}
	m.typed(t, "yesterday 14:10 5m")
	opened := w.now.Wall.AddDate(0, 0, -1).Add(10 * time.Minute)
	if l := one.Light; one.Phase != session.Exposed || !l.BegunAt.Wall.Equal(opened) || l.OpenFor(m.desk.M.Now()) != 5*time.Minute {
		t.Fatalf("%s, %+v: %s", one.Phase, l, m.said)
	}
	w.pass(2 * time.Second)
	m.keys(t, "backspace")
	if one.Phase != session.Fresh {
		t.Errorf("taken back, it is %s: %s", one.Phase, m.said)
	}

	m.screen = Bench
	m.form.focus(m, fCamera)
	m.keys(t, "t")
	m.typed(t, "13:10 5m")
	if two := m.desk.M.Numbered(2); two == nil || two.Phase != session.Exposed || two.Spec.Camera != "tea-caddy" {
		t.Errorf("from the bench: %+v: %s", two, m.said)
	}
}
