package tui

import (
	"strings"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
)

// The tests in this file are of what a newcomer ran into.

// In the field a digit picks a sheet, and space is for that one.
func TestADigitPicksASheetInTheField(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	a, b := m.add(t, "caddy", "4m"), m.add(t, "hat box", "6m")
	m.keys(t, "2", "space")
	if a.Phase != session.Fresh || b.Phase != session.Exposing || !strings.Contains(m.said, "sheet 2: the pinhole is open") {
		t.Errorf("2 and space: sheet 1 is %s, sheet 2 %s; said %q", a.Phase, b.Phase, m.said)
	}
	m.keys(t, "7")
	if !strings.Contains(m.said, "there is no sheet 7") {
		t.Errorf("7 says %q", m.said)
	}
	m.keys(t, "down", "e", "b", "a", "d", "enter")
	if got := plain(m); !strings.Contains(got, "> bad_") || !strings.Contains(got, "light: write EV 13") {
		t.Errorf("a light that cannot be read:\n%s", got)
	}
	m.keys(t, "esc", "x")
	w.pass(time.Second)
	m.keys(t, "x")
	if !strings.Contains(m.said, "sheet 1 marked spoiled") {
		t.Errorf("after spoiling: %q", m.said)
	}
	m.keys(t, "tab")
	if got := plain(m); !strings.Contains(got, "1 spoiled, in the notebook") || strings.Contains(got, "1 done") {
		t.Errorf("a spoiled sheet in the trays' list:\n%s", got)
	}
}

// A question that is left is not answered.
func TestEscAnswersNothing(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Room })
	m.keys(t, "f", "esc")
	if m.fog.on || m.ask != nil {
		t.Error("esc began the fog test")
	}
	m.keys(t, "d")
	w.through(m, quickLook+time.Second)
	n := len(w.events)
	m.keys(t, "space")
	if m.ask == nil || m.said != "y or n?" {
		t.Errorf("space at a question says %q", m.said)
	}
	m.keys(t, "esc")
	if m.ask != nil || len(w.events) != n {
		t.Errorf("esc wrote down %+v", w.events[n:])
	}
	m.keys(t, "f", "n")
	if got := plain(m); !strings.Contains(got, "esc cancel") || strings.Contains(got, "q quit") {
		t.Errorf("keys offered during the fog test:\n%s", got)
	}
}

// What is said before a move that does harm is whole, to the key that does it.
func TestAWarningIsNotCutOff(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	m.add(t, "hat box", "")
	into := func(n string, stage session.Stage) {
		for range 4 {
			if v := m.desk.M.Numbered(int(n[0] - '0')).Visit(); v != nil && v.Stage == stage {
				return
			}
			m.keys(t, n, "space")
			w.pass(3 * time.Minute)
		}
	}
	into("1", session.Wash)
	into("2", session.Fix)
	m.keys(t, "2", "space")
	got := strings.Join(strings.Fields(plain(m)), " ")
	if !strings.Contains(got, "begins again") || !strings.Contains(got, "Space again does it all the same.") {
		t.Errorf("at 80 columns:\n%s", plain(m))
	}
	if err := notWider(plain(m), 80); err != "" {
		t.Error(err)
	}
}

func notWider(s string, w int) string {
	for _, l := range strings.Split(s, "\n") {
		if len([]rune(l)) > w {
			return "too wide: " + l
		}
	}
	return ""
}

// While it is asked whether to go on, the clocks do.
func TestGoOnShowsTheTimeOfNow(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	m.keys(t, "space")
	w.pass(30 * time.Second)
	cfg := m.cfg
	cfg.Resumed = ResumeText(m.desk.M, w.now)
	again := New(cfg)
	w.pass(17 * time.Second)
	if got := plain(again); !strings.Contains(got, "that is 0:47") {
		t.Errorf("47 s after it went in:\n%s", got)
	}
}

