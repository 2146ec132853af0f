package tui

import (
	"strings"
	"testing"
	"time"

	"github.com/charmbracelet/x/ansi"

	"wetside/profiles"
	"wetside/session"
)

// The rows of the sheets that wait say when each is to go in, the first of them
// when it is called, and a line says when all is done. Nothing is said while no
// tray is in use; what was said stands until somebody is late.
func TestTraysRowsSayWhenASheetGoesIn(t *testing.T) {
	w, m := newWorld(t, nil)
	for range 3 {
		w.pass(time.Second)
		p, err := m.cfg.Plan(profiles.Form{Name: "blank"})
		if err != nil {
			t.Fatal(err)
		}
		m.desk.Do(session.Event{Kind: session.SheetAdded, Sheet: m.desk.NewID(), Spec: &p.Spec})
	}
	view := func() string { return ansi.Strip(m.View()) }
	line := func(with string) string {
		t.Helper()
		for l := range strings.SplitSeq(view(), "\n") {
			if strings.Contains(l, with) {
				return strings.Join(strings.Fields(l), " ")
			}
		}
		t.Fatalf("no line with %q in\n%s", with, view())
		return ""
	}
	if strings.Contains(view(), "goes in") {
		t.Errorf("a plan with all trays empty:\n%s", view())
	}
	m.keys(t, "space") // at 14:00:03
	// Rocked to 2:50, lifted, out at 3:00; stop to 3:10, fixer to 4:10; the put-in
	// takes 8 s after that.
	if got := line("goes in 14:04:21"); !strings.HasPrefix(got, "2 blank") {
		t.Errorf("%q", got)
	}
	if got := line("goes in 14:08:39"); !strings.HasPrefix(got, "3 blank") {
		t.Errorf("%q", got)
	}
	if got := line("wait "); !strings.Contains(got, "wait 4:18 with sheet 2") {
		t.Errorf("%q", got)
	}
	// The last comes into the wash at 14:12:49 and sets all clocks back; the
	// hands then take out one after the other.
	if got := line("all done"); got != "all done 14:43" {
		t.Errorf("%q", got)
	}
	w.pass(2 * time.Minute)
	line("goes in 14:04:21")
	w.pass(2 * time.Minute) // the first was to be moved a minute ago, and all waits for it
	if got := line("goes in 14:05:21"); !strings.HasPrefix(got, "2 blank") {
		t.Errorf("%q", got)
	}
}

// The image that is seen is that of the sheet in the developer, also while another was
// picked; of two in the developer it is asked which.
func TestTheImageOfWhichSheet(t *testing.T) {
	w, m := newWorld(t, nil)
	one, two := m.add(t, "one", ""), m.add(t, "two", "")
	m.goTo(Trays)
	for _, s := range []*session.Sheet{one, two} {
		m.desk.Do(session.Event{Kind: session.Moved, Sheet: s.ID})
		w.pass(20 * time.Second)
	}
	m.keys(t, "i")
	if one.Emerged+two.Emerged > 0 || m.said != "1 or 2? Press the number." {
		t.Errorf("two in the developer: seen after %v and %v; %q", one.Emerged, two.Emerged, m.said)
	}
	m.keys(t, "1")
	if one.Emerged != 40*time.Second || two.Emerged > 0 {
		t.Errorf("1 answers: seen after %v and %v", one.Emerged, two.Emerged)
	}
	m.desk.Do(session.Event{Kind: session.Moved, Sheet: one.ID, From: one.Visit().Serial})
	w.pass(2 * time.Second)
	m.keys(t, "1")
	w.pass(2 * time.Second)
	m.keys(t, "i")
	if two.Emerged == 0 {
		t.Errorf("1 was picked, and lies in the stop bath: %q", m.said)
	}
}

// A mark says which sheet it is of, like a longer step.
func TestAMarkSaysWhichSheetItIsOf(t *testing.T) {
	w, m := newWorld(t, nil)
	inTheTrays(t, w, m, 0, 2)
	m.keys(t, "2")
	w.pass(2 * time.Second)
	w.all()
	m.keys(t, "m")
	if got := w.all(); got != "sheet 2: marked" {
		t.Errorf("said %q", got)
	}
}
