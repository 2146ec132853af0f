package tui

import (
	"bytes"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/tui/ember"
)

// What goes to the terminal is counted: in a wash under a hundred bytes a second,
// and nothing when nothing runs. The picture is looked at no oftener than it has to be.
func TestStillAndCheap(t *testing.T) {
	var out bytes.Buffer
	w, m := newWorld(t, nil)
	g := ember.NewGuard(&out, ember.Options{Profile: ember.TrueColor, Level: ember.Ember})
	if err := g.Begin(80, 24); err != nil {
		t.Fatal(err)
	}
	m.DrawOn(ember.NewChanges(g))
	m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	seconds := func(n int) (sent, looks int) {
		out.Reset()
		for span := time.Duration(0); span < time.Duration(n)*time.Second; looks++ {
			d := m.until()
			span += d
			w.pass(d)
			m.Update(tickMsg{})
		}
		return out.Len(), looks
	}
	seconds(1)
	if n, looks := seconds(60); n != 0 || looks > 2*60 {
		t.Errorf("nothing runs: %d bytes, looked at %d times in a minute", n, looks)
	}
	m.add(t, "caddy", "")
	for range 4 {
		m.keys(t, "space")
		w.pass(4 * time.Minute)
	}
	m.said = ""
	seconds(2)
	n, looks := seconds(120)
	t.Logf("in a wash: %d bytes and %.1f looks a second", n/120, float64(looks)/120)
	if n > 120*100 || n < 120*5 {
		t.Errorf("in a wash: %d bytes a second", n/120)
	}
	if looks > 120*6 {
		t.Errorf("in a wash: looked at %d times in two minutes", looks)
	}
}

// A clock's second is drawn as it changes, however its fraction lies.
func TestTheSecondIsDrawnAsItChanges(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	w.pass(370 * time.Millisecond)
	m.keys(t, "space")
	left := func() time.Duration {
		s, _ := m.desk.M.View(m.desk.Now()).Sheet(m.desk.M.Sheets()[0].ID)
		return s.Left
	}
	for range 50 {
		before := left()
		w.pass(m.until())
		after := left()
		shown := func(x time.Duration) time.Duration { return (x + time.Second - 1).Truncate(time.Second) } // rounded up
		if gone := shown(after) - after; shown(before) != shown(after) && gone > 2*time.Millisecond {
			t.Fatalf("from %v to %v left: the second changed %v before it was looked at", before, after, gone)
		}
	}
}
