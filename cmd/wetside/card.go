package main

import (
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/words"
)

// CardCmd makes the card that goes to the field without a laptop, and takes in what was
// pencilled on it.
type CardCmd struct {
	Camera  string `arg:"" help:"The camera."`
	Paper   string `help:"The paper." default:"direct-positive-fb" placeholder:"KEY"`
	Process string `help:"With --enter: how the sheets are to be developed." default:"three-trays" placeholder:"KEY"`
	Text    bool   `help:"Plain text."`
	Enter   bool   `help:"Ask for the blanks of a card that was filled in, and write them down."`
	Day     string `help:"With --enter: the day on the card: yesterday, 2026-05-03; today, if not said." placeholder:"DAY"`
	Output  string `short:"o" help:"File to write; without it, or with -, standard output." placeholder:"FILE" type:"path"`
}

// Help shows how it is used.
func (CardCmd) Help() string {
	return `Examples:

  wetside card tea-caddy -o card.html
  wetside card tea-caddy --text
  wetside card tea-caddy --enter --day yesterday

The page has four cards, on A4 or Letter, black on white: light against time, with what
judged sheets have taught in it, and blanks for a pencil. --enter asks for the blanks in
their order, sheet after sheet, and writes each down as an exposure timed by a watch.`
}

// The blanks of a card, in the order in which they are filled in.
var cardBlanks = []string{"sheet", "light", "opened", "closed", "covered", "remark"}

// A card is what stands on one.
type card struct {
	Camera, Paper, FNumber, Date, Learned string
	Rows                                  []cardRow
	Blanks                                []string
	Copies, Lines                         []struct{}
}

type cardRow struct{ Light, Time, Bracket string }

//go:embed card.html
var cardPage string

var cardTemplate = template.Must(template.New("card").Parse(cardPage))

// Run prints the card, or takes one in.
func (c *CardCmd) Run(h *host) error {
	if c.Enter {
		return c.enter(h)
	}
	if c.Day != "" {
		return usage("--day goes with --enter")
	}
	plan, done, err := h.reckoner()
	if err != nil {
		return err
	}
	defer done()
	x, err := c.card(h, plan)
	if err != nil {
		return err
	}
	write := func(w io.Writer) error { return cardTemplate.Execute(w, x) }
	if c.Text {
		write = x.text
	}
	return h.output(c.Output, write, c.Output)
}

func (c *CardCmd) card(h *host, plan *profiles.Planner) (card, error) {
	cam, err := plan.Set.Camera(c.Camera)
	if err != nil {
		return card{}, usageError{err}
	}
	paper, err := plan.Set.Paper(c.Paper)
	if err != nil {
		return card{}, usageError{err}
	}
	x := card{Camera: cam.Name, Paper: paper.Name, FNumber: profiles.FNumberWord(cam.FNumber()), Date: h.now().Format(time.DateOnly),
		Learned: "No judged sheet is in it.", Blanks: cardBlanks, Copies: make([]struct{}, 4), Lines: make([]struct{}, 5)}
	for _, sky := range exposure.Skies {
		light, err := exposure.ParseLight(sky.Words)
		if err != nil {
			return card{}, err
		}
		ask, _, _, _ := plan.Set.Today(c.Camera, c.Paper)
		ask.Light = light
		r, learned, err := plan.Reckon(ask, c.Camera, c.Paper)
		if err != nil {
			return card{}, usageError{err}
		}
		if learned != nil {
			x.Learned = "With what " + words.Count(learned.N, "judged sheet") + " taught."
		}
		x.Rows = append(x.Rows, cardRow{sky.Words, byWatch(r.Rounded), byWatch(r.Bracket[0].Rounded) + " to " + byWatch(r.Bracket[len(r.Bracket)-1].Rounded)})
	}
	return x, nil
}

// byWatch is a time as a watch can keep it.
func byWatch(seconds float64) string {
	if seconds < 1 {
		return "under 1 s"
	}
	if seconds >= 5 {
		seconds = math.Round(seconds) // a watch has no tenths; of 5 s half a second is 1/7 stop
	}
	return words.Long(seconds)
}

// text is the card for a terminal or a printer of text.
func (x card) text(w io.Writer) error {
	head := fmt.Sprintf("%s\n%s, %s, %s. %s\n\n", x.Camera, x.Paper, x.FNumber, x.Date, x.Learned)
	rows := append([][]string{{"light", "open for", "bracket"}}, words.Each(x.Rows, func(r cardRow) []string { return []string{r.Light, r.Time, r.Bracket} })...)
	body := strings.Join(columns(rows), "\n") + "\n\n"
	line := words.Each(x.Blanks, func(b string) string { return fmt.Sprintf("%-11s", b) })
	blank := strings.TrimRight(strings.Repeat("_________  ", len(x.Blanks)), " ") + "\n"
	_, err := io.WriteString(w, head+body+strings.TrimRight(strings.Join(line, ""), " ")+"\n\n"+strings.Repeat(blank+"\n", len(x.Lines)))
	return err
}

