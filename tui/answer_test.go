package tui

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/say"
)

// everyKeyThereIs are the keys of a keyboard, a clicker and a number pad.
func everyKeyThereIs() (out []tea.KeyMsg) {
	for r := rune(' '); r < 127; r++ {
		if r > 'A' && r <= 'Z' {
			continue // Caps Lock: one is enough
		}
		if r == ' ' {
			out = append(out, tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{r}})
			continue
		}
		out = append(out, tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}})
	}
	for _, k := range []tea.KeyType{tea.KeyEnter, tea.KeyBackspace, tea.KeyTab, tea.KeyShiftTab, tea.KeyEsc, tea.KeyUp, tea.KeyDown, tea.KeyLeft, tea.KeyRight,
		tea.KeyHome, tea.KeyEnd, tea.KeyPgUp, tea.KeyPgDown, tea.KeyDelete, tea.KeyInsert, tea.KeyF1, tea.KeyF2, tea.KeyF5, tea.KeyF10, tea.KeyF12, tea.KeyCtrlC, tea.KeyCtrlA} {
		out = append(out, tea.KeyMsg{Type: k})
	}
	return out
}

// places are the screens and the questions in which a key may come.
func places() map[string]func(t testing.TB, w *world, m *Model) {
	out := map[string]func(t testing.TB, w *world, m *Model){}
	on := func(s Screen) func(t testing.TB, w *world, m *Model) {
		return func(t testing.TB, w *world, m *Model) { m.goTo(s) }
	}
	_, m := newWorld(&testing.T{}, nil)
	for _, s := range m.Screens() {
		out[string(s)] = on(s)
	}
	press := func(s Screen, keys ...string) func(t testing.TB, w *world, m *Model) {
		return func(t testing.TB, w *world, m *Model) { m.goTo(s); m.keys(t, keys...) }
	}
	later := func(s Screen, keys ...string) func(t testing.TB, w *world, m *Model) {
		return func(t testing.TB, w *world, m *Model) {
			m.goTo(s)
			for _, k := range keys {
				m.keys(t, k)
				w.pass(2 * time.Second)
			}
		}
	}
	out["quit?"] = press(Trays, "q")
	out["quit with no paper out?"] = func(t testing.TB, w *world, m *Model) {
		m.desk.Do(session.Event{Kind: session.Spoiled, Sheet: "id1"})
		m.keys(t, "q")
	}
	out["quit while a pinhole is open?"] = func(t testing.TB, w *world, m *Model) {
		m.desk.Do(session.Event{Kind: session.Spoiled, Sheet: "id1"})
		m.opened(t, "tea caddy")
		m.keys(t, "q")
	}
	out["quit, and what is lost?"] = func(t testing.TB, w *world, m *Model) {
		w.full = true
		m.desk.Do(session.Event{Kind: session.Marked, Sheet: "id1"})
		m.keys(t, "q")
	}
	out["a note"] = press(Trays, "o")
	out["the light"] = func(t testing.TB, w *world, m *Model) { m.opened(t, "tea caddy"); m.goTo(Field); m.keys(t, "e") }
	out["is the light so now?"] = func(t testing.TB, w *world, m *Model) {
		m.opened(t, "tea caddy")
		m.goTo(Field)
		m.keys(t, "e", "7", "m", "1", "5", "s", "enter")
	}
	out["to be reckoned"] = press(Field, "k")
	out["by a watch"] = func(t testing.TB, w *world, m *Model) { m.add(t, "tea caddy", "4m"); m.goTo(Field); m.keys(t, "t") }
	out["spoiled?"] = press(Trays, "x")
	out["why spoiled"] = later(Trays, "x", "x", "o")
	out["help"] = press(Trays, "?")
	out["fresh bath"] = press(Trays, "b")
	out["which bath?"] = later(Trays, "b", "y", "b")
	out["poured away?"] = later(Trays, "b", "y", "b", "1", "enter")
	out["pre-exposed?"] = press(Room, "f")
	out["the fog test"] = press(Room, "f", "y")
	out["the fog test's answer"] = func(t testing.TB, w *world, m *Model) { m.fog.waits = true; m.goTo(Room); m.keys(t, "f") }
	out["which camera?"] = press(Room, "l")
	out["loading"] = press(Room, "l", "1")
	out["to be taken out?"] = func(t testing.TB, w *world, m *Model) {
		s := m.add(t, "tea caddy", "4m")
		m.desk.Do(session.Event{Kind: session.Loaded, Sheet: s.ID})
		m.goTo(Room)
		m.keys(t, "l", "1")
	}
	out["the dark"] = press(Room, "d")
	out["was light seen?"] = func(t testing.TB, w *world, m *Model) {
		m.goTo(Room)
		m.keys(t, "d")
		w.through(m, quickLook+time.Second)
	}
	out["which number?"] = func(t testing.TB, w *world, m *Model) { m.ask = m.askHeard() }
	out["which number, softer?"] = func(t testing.TB, w *world, m *Model) { m.softest = 100; m.keys(t, "z") }
	out["a line of text"] = func(t testing.TB, w *world, m *Model) { m.goTo(Bench); m.form.focus(m, fName) }
	out["a line with text"] = func(t testing.TB, w *world, m *Model) { m.goTo(Bench); m.form.focus(m, fName); m.keys(t, "a", "b") }
	out["a note with text"] = press(Trays, "o", "a", " ", "b")
	out["a new camera"] = press(Bench, "n")
	out["its hole"] = press(Bench, "n", "c", "enter")
	out["its paper"] = press(Bench, "n", "c", "enter", "1", "enter")
	out["a sheet to be changed"] = func(t testing.TB, w *world, m *Model) { m.goTo(Bench); m.form.load(m, m.desk.M.Numbered(1)) }
	out["a first page"] = func(t testing.TB, w *world, m *Model) { m.first.on = true; m.sayState() }
	out["to be timed"] = func(t testing.TB, w *world, m *Model) { m.askTimer() }
	out["two or three?"] = func(t testing.TB, w *world, m *Model) {
		m.opened(t, "two")
		m.opened(t, "three")
		w.pass(61 * time.Second)
		m.goTo(Field)
		m.keys(t, "space")
	}
	out["only those with"] = press(Notebook, "/")
	out["how was it?"] = press(Notebook, "j")
	out["more or less?"] = press(Notebook, "j", "1", " ", "g", "r", "e", "y", "enter")
	out["to be corrected"] = press(Notebook, "c")
	out["judged in a row"] = press(Notebook, "t")
	out["what was the mark?"] = func(t testing.TB, w *world, m *Model) {
		m.desk.Do(session.Event{Kind: session.Marked, Sheet: "id1"})
		m.goTo(Notebook)
		m.book.nameMark(m, BookRow{ID: "id1", Num: 1})
	}
	// After a kill: each question in turn, of a sheet in the trays and one in the open.
	for i := range 4 {
		for name, open := range map[string]bool{"in the trays": false, "in the open": true} {
			out[fmt.Sprintf("what became of it, %s, %d", name, i)] = func(t testing.TB, w *world, m *Model) {
				if open {
					m.desk.Do(session.Event{Kind: session.Undone, Sheet: "id1", What: session.Moved})
					m.opened(t, "tea caddy")
				}
				w.pass(10 * time.Second)
				m.askResume()
				for range i {
					w.pass(2 * time.Second)
					m.keys(t, "n")
				}
			}
			out["at what time, "+name] = func(t testing.TB, w *world, m *Model) {
				out[fmt.Sprintf("what became of it, %s, 2", name)](t, w, m)
				m.keys(t, "y")
			}
		}
	}
	out["how long was it off?"] = func(t testing.TB, w *world, m *Model) {
		w.now = session.Instant{Wall: w.now.Wall.Add(-26 * time.Hour), Boot: time.Minute, BootID: "anew"}
		m.askResume()
	}
	return out
}

