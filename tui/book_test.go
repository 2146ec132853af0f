package tui

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/words"
	"wetside/tui/ember"
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
		return []Judgement{{Stops: 1, Seen: "grey", Says: "next time 1 stop more: this one was too thin"}, {Stops: -1, Seen: "grey", Says: "next time 1 stop less: this one was too dense"}}, nil
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

func (shelf) Waiting() ([]BookRow, []string, error)   { return nil, nil, nil }
func (shelf) After(_ string, what session.Kind) error { return nil }

// drying is a shelf with two dry sheets that wait to be judged, and keeps what was
// said of them.
type drying struct {
	shelf
	said *[]string
}

func (d drying) Waiting() ([]BookRow, []string, error) {
	return []BookRow{{ID: "x", Num: 4, Name: "signal arm"}, {ID: "y", Num: 5}}, []string{"4, 2026-05-03, tea-caddy, overcast, 5 min", "5, 2026-05-03"}, nil
}

func (d drying) Show(id string) (BookSheet, error) {
	b, err := d.shelf.Show("a")
	for _, s := range *d.said {
		b.Dry, b.Flat = b.Dry || strings.Contains(s, "dried"), b.Flat || strings.Contains(s, "flattened")
	}
	return b, err
}

func (d drying) Judge(id string, stops float64, _ string) error {
	*d.said = append(*d.said, fmt.Sprint(id, " ", stops))
	return nil
}

func (d drying) Read(_, text string) ([]Judgement, error) {
	stops, ok := map[string]float64{"right": 0, "1/2 too dark": -0.5, "1/2 too light": 0.5, "1 too dark": -1, "1 too light": 1}[text]
	if !ok {
		return nil, errors.New(text + " is no judgement")
	}
	return []Judgement{{Stops: stops}}, nil
}

func (d drying) After(id string, what session.Kind) error {
	*d.said = append(*d.said, id+" "+string(what))
	return nil
}

// What waits to be judged is judged in a row by one key each; the keys that are
// pressed without looking judge nothing, and what one key cannot say is typed.
func TestSheetsAreJudgedInARow(t *testing.T) {
	for keys, want := range map[string]string{"2 n": "x -0.5", "n 1": "y 0", "space enter 9 esc": "", "1 1": "x 0,y 0", "y r i g h t enter 3": "x 0,y 0.5"} {
		var said []string
		w, m := newWorld(t, func(c *Config) { c.Start, c.Book = Notebook, drying{said: &said} })
		m.goTo(Notebook)
		m.keys(t, "t")
		if got := plain(m); !strings.Contains(got, "tea-caddy, overcast") || !strings.Contains(got, "2 1/2 too dark") {
			t.Fatalf("it does not ask:\n%s", got)
		}
		for k := range strings.FieldsSeq(keys) {
			w.pass(2 * time.Second)
			m.keys(t, k)
		}
		if got := strings.Join(said, ","); got != want || m.ask != nil {
			t.Errorf("%s: kept %q, not %q; %q", keys, got, want, m.said)
		}
	}
}

