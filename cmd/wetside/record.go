package main

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
	"wetside/tui"
)

// newID makes the ids of events and of sittings. They begin with the time (RFC
// 9562, version 7), so that new ones lie side by side in the notebook's index;
// with random ones each event would write to another page of it.
func newID() string { return uuid.Must(uuid.NewV7()).String() }

// pages is the notebook as the screen reads it.
type pages struct {
	book *notebook.Book
	now  func() session.Instant
	plan *profiles.Planner // reads the judged sheets anew after a judgement
}

func (p pages) List(filter string, limit int) ([]tui.BookRow, error) {
	wanted := strings.Fields(strings.ToLower(filter))
	f := notebook.Filter{Limit: limit}
	var out []tui.BookRow
	for {
		rows, err := p.book.Sheets(f)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			b := bookRow(r)
			text := strings.ToLower(strings.Join([]string{b.Paper, b.Camera, b.Maker, b.Name, r.Day, b.Outcome}, " "))
			if !slices.ContainsFunc(wanted, func(w string) bool { return !strings.Contains(text, w) }) {
				out = append(out, b)
			}
			if len(out) == limit {
				return out, nil
			}
		}
		if len(rows) < limit {
			return out, nil
		}
		f.After = rows[len(rows)-1].Cursor() // what is asked for may be older
	}
}

func bookRow(r notebook.Row) tui.BookRow {
	b := tui.BookRow{ID: r.ID, Num: r.Num, Name: r.Name, Maker: r.Maker, Paper: r.Paper, Camera: r.Camera, At: r.Begun, Outcome: outcome(r.Rehearsal, r.State)}
	if r.Exposure != nil {
		b.Exposure = r.Exposure[1]
	}
	if r.Stops != nil {
		b.Judged = verdict(*r.Stops, r.Seen)
	}
	return b
}

func outcome(rehearsal bool, state string) string {
	switch {
	case rehearsal:
		return "rehearsal"
	case state == string(session.Ruined):
		return "spoiled"
	}
	return "done"
}

func (p pages) Show(id string) (tui.BookSheet, error) {
	r, err := p.book.Sheet(id)
	if err != nil {
		return tui.BookSheet{}, err
	}
	s := tui.BookSheet{BookRow: tui.BookRow{ID: r.ID, Num: r.Num, Name: r.Name, Maker: r.Maker, Paper: r.Paper.Key, Camera: r.Camera,
		At: r.Begun, Outcome: outcome(r.Rehearsal, r.State), Response: session.Response(r.Paper.Response)}, Dry: !r.Dry.IsZero(), Flat: !r.Flat.IsZero()}
	if j, ok := r.Judged(); ok {
		s.Judged = judgement(&r, j)
	}
	if e := r.Exposure; e != nil {
		s.Exposure = e.Actual.D()
		s.Bars = append(s.Bars, tui.Bar{Label: "expose", AtLeast: e.Planned.D(), AtMost: e.Planned.D(), Actual: e.Actual.D(), Unseen: e.Unseen})
	}
	for _, st := range r.Stages {
		s.Bars = append(s.Bars, tui.Bar{Label: cmp.Or(st.Label, st.Stage), AtLeast: st.AtLeast.D(), AtMost: st.AtMost.D(), Actual: st.Actual.D(), Led: st.Led, Unseen: st.Unseen})
	}
	s.Lines = sheetLines(&r, s.Outcome == "done")
	if m, err := p.plan.Model(); err == nil && r.Camera != "" {
		if plot, err := m.Scatter(p.plan.Subject(r.Camera, r.Paper.Key, exposure.Light{}), 60); err == nil {
			s.Taught = &plot
		}
	}
	return s, nil
}