// opened is a camera with a minute of light to come.
func (m *Model) opened(t testing.TB, name string) *session.Sheet {
	s := m.add(t, name, "1m")
	m.desk.Do(session.Event{Kind: session.ExposureBegun, Sheet: s.ID, Planned: time.Minute})
	return s
}

// placed is a model in one of the places, with a sheet in the developer.
func placed(t testing.TB, blind bool, begin func(t testing.TB, w *world, m *Model)) (*world, *Model) {
	w, m := newWorld(t, func(c *Config) {
		c.Blind, c.Book, c.Span = blind, &several{}, time.ParseDuration
		c.Baths = func(string) []session.Mix { return []session.Mix{{Name: "developer", ML: 500}} }
		c.NewCamera = func(a ...string) (Choice, error) { return Choice{"cake-tin", "cake tin"}, nil }
		c.Timer = func(string) (session.SheetSpec, error) { return session.SheetSpec{}, errors.New("no") }
	})
	m.Update(tea.WindowSizeMsg{Width: 40, Height: 12}) // a picture is drawn for each key
	s := m.add(t, "one", "")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
	w.pass(30 * time.Second)
	begin(t, w, m)
	return w, m
}

// several is a shelf with sheets that wait to be judged.
type several struct{ shelf }

func (several) Waiting() ([]BookRow, []string, error) { return drying{}.Waiting() }