// One key says that a sheet is dry, and the same key then that it is flat.
func TestAKeySaysDryAndThenFlat(t *testing.T) {
	var said []string
	w, m := newWorld(t, func(c *Config) { c.Start, c.Book = Notebook, drying{said: &said} })
	m.goTo(Notebook)
	for range 3 {
		w.pass(2 * time.Second)
		m.keys(t, "d")
	}
	if len(said) != 2 || !strings.HasSuffix(said[0], " dried") || !strings.HasSuffix(said[1], " flattened") || !strings.Contains(m.said, "dry and flat already") {
		t.Errorf("%q, then %q", said, m.said)
	}
}

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
		if got := strings.Join(strings.Fields(plain(m)), " "); m.ask == nil || !strings.Contains(got, "next time 1 stop more: this one was too thin. Is that what you mean?") {
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

// fullShelf is a notebook of forty sheets of a season.
type fullShelf struct{ shelf }

func (fullShelf) List(filter string, _ int) (rows []BookRow, err error) {
	names := []string{"signal arm", "lever frame", "platform", "kettle", "stairs"}
	said := []string{"1/2 more, sky is grey", "right", "", "1/3 less", ""}
	for i := range 40 {
		r := BookRow{ID: fmt.Sprint("s", i), Num: 1 + (39-i)%5, Name: names[i%5], Maker: []string{"Ash", "Birch"}[i%2], Paper: "direct-positive-fb", Camera: []string{"tea-caddy", "hat-box"}[i%2],
			At: time.Date(2026, 5, 9-i/5, 14, 50-10*(i%5), 0, 0, time.UTC), Exposure: time.Duration(200+31*i) * time.Second, Outcome: "done", Judged: said[i%5]}
		if i%11 == 3 {
			r.Outcome, r.Judged = "spoiled", ""
		}
		if strings.Contains(r.Name, filter) {
			rows = append(rows, r)
		}
	}
	return rows, nil
}

func (s fullShelf) Show(id string) (BookSheet, error) {
	rows, _ := s.List("", 0)
	const sec, min = time.Second, time.Minute
	for _, r := range rows {
		if r.ID != id {
			continue
		}
		r.Judged = "next time 1/2 stop more: this one was too dark; seen: sky is grey"
		p := &exposure.Plot{Camera: "tea-caddy", YLow: -1, YHigh: 2}
		for i := range 61 {
			x := math.Log2(10) + float64(i)*(math.Log2(3600)-math.Log2(10))/60
			p.Line = append(p.Line, exposure.Band{X: x, Y: 0.1 + 0.6*float64(i)/60})
		}
		for i, y := range []float64{0.5, 0, 0.67, 1.2, 0.3, 0.5} {
			p.Points = append(p.Points, exposure.Point{X: math.Log2(60 * float64(2+3*i)), Y: y, Camera: []string{"tea-caddy", "hat-box"}[i%2]})
		}
		for _, s := range []float64{10, 30, 60, 120, 300, 600, 1800, 3600} {
			p.Ticks = append(p.Ticks, exposure.Tick{X: math.Log2(s), Label: words.Long(s)})
		}
		return BookSheet{BookRow: r, Bars: []Bar{{"expose", 260 * sec, 260 * sec, 262 * sec, false, false}, {"develop", 90 * sec, 180 * sec, 131 * sec, false, false}, {"stop", 10 * sec, 10 * sec, 12 * sec, false, false},
			{"fix", min, min, 74 * sec, false, false}, {"wash", 30 * min, 30 * min, 30*min + sec, false, false}}, Taught: p,
			Lines: []string{"Direct-positive FB paper, tea-caddy, three-trays, 20 C", "light overcast; covered 1 time", "image seen after 0:32", "under the safelight 2:10 of 6:00 (untested default)", "note 14:12: a train went by"}}, nil
	}
	return BookSheet{}, errors.New("no such sheet")
}

// The table scrolls under the chosen line, says where one is and what is left out,
// and a number picks the newest sheet of that number.
func TestTheNotebooksTable(t *testing.T) {
	w, m := newWorld(t, func(c *Config) { c.Start, c.Book = Notebook, fullShelf{} })
	m.goTo(Notebook)
	for range 30 {
		m.keys(t, "down")
	}
	if got := plain(m); !strings.Contains(got, "31 of 40") || !strings.Contains(got, "> 05-03 14:50") {
		t.Errorf("thirty down:\n%s", got)
	}
	m.keys(t, "3")
	if got := plain(m); !strings.Contains(got, "> 05-09 14:30  3  platform") || !strings.Contains(m.said, "sheet 3 of 2026-05-09 platform") {
		t.Errorf("3 says %q:\n%s", m.said, got)
	}
	m.keys(t, "9")
	if !strings.Contains(m.said, "there is no sheet 9") {
		t.Errorf("9 says %q", m.said)
	}
	w.pass(2 * time.Second)
	m.keys(t, "/")
	m.typed(t, "kettle")
	if got := plain(m); !strings.Contains(got, "of 8") || strings.Contains(got, "platform") {
		t.Errorf("only the kettles:\n%s", got)
	}
}

// A sheet's page has what was planned of each stage above what was done, in cells of
// the same scale; where it does not fit it scrolls.
func TestASheetsPage(t *testing.T) {
	rows := lanes([]Bar{{"develop", 90 * time.Second, 180 * time.Second, 90 * time.Second, false, false}, {"fix", time.Minute, time.Minute, 2 * time.Minute, false, false}, {"stop", time.Minute, time.Minute, time.Minute, true, false}, {"wash", time.Minute, time.Minute, 0, false, true}}, 0, 80)
	text := func(row, i int) string { return rows[row].parts[i].text }
	if p, d := utf8.RuneCountInString(text(2, 0)), utf8.RuneCountInString(text(3, 0)); p != 2*d || !strings.Contains(text(2, 0), "┼") {
		t.Errorf("half of what was planned at most: %q above %q", text(2, 0), text(3, 0))
	}
	if p, d := utf8.RuneCountInString(text(2, 1)), utf8.RuneCountInString(text(3, 1)); d != 2*p || rows[3].parts[1].role != ember.Strong {
		t.Errorf("twice as long as planned: %q above %q", text(2, 1), text(3, 1))
	}
	if text(3, 2) != text(2, 2) || text(4, 2) != "1:00 led" || strings.Contains(text(3, 0)+text(4, 0), "led") {
		t.Errorf("a stage that was led: %q, %q", text(3, 2), text(4, 2))
	}
	if text(4, 3) != "not seen" || rows[4].parts[3].role == ember.Strong || len(rows[3].parts) != 3 {
		t.Errorf("a stage that nobody saw: %+v", rows[3:5])
	}
	_, m := newWorld(t, func(c *Config) { c.Start, c.Book = Notebook, fullShelf{} })
	m.goTo(Notebook)
	m.keys(t, "enter")
	m.Update(tea.WindowSizeMsg{Width: 80, Height: 16})
	if got := plain(m); !strings.Contains(got, "this one was too dark") || !strings.Contains(got, "more below") || strings.Contains(got, "taught") {
		t.Errorf("its begin:\n%s", got)
	}
	for range 40 {
		m.keys(t, "down")
	}
	if got := plain(m); !strings.Contains(got, "30 min") || strings.Contains(got, "more below") {
		t.Errorf("its end:\n%s", got)
	}
}