// The sum and an answer do not stand before each other, and esc closes either.
func TestSumAndAnswerTakeTurns(t *testing.T) {
	_, m := newWorld(t, func(c *Config) {
		c.Start = Field
		c.Reckon = func(line string) (string, error) { return "the answer to " + line, nil }
		plan := c.Plan
		c.Plan = func(f profiles.Form) (profiles.Reckoned, error) {
			p, err := plan(f)
			p.Spec.Working = "the sum\n" + strings.Repeat("line\n", 12)
			return p, err
		}
	})
	m.add(t, "caddy", "4m")
	shows := func(sum, answer bool) {
		t.Helper()
		if got := plain(m); strings.Contains(got, "the sum") != sum || strings.Contains(got, "the answer") != answer {
			t.Errorf("sum %v, answer %v wanted:\n%s", sum, answer, got)
		}
	}
	m.keys(t, "s")
	shows(true, false)
	m.keys(t, "a")
	shows(false, true)
	m.keys(t, "s")
	shows(true, false)
	m.keys(t, "esc")
	shows(false, false)
}

// What came without a key is still there after the next one, which may have
// been on its way.
func TestNewsOutlivesAKeystroke(t *testing.T) {
	news := []string{"the notebook was damaged: it is set aside"}
	w, m := newWorld(t, func(c *Config) {
		c.Start = Bench
		c.News = func() []string { n := news; news = nil; return n }
	})
	m.form.focus(m, fName)
	m.Update(tickMsg{})
	m.keys(t, "a")
	if got := plain(m); !strings.Contains(got, "it is set aside") {
		t.Errorf("one letter later:\n%s", got)
	}
	w.pass(time.Minute)
	m.keys(t, "tab", "tab")
	if got := plain(m); strings.Contains(got, "it is set aside") {
		t.Errorf("a minute later:\n%s", got)
	}
}

// What answers a key is not pushed out by news.
func TestTheAnswerComesBeforeTheNews(t *testing.T) {
	_, m := newWorld(t, nil)
	m.width, m.height = 40, 12
	m.inform("the machine may sleep or lock its screen, turn that off by hand: system bus not found")
	m.keys(t, "h")
	if got := plain(m); !strings.Contains(got, "there is no sheet") || !strings.Contains(got, "the machine may sleep") {
		t.Errorf("40x12:\n%s", got)
	}
}

// The line that is typed is seen in every window.
func TestTheTypedLineIsSeen(t *testing.T) {
	_, m := newWorld(t, func(c *Config) { c.Book = shelf{} })
	m.keys(t, "tab", "j", "1", "/", "2")
	for _, w := range []int{20, 40, 80} {
		for _, h := range []int{5, 12, 24} {
			m.width, m.height = w, h
			if got := plain(m); !strings.Contains(got, "> 1/2_") {
				t.Errorf("%dx%d:\n%s", w, h, got)
			}
		}
	}
}

// In the smallest window what is typed is seen, and a typed answer is not
// asked for as y or n.
func TestTypingInASmallWindow(t *testing.T) {
	_, m := newWorld(t, nil)
	m.width, m.height = 20, 5
	m.add(t, "caddy", "")
	m.keys(t, "o", "h", "i")
	if got := plain(m); !strings.Contains(got, "> hi_") || strings.Contains(got, "y/n") {
		t.Errorf("20x5:\n%s", got)
	}
}

// typed presses the keys of a text, and enter.
func (m *Model) typed(t testing.TB, text string) {
	t.Helper()
	for _, r := range text {
		m.keys(t, strings.Replace(string(r), " ", "space", 1))
	}
	m.keys(t, "enter")
}

// A time typed while the pinhole is open is the time in all; what is said of the
// end is what comes.
func TestATimeTypedInMidExposureEndsWhenItSays(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	s := m.add(t, "caddy", "4m")
	m.keys(t, "space")
	w.pass(90 * time.Second)
	m.keys(t, "[")
	w.pass(30 * time.Second)
	m.keys(t, "e")
	m.typed(t, "8m")
	if want := "6:00 more, until " + w.now.Wall.Add(6*time.Minute).Format("15:04:05"); !strings.Contains(m.said, want) {
		t.Errorf("it says %q, not %q", m.said, want)
	}
	w.pass(6*time.Minute - time.Second)
	if v, _ := m.desk.M.View(w.now).Sheet(s.ID); v.Left != time.Second {
		t.Errorf("a second before, %v are left", v.Left)
	}
	w.pass(time.Second)
	if v, _ := m.desk.M.View(w.now).Sheet(s.ID); v.Left != 0 || v.Over != 0 {
		t.Errorf("at the end that was said, %v are left, %v over", v.Left, v.Over)
	}
	m.keys(t, "e")
	m.typed(t, "1m")
	if got := plain(m); !strings.Contains(got, "> 1m_") || !strings.Contains(got, "has had as much light already") {
		t.Errorf("less than the sheet has had:\n%s", got)
	}
}