// Whatever is asked is among the places: each of the questions that can be spoken.
func TestEveryQuestionIsAPlace(t *testing.T) {
	raw, err := os.ReadFile("../session/say/say.go")
	if err != nil {
		t.Fatal(err)
	}
	var heard []string
	for _, begin := range places() {
		w, m := placed(t, true, begin)
		if m.ask != nil {
			for _, l := range m.ask.lines() {
				heard = append(heard, l.String())
			}
		}
		heard = append(heard, w.all())
	}
	all := strings.Join(heard, "\n")
	asks := regexp.MustCompile(`(?m)^\t(Ask\w+) += line\d.*\("(.*)"\)`).FindAllStringSubmatch(string(raw), -1)
	if len(asks) < 30 {
		t.Fatalf("only %d questions are found", len(asks))
	}
	for _, a := range asks {
		if a[1] == "AskGoOn" {
			continue // what a start says first: TestABlindStartIsSpoken
		}
		re := strings.ReplaceAll(regexp.QuoteMeta(a[2]), `\{\}`, ".*")
		if !regexp.MustCompile(re).MatchString(all) {
			t.Errorf("no place asks %q (%s)", a[2], a[1])
		}
	}
}

// A clock that calls while something is asked has its key there too: the call is
// answered, and the question stands as it stood, with what was typed.
func TestTheClocksKeyWorksInEveryQuestion(t *testing.T) {
	tried := map[string]int{}
	defer func() {
		t.Logf("in %d places", len(tried))
		if len(tried) < 40 {
			t.Errorf("tried in %d places only: %v", len(tried), tried)
		}
	}()
	for name, begin := range places() {
		for _, blind := range []bool{true, false} {
			for _, k := range []tea.KeyMsg{{Type: tea.KeySpace, Runes: []rune{' '}}, {Type: tea.KeyPgDown}} {
				w, m := placed(t, blind, begin)
				if m.ask == nil && !m.typing() && m.up().takes(m) != everyKey && !m.room.load.on() || strings.Contains(name, "quit while") || strings.HasPrefix(name, "the light") || strings.HasPrefix(name, "is the light") || name == "how long was it off?" {
					continue
				}
				s := m.opened(t, "biscuit tin")
				w.pass(61 * time.Second)
				m.Update(tickMsg{})
				if len(m.hands.Asked()) > 0 || m.ask == nil && !m.typing() && name != "loading" && name != "the fog test" {
					continue // it ended by itself
				}
				// The sheet in the developer was called long ago, unless it is asked about.
				if v, _ := m.desk.M.View(w.now).Sheet("id1"); v.Phase == session.Wet && v.Left == 0 {
					t.Fatalf("%s: two clocks call", name)
				}
				if m.line() != "" && k.Type == tea.KeySpace {
					continue // a blank, as it must be
				}
				tried[name]++
				ask, line, step := m.ask, m.line(), m.room.load.at
				w.played = nil
				m.Update(k)
				if s.Phase != session.Exposed {
					t.Errorf("%s: %q at the call leaves the sheet %s: %q", name, k, s.Phase, m.said)
				}
				if m.ask != ask || m.line() != line || m.room.load.at != step {
					t.Errorf("%s: %q answered the question too: %q", name, k, m.line())
				}
				w.pass(200 * time.Millisecond)
				if m.Update(k); m.ask != ask || m.line() != line || m.room.load.at != step {
					t.Errorf("%s: a double tap of %q answered the question: %q", name, k, m.line())
				}
			}
		}
	}
}

