package tui

import (
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
)

// hold presses a key and keeps it down for so long, as a keyboard repeats it:
// after delay for the first time, then once each gap.
func (w *world) hold(m *Model, k tea.KeyMsg, delay, gap, long time.Duration) {
	m.Update(k)
	for t := delay; t < long; t += gap {
		if t == delay {
			w.pass(delay)
		} else {
			w.pass(gap)
		}
		m.Update(k)
		if gap >= repeatGap {
			m.Update(heldMsg(m.held.n))
		}
	}
	w.pass(repeatGap)
	m.Update(heldMsg(m.held.n)) // nothing followed
}

func letter(s string) tea.KeyMsg { return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(s)} }

// However a keyboard repeats, a key that is held down is one press.
func TestAHeldKeyIsOnePress(t *testing.T) {
	ms := time.Millisecond
	for _, x := range []struct {
		name       string
		delay, gap time.Duration
	}{
		{"X11", 660 * ms, 40 * ms},
		{"a desktop", 500 * ms, 30 * ms},
		{"the Linux console", 250 * ms, 92 * ms},
		{"a fast one", 200 * ms, 15 * ms},
	} {
		w, m := newWorld(t, nil)
		s := m.add(t, "caddy", "")
		m.keys(t, "space")
		w.pass(20 * time.Second)
		m.keys(t, "space")
		w.pass(2 * time.Second)
		w.hold(m, letter("m"), x.delay, x.gap, 10*time.Second)
		if n := len(s.Marks); n != 1 {
			t.Errorf("%s: m held for ten seconds made %d marks", x.name, n)
		}
		w.hold(m, tea.KeyMsg{Type: tea.KeyBackspace}, x.delay, x.gap, 5*time.Second)
		if v := s.Visit(); v == nil || v.Stage != session.Stop || len(s.Marks) != 0 {
			t.Errorf("%s: backspace held took more than the mark back: %v", x.name, s.Undone)
		}
		m.goTo(Bench)
		m.form.focus(m, fAdd)
		w.hold(m, tea.KeyMsg{Type: tea.KeyEnter}, x.delay, x.gap, 5*time.Second)
		if n := len(m.desk.M.Sheets()); n != 2 {
			t.Errorf("%s: enter held on the bench made %d sheets of one", x.name, n)
		}
		w.hold(m, letter("s"), x.delay, x.gap, 2*time.Second)
		if got := m.form.value().Name; len(got) < 10 {
			t.Errorf("%s: a letter held in a field of text wrote %q", x.name, got)
		}
		m.goTo(Field)
		c := m.add(t, "hat box", "10m")
		m.keys(t, "3", "space")
		w.hold(m, letter("]"), x.delay, x.gap, 5*time.Second)
		if n := len(c.Light.Readings); n != 1 {
			t.Errorf("%s: ] held changed the light %d times", x.name, n)
		}
	}
}

// A question's own key, held, does not answer the next question as well.
func TestAHeldAnswerAnswersOneQuestion(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
	w.pass(time.Minute)
	cfg := m.cfg
	cfg.Resumed = ResumeText(m.desk.M, w.now)
	m = New(cfg)
	w.hold(m, letter("n"), 500*time.Millisecond, 30*time.Millisecond, 3*time.Second)
	if m.ask == nil || !strings.Contains(m.ask.says(), "Was it finished by hand, as planned?") {
		t.Errorf("n held: %q", m.ask.says())
	}
}

// Presses that follow fast, as when the sun comes out, all count.
func TestFastPressesAllCount(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	s := m.add(t, "caddy", "10m")
	m.keys(t, "space")
	for range 3 {
		m.Update(letter("]"))
		w.pass(200 * time.Millisecond)
		m.Update(heldMsg(m.held.n)) // 150 ms after the press
	}
	if n := len(s.Light.Readings); n != 3 {
		t.Errorf("] three times in 0.6 s changed the light %d times", n)
	}
	m.Update(letter("c"))
	w.pass(350 * time.Millisecond)
	m.Update(letter("c"))
	m.Update(letter("o")) // the next key comes before the wait is over
	if !s.Light.Open || m.ask == nil {
		t.Errorf("c twice and then o: open %v, asked %v", s.Light.Open, m.ask != nil)
	}
}

