package tui

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

// No two deeds have a key in common on any screen, from the start.
func TestNoKeyIsBoundTwice(t *testing.T) {
	for i, d := range KeyDeeds {
		for _, e := range KeyDeeds[i+1:] {
			for _, k := range d.Keys {
				if d.overlaps(e) && slices.Contains(e.Keys, k) {
					t.Errorf("%s is the key of %s and of %s", k, d.Name, e.Name)
				}
			}
		}
	}
}

// Each layout's row of digits, as it comes without Shift, picks the sheets; none
// of it changes the volume, a light or a sheet.
func TestEachLayoutsRowOfDigits(t *testing.T) {
	for layout, row := range map[string]string{"us": "1234567890", "de": "1234567890", "nordic": "1234567890", "fr": topRows["fr"], "cz": topRows["cz"]} {
		for _, known := range []string{layout, ""} {
			w, m := newWorld(t, func(c *Config) { c.Keys, _ = BindKeys(nil, known) })
			louder := 0
			for range 10 {
				m.add(t, "caddy", "4m")
			}
			m.desk.Sound = volumes{w, &louder}
			n := len(w.events)
			for i, r := range []rune(row) {
				m.hands.Unpick()
				w.pass(2 * time.Second)
				m.keys(t, string(r))
				s := m.hands.Picked()
				if known == "" && slices.Contains([]rune("+-_é"), r) {
					continue // it may be another layout's key
				}
				if s == nil || s.Num != i+1 {
					t.Errorf("%s, known as %q: %c picks %v, not sheet %d; %q", layout, known, r, s, i+1, m.said)
				}
			}
			if known != "" && louder != 0 || louder > 1 { // + of an unknown layout is one step
				t.Errorf("%s, known as %q: the row changed the volume by %d", layout, known, louder)
			}
			if len(w.events) != n {
				t.Errorf("%s, known as %q: the row did %v", layout, known, w.events[n:])
			}
		}
	}
	// The unshifted 6 of one layout, pressed again and again, is no volume.
	w, m := newWorld(t, nil)
	louder := 0
	m.desk.Sound = volumes{w, &louder}
	for range 8 {
		w.pass(2 * time.Second)
		m.keys(t, "-")
	}
	if louder != 0 {
		t.Errorf("eight presses of - on an unknown layout changed the volume by %d", louder)
	}
}

// volumes is a world that counts steps of the volume.
type volumes struct {
	*world
	n *int
}

func (v volumes) Volume(step int) { *v.n += step }

// A clicker, function keys, the arrows and keys of one's own do what they are
// bound to, in a line of text too.
func TestOtherKeysDoTheDeed(t *testing.T) {
	w, m := newWorld(t, func(c *Config) {
		c.Start = Field
		c.Keys, _ = BindKeys(map[string][]string{"cover": {"f11"}}, "")
	})
	a, b := m.add(t, "caddy", "2m"), m.add(t, "hat box", "9m")
	press := func(ty tea.KeyType) {
		t.Helper()
		w.pass(2 * time.Second)
		m.Update(tea.KeyMsg{Type: ty})
	}
	press(tea.KeyF2)
	press(tea.KeyPgDown)
	if b.Phase != session.Exposing {
		t.Fatalf("f2 and page down: sheet 2 is %s; %q", b.Phase, m.said)
	}
	press(tea.KeyLeft)
	press(tea.KeyRight)
	if n := len(b.Light.Readings); n != 2 {
		t.Errorf("left and right made %d changes of light", n)
	}
	press(tea.KeyF11)
	m.keys(t, "c")
	if b.Light.Open {
		t.Error("f11, which is bound to cover, did not; or c, which is no more, did")
	}
	press(tea.KeyF11)
	press(tea.KeyPgUp)
	if b.Light.Open {
		t.Error("page up did not take it back")
	}
	m.goTo(Bench)
	m.form.focus(m, fName)
	press(tea.KeyF1)
	press(tea.KeyPgDown) // in a line of text, without the number first: it opens nothing
	if got := m.form.value().Name; got != "" {
		t.Errorf("the line of text has %q", got)
	}
	if a.Phase == session.Wet {
		t.Error("an unexposed sheet went in unasked")
	}
}

// A clicker's four keys: a question that its black button opened is left by page up, and
// in the field, when all have had their light, page down leads to the trays.
func TestAClickerIsNeverStuck(t *testing.T) {
	w, m := newWorld(t, func(c *Config) {
		c.Baths = func(string) []session.Mix { return []session.Mix{{Name: "developer", ML: 500}} }
	})
	a := m.add(t, "print", "")
	m.keys(t, "b")
	if m.ask == nil {
		t.Fatalf("b in the trays asks nothing: %q", m.said)
	}
	w.pass(2 * time.Second)
	n := len(w.events)
	m.Update(tea.KeyMsg{Type: tea.KeyPgUp})
	if m.ask != nil || len(w.events) != n {
		t.Errorf("page up: asked still %v, written %v", m.ask != nil, w.events[n:])
	}
	m.goTo(Field)
	w.pass(2 * time.Second)
	if got := plain(m); !strings.Contains(got, "space to the trays") {
		t.Errorf("with nothing in the field:\n%s", got)
	}
	m.Update(tea.KeyMsg{Type: tea.KeyPgDown})
	if m.screen != Trays || a.Phase != session.Fresh || !strings.Contains(w.said(), "press, into the developer") {
		t.Errorf("page down: on the %s, sheet 1 %s; said %q", m.screen, a.Phase, w.said())
	}
	w.pass(2 * time.Second)
	m.Update(tea.KeyMsg{Type: tea.KeyPgDown})
	if a.Phase != session.Wet {
		t.Errorf("page down again: sheet 1 is %s", a.Phase)
	}
}

// An answer that stands open is for the sheets that are asked about, as long as they are:
// a number pressed much later picks its sheet, and does nothing with it.
func TestAnOldQuestionIsAnsweredByNoNumber(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	a, b := m.add(t, "caddy", "1m"), m.add(t, "hat box", "1m")
	for _, s := range []*session.Sheet{a, b} {
		m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: s.ID, Planned: time.Minute})
	}
	w.pass(61 * time.Second)
	m.keys(t, "space")
	if len(m.hands.Asked()) != 2 {
		t.Fatalf("not asked: %q", m.said)
	}
	for _, s := range []*session.Sheet{a, b} { // from another window
		m.desk.Do(session.Event{Kind: session.ExposureEnded, Sheet: s.ID})
	}
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: a.ID})
	w.pass(2 * time.Second)
	m.goTo(Trays)
	n := len(w.events)
	m.keys(t, "2")
	if len(w.events) != n || m.hands.Picked() != b {
		t.Errorf("2 did %v", w.events[n:])
	}
}

// What is wrong in a table of keys is told, and the rest holds.
func TestBadKeysAreTold(t *testing.T) {
	ks, bad := BindKeys(map[string][]string{"move": {"space", "F9"}, "where": {"f9", "f8"}, "fly": {"a"}, "cover": {"i"}, "seen": {"i"}, "back": {""}}, "")
	var got []string
	for _, b := range bad {
		got = append(got, fmt.Sprint(b.Deed, " ", b.Key, " ", b.Other))
	}
	want := []string{"back   ", "fly  ", "where f9 move"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if got := ks.Of("move"); !slices.Equal(got, []string{"space", "f9"}) {
		t.Errorf("move has %q", got)
	}
	if got := ks.Of("8"); !slices.Equal(got, []string{"8"}) {
		t.Errorf("f8 was given away, and sheet 8 has %q", got)
	}
}