// Every key on every screen and in every question is heard within 0.3 s, and where
// nothing is drawn in words, unless it is the sheet's own sound.
func TestEveryKeyAnswers(t *testing.T) {
	for _, blind := range []bool{true, false} {
		for name, begin := range places() {
			for i, k := range everyKeyThereIs() {
				if !blind && i%4 > 0 || testing.Short() && i%5 > 0 {
					continue
				}
				w, m := placed(t, blind, begin)
				w.pass(20 * time.Second)
				m.desk.Tick()
				w.played = nil
				was := map[string]bool{}
				for _, d := range w.due {
					was[d.Cue.Key] = true
				}
				asked := m.ask
				m.Update(k)
				m.Update(splitMsg(m.split.n))
				heard := len(w.played) > 0
				for _, d := range w.due {
					heard = heard || !was[d.Cue.Key] && d.At.Sub(w.now.Wall) <= 300*time.Millisecond
				}
				if words := slices.ContainsFunc(w.played, func(c session.Cue) bool { return c.Lines != nil }); blind && len(w.played) > 0 && !words {
					t.Errorf("%s: no word says what became of %q", name, fmt.Sprint(k))
				}
				// Of two answers the second would take the first one's place.
				answers, lines := 0, map[say.Line]int{}
				for _, c := range w.played {
					if c.Kind == session.CueSay {
						answers++
					}
					if c.Lines != nil {
						for _, l := range *c.Lines {
							lines[l]++
						}
					}
				}
				for l, n := range lines {
					if n > 1 {
						t.Errorf("%s: %q says %d times: %s", name, fmt.Sprint(k), n, l)
					}
				}
				if blind && m.ask != nil && m.ask != asked && lines[m.ask.lines()[0]] == 0 {
					t.Errorf("%s: what %q asks is not said: %s", name, fmt.Sprint(k), m.ask.lines()[0])
				}
				if answers > 1 {
					t.Errorf("%s: %q has %d answers", name, fmt.Sprint(k), answers)
				}
				if !heard && !m.done {
					t.Errorf("blind %t, %s: nothing is heard of %q", blind, name, fmt.Sprint(k))
				}
				if m.done || i%3 > 0 && !testing.Short() && !blind {
					continue
				}
				// The second of a pair is settled a little later, and heard as soon.
				gap := []time.Duration{350, 500, 700, 950}[i%4] * time.Millisecond
				w.pass(gap)
				m.Update(tickMsg{})
				w.played = nil
				clear(was)
				for _, d := range w.due {
					was[d.Cue.Key] = true
				}
				second := w.now
				m.Update(k)
				m.Update(splitMsg(m.split.n))
				w.pass(repeatGap)
				m.Update(heldMsg(m.held.n))
				m.Update(tapMsg(m.held.cameAt))
				heard = len(w.played) > 0
				for _, d := range w.due {
					heard = heard || !was[d.Cue.Key] && d.At.Sub(second.Wall) <= 300*time.Millisecond
				}
				if !heard && !m.done {
					t.Errorf("blind %t, %s: nothing is heard of %q pressed again after %v", blind, name, fmt.Sprint(k), gap)
				}
			}
		}
	}
}