// What comes again within 300 ms is one deed, however the contacts of a pedal bounce:
// a second backspace would take back more, a second x mark a sheet as spoiled.
func TestABounceIsOneDeed(t *testing.T) {
	for _, gap := range []time.Duration{10, 140, 160, 220, 295} {
		gap *= time.Millisecond
		w, m := newWorld(t, nil)
		s, other := m.add(t, "caddy", ""), m.add(t, "print", "")
		m.keys(t, "space")
		for _, k := range []string{"m", "m"} {
			w.pass(2 * time.Second)
			m.keys(t, k)
		}
		twice := func(k tea.KeyMsg) {
			w.pass(2 * time.Second)
			m.Update(k)
			w.pass(gap)
			m.Update(k)
			w.pass(repeatGap)
			m.Update(heldMsg(m.held.n))
		}
		if twice(tea.KeyMsg{Type: tea.KeyBackspace}); len(s.Marks) != 1 {
			t.Errorf("%v: a bounced backspace took back %d of two marks", gap, 2-len(s.Marks))
		}
		if twice(letter("x")); s.Phase == session.Ruined {
			t.Errorf("%v: a bounced x spoils a sheet", gap)
		}
		if twice(letter("p")); m.desk.M.BoxOpen() == other.Out {
			t.Errorf("%v: a bounced p took paper out and put it away", gap)
		}
	}
}

// What comes after a bounce, and later than a contact could, is a press of its own. Of
// the large key it is part of the press before for a second, and a dull tick says so;
// contacts and a key that is held do not tick.
func TestAPressAfterABounce(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	m.keys(t, "space")
	press := func(k tea.KeyMsg, after time.Duration) {
		w.pass(after)
		m.Update(k)
	}
	settle := func() {
		w.pass(repeatGap)
		m.Update(heldMsg(m.held.n))
		m.Update(tapMsg(m.held.cameAt))
	}
	press(letter("m"), 2*time.Second)
	press(letter("m"), 50*time.Millisecond)
	press(letter("m"), 600*time.Millisecond)
	if settle(); len(s.Marks) != 2 {
		t.Errorf("m, which bounced, and m again made %d marks", len(s.Marks))
	}
	press(letter("m"), 2*time.Second)
	press(letter("m"), 50*time.Millisecond)
	for range 20 { // it is held after it has bounced
		press(letter("m"), 60*time.Millisecond)
	}
	if settle(); len(s.Marks) != 3 {
		t.Errorf("m that bounced and was held made %d marks", len(s.Marks)-2)
	}
	space := keyMsg("space")
	ticks := func(what string, want int) {
		t.Helper()
		got := 0
		for _, c := range w.played {
			if c.Kind == session.CueIdle {
				got++
			}
		}
		if got != want {
			t.Errorf("%s ticks %d times, want %d", what, got, want)
		}
	}
	for _, x := range []struct {
		name  string
		gaps  []time.Duration // ms
		ticks int
	}{
		{"one press", nil, 0},
		{"a bounce", []time.Duration{40, 90}, 0},
		{"a key that is held", []time.Duration{660, 40, 40, 40}, 0},
		{"a second press within a second", []time.Duration{700}, 1},
	} {
		w.pass(2 * time.Second)
		w.played = nil
		m.Update(space)
		for _, gap := range x.gaps {
			press(space, gap*time.Millisecond)
		}
		settle()
		ticks(x.name, x.ticks)
	}
}

// Caps Lock makes no key silent, and in a field of text it writes capitals.
func TestCapsLock(t *testing.T) {
	w, m := newWorld(t, nil)
	s := m.add(t, "caddy", "")
	m.keys(t, "space")
	w.pass(20 * time.Second)
	m.keys(t, "M", "I", "O")
	if len(s.Marks) != 1 || s.Emerged == 0 || m.ask == nil {
		t.Fatalf("M, I, O: %d marks, image seen after %v, asked %v", len(s.Marks), s.Emerged, m.ask != nil)
	}
	m.keys(t, "L", "a", "M", "p", "enter")
	if len(s.Notes) != 1 || s.Notes[0].Text != "LaMp" {
		t.Errorf("the note is %+v", s.Notes)
	}
	m.goTo(Field)
	c := m.add(t, "hat box", "4m")
	m.keys(t, "2", "space", "C")
	if c.Light.Open {
		t.Error("C did not cover")
	}
	m.goTo(Bench)
	m.form.focus(m, fName)
	m.keys(t, "S", "I", "G", "N", "A", "L")
	if got := m.form.value().Name; got != "SIGNAL" {
		t.Errorf("the name is %q", got)
	}
	m.form.focus(m, fPaper)
	m.keys(t, "Q", "N")
	if m.ask != nil {
		t.Error("N is no answer")
	}
	m.keys(t, "Q", "Y")
	if !m.Quit() {
		t.Error("Q and Y do not quit")
	}
}