// sheetLines are what a sheet's page says beside its bars.
func sheetLines(r *notebook.Record, done bool) (lines []string) {
	line := func(format string, a ...any) { lines = append(lines, fmt.Sprintf(format, a...)) }
	line("%s, %s, %s%s", r.Paper.Name, cmp.Or(r.Camera, "no camera"), r.Process, celsius(r.Celsius))
	if what := r.Afterwards(); what != "" {
		line("%s: written afterwards", what)
	}
	if e := r.Exposure; e != nil {
		lines = append(lines, exposureLines(e, cmp.Or(r.Light, "not said"))...)
	}
	if r.Emerged > 0 {
		line("image seen after %s", words.Finished(r.Emerged.D()))
	}
	tested := "no fog test yet"
	if r.SafeTest {
		tested = "tested"
	}
	line("under the safelight %s of %s (%s)", words.Finished(r.Safelight.D()), words.Finished(r.SafeFor.D()), tested)
	if r.ScreenFor > 0 {
		line("in the light of the screen %s of %s (reckoned from its black)", words.Finished(r.Screen.D()), words.Finished(r.ScreenFor.D()))
	}
	for _, c := range r.Corrected {
		line("%s corrected on %s; it was %s", c.What, c.At.Format(time.DateOnly), cmp.Or(c.Was, "not said"))
	}
	if len(r.Undone) > 0 {
		line("%s taken back", words.Count(len(r.Undone), "deed"))
	}
	for _, n := range r.Notes {
		line("note %s: %s", n.At.Format("15:04"), n.Text)
	}
	for _, m := range r.Marks {
		line("mark %d: %s", m.N, m.Text)
	}
	if text := driedAt(r); text != "" {
		line("%s", text)
	}
	if done {
		line("for its back: %s", r.Pencil())
	}
	if r.Spoiled != "" {
		line("spoiled: %s", r.Spoiled)
	}
	return lines
}

func celsius(c float64) string {
	if c == 0 {
		return ""
	}
	return ", " + words.Decimals(c, 1) + " C"
}

func readingLine(g notebook.ReadingRecord) string { return g.At.Format("15:04:05") + " " + g.Words() }

func exposureLines(e *notebook.ExposureRecord, light string) []string {
	text := "light " + light
	if share := words.Percent(e.Share); share != "100%" {
		text += "; " + share + " of the exposure given"
	}
	if n := len(e.Covered); n > 0 {
		text += "; covered " + words.Count(n, "time")
	}
	return append([]string{text}, words.Each(e.Readings, readingLine)...)
}

func (p pages) Read(id, text string) ([]tui.Judgement, error) {
	r, err := p.book.Sheet(id)
	if err != nil {
		return nil, err
	}
	j, err := desk.Judge(plainMinus(text), &r, p.plan.Judged(), p.plan.Set.Today)
	var either *desk.EitherWay
	if errors.As(err, &either) {
		both := words.Each([]notebook.JudgementRecord{either.More, either.Less}, func(j notebook.JudgementRecord) tui.Judgement {
			return tui.Judgement{Stops: j.Stops, Seen: j.Seen, Says: judgement(&r, notebook.JudgementRecord{Stops: j.Stops})}
		})
		return both, nil
	}
	if err != nil {
		return nil, err
	}
	return []tui.Judgement{{Stops: j.Stops, Seen: j.Seen, Left: j.LeftOut(), Says: judgement(&r, j)}}, nil
}

func (p pages) Judge(id string, stops float64, seen string) error {
	err := p.book.Judge(id, p.now(), stops, seen)
	if err == nil {
		p.plan.Forget()
	}
	return err
}

func (p pages) Waiting() (rows []tui.BookRow, lines []string, err error) {
	a, err := desk.AfterWash(p.book, p.now().Wall)
	for _, r := range a.Judge {
		rows = append(rows, tui.BookRow{ID: r.ID, Num: r.Num, Name: r.Name, Outcome: "done"})
		lines = append(lines, r.Pencil())
	}
	return rows, lines, err
}

func (p pages) After(id string, what session.Kind) error {
	return p.book.Amend(id, session.Event{Kind: what, At: p.now()})
}

func (p pages) Correct(id, text string) error {
	what, is, _ := strings.Cut(strings.TrimSpace(text), " ")
	err := p.book.Correct(id, p.now(), func(spec *session.SheetSpec) error {
		return p.plan.Correct(spec, strings.ToLower(what), strings.TrimSpace(is))
	})
	if err == nil {
		p.plan.Forget()
	}
	return err
}

func (p pages) Next(id string) (t time.Duration, teaches bool) {
	r, err := p.book.Sheet(id)
	if err != nil {
		return 0, false
	}
	p.plan.Forget()
	_, teaches = desk.Evidence(&r, p.plan.Set.Today)
	seconds, _ := nextTime(p.plan, &r)
	return time.Duration(seconds * float64(time.Second)), teaches
}

// choices are the profiles of a kind, for the bench.
func choices(set *profiles.Set, kind profiles.Kind) []tui.Choice {
	return words.Each(set.Sources(kind), func(x profiles.Source) tui.Choice { return tui.Choice{Key: x.Key, Name: x.Name} })
}