// What does nothing sounds dull, what was taken ticks where it says nothing by
// itself, and a press that was part of the one before it says nothing.
func TestTakenOrNot(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Book = shelf{} })
	m.add(t, "one", "")
	last := func() session.CueKind {
		if len(w.played) == 0 {
			return ""
		}
		k := w.played[len(w.played)-1].Kind
		w.played = nil
		return k
	}
	last()
	for _, c := range []struct {
		key  string
		want session.CueKind
	}{{"!", session.CueIdle}, {"tab", session.CueTaken}, {"?", session.CueTaken}, {"esc", session.CueTaken}, {"g", session.CueTaken}, {"!", session.CueIdle}} {
		w.pass(2 * time.Second)
		m.keys(t, c.key)
		if got := last(); got != c.want {
			t.Errorf("%q sounds as %q, not %q", c.key, got, c.want)
		}
	}
	m.goTo(Trays)
	w.pass(2 * time.Second)
	m.keys(t, "space")
	if got := last(); got != "" {
		t.Errorf("beside the stage's own sound a press sounds as %q", got)
	}
	w.pass(300 * time.Millisecond)
	m.keys(t, "space")
	if got := last(); got != "" {
		t.Errorf("the bounce of a press sounds as %q", got)
	}
}

// all is everything that was said since it was asked last.
func (w *world) all() string {
	var out []string
	for _, c := range w.played {
		if c.Lines != nil {
			out = append(out, aloud(c))
		}
	}
	w.played = nil
	return strings.Join(out, ". ")
}

// Who begins without looking is asked aloud, told the keys, and then where things
// stand: in the trays where a sheet lies there.
func TestABlindStartIsSpoken(t *testing.T) {
	wants := func(w *world, what string, want ...string) {
		t.Helper()
		got := w.all()
		for _, x := range want {
			if !strings.Contains(got, x) {
				t.Errorf("%s: %q is not said, but %q", what, x, got)
			}
		}
	}
	w, first := newWorld(t, func(c *Config) { c.Blind, c.Start, c.First, c.ConfirmSound = true, "", true, true })
	number := w.played[0]
	first.Init()
	wants(w, "the start's question", "type the number that you heard", "n, none")
	n := aloud(number)
	first.keys(t, n[len(n)-1:])
	wants(w, "after it the first page", "good", "choose what to do", "1, expose and develop", "4, try it in the light")
	first.keys(t, "down")
	wants(w, "a way", "2, only the trays")
	w.pass(2 * time.Second)
	first.keys(t, "?")
	wants(w, "help there", "3, just a timer")

	v, m := newWorld(t, nil)
	s := m.add(t, "one", "")
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
	v.pass(time.Minute)
	cfg := m.cfg
	cfg.Blind, cfg.Start = true, ""
	again := New(cfg)
	v.all()
	again.Init()
	wants(v, "with a sheet in the developer", "screen, trays", "in the developer, 2:00 left")
	for _, c := range []struct{ key, want string }{{"+", "volume, 70"}, {"g", "the screen is dark"}, {"q", "Is the paper covered?. y, covered: quit. n, not yet: go on"}, {"enter", "n, not yet: go on"}, {"n", "going on"}} {
		v.pass(2 * time.Second)
		again.keys(t, c.key)
		wants(v, c.key, c.want)
	}
	cfg.Resumed = "A sheet is in the developer."
	resumed := New(cfg)
	v.all()
	resumed.Init()
	wants(v, "a start with a question", "is it still in there, and does it go on?", "y, yes")
	resumed.keys(t, "y")
	wants(v, "its answer", "going on", "screen, trays")
}

// A question that is answered by typing is said again by a question mark, where nothing
// is typed yet, and by f12.
func TestATypedQuestionIsSaidAgain(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Blind = true })
	m.add(t, "one", "")
	for _, k := range []tea.KeyMsg{{Type: tea.KeyRunes, Runes: []rune{'o'}}, {Type: tea.KeyRunes, Runes: []rune{'?'}}, {Type: tea.KeyF12}} {
		w.pass(2 * time.Second)
		w.played = nil
		m.Update(k)
		if got := w.said(); !strings.Contains(got, "type a note for sheet 1") || !strings.Contains(got, "?, say it again") {
			t.Errorf("%q says %q", k, got)
		}
	}
	w.pass(2 * time.Second)
	m.keys(t, "a", "?")
	if got := m.ask.input.Value(); got != "a?" {
		t.Errorf("in the line stands %q", got)
	}
}