// enter asks for the blanks of each sheet, until no sheet is named.
func (c *CardCmd) enter(h *host) error {
	day := h.now()
	if c.Day != "" {
		d, ok := profiles.Day(c.Day, day)
		if !ok {
			return usage("%q is no day: write 2026-05-03, today or yesterday", c.Day)
		}
		day = d.Add(24*time.Hour - time.Second)
	}
	b, err := h.book()
	if err != nil {
		return err
	}
	defer b.Close()
	plan := h.planner(b)
	if _, err := plan.Set.Camera(c.Camera); err != nil {
		return usageError{err}
	}
	a := h.asker()
	var s *desk.Sitting
	last := "" // the sheet of the line before
	for {
		m, _, err := liveOf(b, false)
		if err != nil {
			return err
		}
		e, err := c.line(h, a, plan, day, m, last)
		if err != nil || e == nil {
			return err
		}
		if s == nil { // nothing is begun before there is something to write
			if s, err = h.join(b, false); err != nil {
				return err
			}
			defer s.Release()
		}
		if err := h.tell(s, e.events); err != nil {
			return err
		}
		last = e.id
		h.say("sheet %d written down: %s, open %s from %s; it waits for the trays", s.M.Sheet(e.id).Num, e.name, words.Finished(e.open), e.from.Format("2006-01-02 15:04"))
	}
}

// An entry is a line of a card, as it is written down.
type entry struct {
	id, name string
	open     time.Duration
	from     time.Time
	events   []session.Event
}

// A written is a line of a card, as it stands there.
type written struct {
	name, light, note string
	from, to          time.Time
	covered           time.Duration
}

// read asks for one line of a card; false: there is none any more.
func (c *CardCmd) read(a *asker, now, day time.Time) (x written, more bool, err error) {
	const end, none = "no more", "none"
	var opened, closed, covered string
	free := func(string) error { return nil }
	at := func(to *time.Time, after time.Time) func(string) error {
		return func(s string) (err error) {
			*to, err = timeOnCard(s, day, after, now)
			return err
		}
	}
	for _, q := range []struct {
		into              *string
		what, like, given string
		check             func(string) error
	}{
		{&x.name, "sheet", "its name; enter alone: no more", end, free},
		{&x.light, "light", "overcast, or f/16 1/125", "", func(s string) error { _, err := exposure.ParseLight(plainMinus(s)); return err }},
		{&opened, "opened", "14:10", "", at(&x.from, time.Time{})},
		{&closed, "closed", "14:15", "", func(s string) error {
			err := at(&x.to, x.from)(s)
			if err == nil && !x.to.After(x.from) {
				err = errors.New("it was open for some time: write when it was closed")
			}
			return err
		}},
		{&covered, "covered", "how long meanwhile: 30s; enter alone: not", none, func(s string) (err error) {
			if s == none {
				return nil
			}
			if x.covered, err = profiles.ParseDuration(s); err == nil && x.covered >= x.to.Sub(x.from) {
				err = errors.New("it cannot have been covered all the time")
			}
			return err
		}},
		{&x.note, "remark", "enter alone: none", none, free},
	} {
		if err := a.ask(q.into, q.what, q.like, q.given, q.check); err != nil || x.name == end {
			return x, false, err
		}
	}
	if x.note == none {
		x.note = ""
	}
	return x, true, nil
}

// timeOnCard reads a time of a day, or of the night behind it.
func timeOnCard(s string, day, after, now time.Time) (time.Time, error) {
	t, _, rest, err := profiles.When(s, day)
	switch {
	case err != nil:
		return t, err
	case rest != "":
		return t, fmt.Errorf("%q after the time is not clear: write 14:10", rest)
	case !after.IsZero() && t.Before(after):
		t = t.AddDate(0, 0, 1) // past midnight
	}
	if t.After(now) {
		return t, fmt.Errorf("%s has not come yet: was it another day? --day says which", t.Format("2006-01-02 15:04"))
	}
	return t, nil
}

// line asks for one line of a card, and makes of it what is written down; nil: there
// is none any more.
func (c *CardCmd) line(h *host, a *asker, plan *profiles.Planner, day time.Time, m *session.Machine, last string) (*entry, error) {
	x, more, err := c.read(a, h.now(), day)
	if err != nil || !more {
		return nil, err
	}
	e := &entry{id: uuid.NewString(), name: x.name, open: x.to.Sub(x.from) - x.covered, from: x.from}
	text := plainMinus(x.light) + " " + words.Units(e.open)
	form := profiles.Form{Paper: c.Paper, Process: c.Process, Camera: c.Camera, Name: x.name, Light: text}
	// What lies in the camera is what was exposed; a second line of the card is of a
	// second sheet, so the first was taken out.
	held := m.Holds(c.Camera)
	if held != nil && held.ID == last {
		e.events, held = []session.Event{{Kind: session.Unloaded, Sheet: last}}, nil
	} else if _, err := takeHeld(m, c.Camera); err != nil {
		return nil, err
	}
	if held != nil {
		e.id, form = held.ID, profiles.Refit(held.Spec, text)
	}
	made, err := plan.Plan(form)
	if err != nil {
		return nil, usageError{err}
	}
	if held != nil {
		made.Spec = profiles.Respec(held.Spec, text, made)
		made.Spec.Name = x.name
	}
	e.events = append(e.events, desk.ExposedBefore(e.id, made.Spec, held != nil, e.open, session.Told{From: x.from, To: x.to}, x.note)...)
	return e, nil
}