// A light typed while the pinhole is open is asked about: is it the light from now
// on, or is the whole time to be that of this light? The first keeps its words, and
// by how much it differs.
func TestALightTypedInMidExposureIsKept(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start = Field })
	s := m.add(t, "caddy", "4m")
	m.keys(t, "space")
	w.pass(2 * time.Minute)
	m.keys(t, "e")
	m.typed(t, "7m15s")
	if m.ask == nil || !strings.Contains(m.ask.text, "is it 7m15s from now on, or was it so all along?") || m.ask.noIs != "all along: 7:15 in all" {
		t.Fatalf("asked: %s", plain(m))
	}
	m.keys(t, " ") // no answer to that
	if m.ask == nil || len(s.Light.Readings) > 0 {
		t.Fatal("a habitual key answers")
	}
	m.keys(t, "y")
	if r := s.Light.Readings; len(r) != 1 || r[0].Stops != -1 || r[0].Light != "7m15s" || r[0].Full != 7*time.Minute+15*time.Second {
		t.Errorf("kept as %+v", r)
	}
	if !strings.Contains(m.said, "the light is 7m15s from now on; 3:38 more, until ") {
		t.Errorf("it says %q", m.said)
	}
	if v, _ := m.desk.M.View(w.now).Sheet(s.ID); v.Left != 217500*time.Millisecond {
		t.Errorf("and the countdown %v", v.Left) // of the half that is to come
	}
	// Both at once cannot be told apart.
	m.cfg.Plan = func(f profiles.Form) (profiles.Reckoned, error) {
		return profiles.Reckoned{Exposure: time.Minute, ByHand: true, Spec: session.SheetSpec{Reckoned: &session.Reckoned{Lit: &session.Lit{EV: 12}}}}, nil
	}
	m.keys(t, "e")
	m.typed(t, "overcast 1m")
	if m.ask == nil || len(s.Light.Readings) != 1 || !strings.Contains(m.said, "type one of them") {
		t.Errorf("a light and a time: %q, %+v", m.said, s.Light.Readings)
	}
	// The other answer: seven and a quarter minutes in all, two of which are over.
	m = func() *Model { w, m = newWorld(t, func(c *Config) { c.Start = Field }); return m }()
	s = m.add(t, "caddy", "4m")
	m.keys(t, "space")
	w.pass(2 * time.Minute)
	m.keys(t, "e")
	m.typed(t, "7m15s")
	m.keys(t, "n")
	if r := s.Light.Readings; len(r) != 1 || r[0].Open != 7*time.Minute+15*time.Second {
		t.Errorf("kept as %+v", r)
	}
	if v, _ := m.desk.M.View(w.now).Sheet(s.ID); v.Left != 5*time.Minute+15*time.Second || !strings.Contains(m.said, "the whole time is 7:15; 5:15 more") {
		t.Errorf("%v left, and it says %q", v.Left, m.said)
	}
}

// A sheet that is over has no time left, to the screen and to the shell, in its
// first second too; what runs is rounded up for both.
func TestWhatIsOverHasNothingLeft(t *testing.T) {
	w, m := newWorld(t, nil)
	m.add(t, "caddy", "")
	m.keys(t, "space") // into the developer, for 3:00
	for _, c := range []struct {
		pass time.Duration
		want string
	}{
		{300 * time.Millisecond, "3:00 left"},
		{time.Second, "2:59 left"},
		{178699 * time.Millisecond, "0:01 left"},
		{time.Millisecond, "over by 0:01"},
		{2500 * time.Millisecond, "over by 0:02"},
	} {
		w.pass(c.pass)
		v := m.desk.M.View(w.now)
		if got := Stands(v.Sheets[0]); got != c.want {
			t.Errorf("after %v more: %q, want %q", c.pass, got, c.want)
		}
		if c.pass < time.Second {
			continue // a key pressed so soon again is one that is held
		}
		m.keys(t, "1")
		if !strings.Contains(m.said, c.want) {
			t.Errorf("picked, it says %q, not %q", m.said, c.want)
		}
	}
	m.keys(t, "enter")
	if !strings.Contains(m.said, "over by 0:02") || strings.Contains(m.said, "left") {
		t.Errorf("where: %q", m.said)
	}
}
