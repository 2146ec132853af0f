package tui

import (
	"errors"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// shelf is a notebook of two sheets; its list says nothing of the paper's response.
type shelf struct{}

func (shelf) List(string, int) ([]BookRow, error) {
	return []BookRow{{ID: "b", Num: 2, Name: "signal arm", Outcome: "done"}, {ID: "a", Num: 1, Name: "lever frame", Outcome: "done"}}, nil
}

func (shelf) Show(id string) (BookSheet, error) {
	rows, _ := shelf{}.List("", 0)
	for _, r := range rows {
		if r.ID == id {
			r.Response, r.At = session.Denser, time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC)
			return BookSheet{BookRow: r, Lines: []string{"paper negative"}}, nil
		}
	}
	return BookSheet{}, nil
}

func (shelf) Read(_, text string) ([]Judgement, error) {
	switch text {
	case "1/2 too dark":
		return []Judgement{{Stops: 0.5}}, nil
	case "1 grey":
		return []Judgement{{Stops: 1, Seen: "grey", Says: "1 stop more, to be denser"}, {Stops: -1, Seen: "grey", Says: "1 stop less, to be thinner"}}, nil
	}
	return nil, errors.New(text + " is no judgement")
}

func (shelf) Judge(_ string, stops float64, _ string) error {
	if stops != 0.5 {
		return errors.New("another number came")
	}
	return nil
}

func (shelf) Correct(_, text string) error {
	if text != "camera hat-box" {
		return errors.New(text + " is nothing that can be put right")
	}
	return nil
}

func (shelf) Next(string) (time.Duration, bool) { return 0, true }

// taught is a shelf whose next time becomes longer by a judgement.
type taught struct {
	shelf
	judged  *bool
	teaches bool
}

func (s taught) Judge(string, float64, string) error { *s.judged = true; return nil }

func (s taught) Next(string) (time.Duration, bool) {
	if *s.judged {
		return 90 * time.Second, s.teaches
	}
	return 56 * time.Second, s.teaches
}

// After a judgement the screen says what it changed, or that it teaches nothing.
func TestAJudgementSaysWhatItChanged(t *testing.T) {
	for teaches, want := range map[bool]string{true: "next time in this light 1 min 30 s (was 56 s)", false: "it teaches nothing"} {
		_, m := newWorld(t, func(c *Config) { c.Book = taught{judged: new(bool), teaches: teaches} })
		m.keys(t, "tab", "j")
		for _, r := range "1/2 too dark" {
			m.keys(t, strings.Replace(string(r), " ", "space", 1))
		}
		m.keys(t, "enter")
		if !strings.Contains(m.said, want) {
			t.Errorf("%v: %q", teaches, m.said)
		}
	}
}

// What cannot be read stays to be put right.
func TestAJudgementThatCannotBeReadStaysInTheLine(t *testing.T) {
	_, m := newWorld(t, func(c *Config) { c.Book = shelf{} })
	m.keys(t, "tab", "j")
	for _, r := range "1/2 too dar" {
		m.keys(t, string(r))
	}
	m.keys(t, "enter")
	if got := plain(m); !strings.Contains(got, "> 1/2 too dar_") || !strings.Contains(got, "is no judgement") {
		t.Errorf("after a mistake:\n%s", got)
	}
	m.keys(t, "k", "enter")
	if m.ask != nil || !strings.Contains(m.said, "kept") {
		t.Errorf("put right, it is not kept: %q", m.said)
	}
}

// A number whose words do not say which way is asked about: nothing is kept
// before a yes, and a no to both leaves what was typed.
func TestAJudgementThatMayMeanEitherIsAskedAbout(t *testing.T) {
	for _, c := range []struct {
		keys []string
		kept float64
	}{{[]string{"y"}, 1}, {[]string{"n", "y"}, -1}, {[]string{"n", "n"}, 0}, {[]string{"esc"}, 0}, {[]string{"space", "enter"}, 0}} {
		kept := 0.0
		w, m := newWorld(t, func(cfg *Config) { cfg.Book = heard{kept: &kept} })
		m.keys(t, "tab", "j")
		for _, r := range "1 grey" {
			m.keys(t, strings.Replace(string(r), " ", "space", 1))
		}
		m.keys(t, "enter")
		if got := plain(m); m.ask == nil || !strings.Contains(got, "1 stop more, to be denser. Is that what you mean?") {
			t.Fatalf("nothing is asked:\n%s", got)
		}
		for _, k := range c.keys {
			m.keys(t, k)
			w.pass(time.Second) // n twice at once would be n held down
		}
		if kept != c.kept {
			t.Errorf("%v keeps %v stops, not %v", c.keys, kept, c.kept)
		}
		if len(c.keys) == 2 && c.kept == 0 && c.keys[1] == "n" {
			if got := plain(m); !strings.Contains(got, "> 1 grey_") {
				t.Errorf("what was typed is gone:\n%s", got)
			}
		}
	}
}

// heard is a shelf that keeps the last judgement.
type heard struct {
	shelf
	kept *float64
}

func (h heard) Judge(_ string, stops float64, _ string) error { *h.kept = stops; return nil }

// The question for a judgement says what more exposure does to this paper.
func TestJudgingAsksInThePapersSense(t *testing.T) {
	_, m := newWorld(t, func(c *Config) { c.Book = shelf{} })
	m.keys(t, "tab", "j")
	if got := plain(m); !strings.Contains(got, "denser") || strings.Contains(got, "lighter") {
		t.Errorf("a paper that gets denser with more exposure is asked about so:\n%s", got)
	}
}

// Two sheets stand side by side once v was pressed on each.
func TestTwoSheetsSideBySideByTheKeyThatIsNamed(t *testing.T) {
	_, m := newWorld(t, func(c *Config) { c.Book = shelf{} })
	m.keys(t, "tab", "v", "down", "v")
	got := plain(m)
	if !strings.Contains(got, "outcome") || !strings.Contains(got, "2 signal arm") || !strings.Contains(got, "1 lever frame") {
		t.Errorf("after v on the second sheet (%q):\n%s", m.said, got)
	}
}
