package tui

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/session"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/tui/ember"
)

// lead is how long hands have from the key to the card: as long as a move of a
// sheet takes them, and ten seconds at least (common practice, no source). They
// are counted down aloud, and the strip's time begins at their end.
func (m *Model) lead() time.Duration { return max(10*time.Second, m.desk.Move) }

// fogTest guides a strip test of safelight and screen together, with the user's
// own paper: a strip is uncovered step by step under the light it will see, and
// the longest time without a visible step is what the paper may have. It has two
// halves, a strip for each: light before the exposure and after it. The
// method is that of ISO 8374 (determination of ISO safelight conditions) as the
// trade practises it; the steps 0, 1, 2, 4, 8, 16 min are common practice, no
// source.
type fogTest struct {
	paper      Choice
	preexposed bool
	on         bool
	began      session.Instant // hands' time; the card may be yet to be reached
	count      int             // seconds to it that were called last
	step       int
	// waits: the strip has had its light and is to be developed, on the trays'
	// own clocks; then its answer is given.
	waits     bool
	level     session.Level // of the light it lay in
	backlight *float64
	at        time.Time
}

// FogSteps are the times, from the start, of a strip that is covered bit by
// bit: each stretch of the strip has had the light for so long.
var FogSteps = []time.Duration{0, time.Minute, 2 * time.Minute, 4 * time.Minute, 8 * time.Minute, 16 * time.Minute}

// kept says what a fog test gives, and what is missing of it.
func kept(r session.FogTest, missing string) string {
	day := r.At.Format("2006-01-02")
	text := fmt.Sprintf("kept: %s of %s, tested %s", words.Finished(r.Safe), r.Half(), day)
	if r.Safe == 0 {
		text = fmt.Sprintf("kept: already the first step shows with %s, so no time under this light is safe (tested %s); change the lamp or the screen, and test again", r.Half(), day)
	}
	if missing != "" {
		text += "; now the other half, " + missing + ": the shorter counts"
	}
	return text
}

// grey is what the strip's exposure develops to, just past its threshold: a paper
// that gets denser shows a first grey, one that gets lighter a first loss of black.
func grey(r session.Response) string {
	if r == session.Lighter {
		return "a black that is barely lighter"
	}
	return "a faint grey"
}

// said names the test's paper, or its number among the bench's papers.
func (f *fogTest) said(m *Model) say.Line {
	nth := slices.IndexFunc(m.form.fields[fPaper].choices, func(c Choice) bool { return c.Key == f.paper.Key })
	return say.FieldNamed.Of(say.Field(m.form.fields[fPaper].label), say.Name{Text: f.paper.Name, Nth: nth + 1})
}

// exposure says how a strip of the paper gets its exposure.
func (f *fogTest) exposure(m *Model) string {
	is := m.cfg.FogStrip(f.paper.Key)
	if is.Flash <= 0 {
		return "a flash just past the longest that leaves no tone (wetside preflash strip finds it), which develops to " + grey(is.Response)
	}
	return fmt.Sprintf("a flash of %s, %s, which develops to %s", words.Finished(is.Flash.Round(time.Second/10)), is.Lamp, grey(is.Response))
}

func (f *fogTest) running() bool { return f.on }

// resume takes up a strip of an earlier run, and says that there is one.
func (f *fogTest) resume(m *Model, r session.FogTest) string {
	f.paper = Choice{Key: r.Paper, Name: r.Paper}
	for _, c := range m.cfg.Papers {
		if c.Key == r.Paper {
			f.paper = c
		}
	}
	f.preexposed, f.level, f.backlight, f.at, f.waits = r.PreExposed, r.Level, r.Backlight, r.At, true
	return f.waiting()
}

func (f *fogTest) waiting() string {
	return "the fog test of " + f.paper.Name + " of " + f.at.Format("2006-01-02 15:04") + " waits for its answer: f in the room"
}

// answered forgets the strip.
func (f *fogTest) answered(m *Model) {
	f.waits = false
	m.settle(f.waiting())
	_ = m.cfg.KeepStrip(nil) // else it is asked about once more, at the next start
}

func (f *fogTest) ask(m *Model) {
	if f.waits {
		f.answer(m)
		return
	}
	f.paper = m.form.fields[fPaper].choices[m.form.fields[fPaper].chosen]
	missing := m.cfg.FogStrip(f.paper.Key).Missing
	text := "Fog test of " + f.paper.Name + " (choose another on the bench). It has two halves, a strip for each: light after the exposure, as in the developer, and before it, as in the camera. "
	if missing != "" {
		text += "Missing is " + missing + ". "
	}
	m.put(&question{lines: saying(f.said(m), say.AskPreexposed.Of()), text: text + "Was this strip flashed beforehand: " + f.exposure(m) + "?",
		yesIs: "yes: light after it", noIs: "no: light before it",
		yes:   func() tea.Cmd { f.preexposed = true; return f.begin(m) },
		no:    func() tea.Cmd { f.preexposed = false; return f.begin(m) },
		leave: func() tea.Cmd { return m.tell(say.FogNone.Of()) }})
}

func (f *fogTest) begin(m *Model) tea.Cmd {
	f.on, f.step, f.count, f.backlight = true, 0, 4, nil
	f.began = m.desk.Hand().Add(m.lead())
	m.light() // the light that paper lies in
	f.level = session.Level(m.styles.Level.String())
	m.desk.Say(say.FogLead.Of(say.Left(m.lead())))
	return nil
}

func (f *fogTest) tick(m *Model) {
	if !f.on {
		return
	}
	if ahead := f.began.Sub(m.desk.Hand()); f.count > 0 && ahead <= time.Duration(f.count-1)*time.Second {
		// Those that a busy machine has missed are not called late.
		f.count = max(0, int((ahead+time.Second-1)/time.Second))
		if f.count == 0 {
			m.desk.Say(say.FogNow.Of())
		} else {
			m.desk.Say(say.Count.Of(say.Number(f.count)))
		}
	}
	for f.step+1 < len(FogSteps) && m.desk.Hand().Sub(f.began) >= FogSteps[f.step+1] {
		f.step++
		if f.step == len(FogSteps)-1 {
			f.end(m)
			return
		}
		m.desk.Say(say.FogMove.Of(say.Left(FogSteps[f.step])))
	}
}

func (f *fogTest) end(m *Model) {
	f.on, f.waits, f.at = false, true, m.desk.Now().Wall
	if m.cfg.Backlight != nil {
		if share, known := m.cfg.Backlight(); known {
			f.backlight = &share
		}
	}
	m.said = "cover the strip and develop it; then press f here and give the answer"
	line := say.FogEnd.Of()
	if !f.preexposed {
		m.said = "cover the strip; expose it: " + f.exposure(m) + "; develop it; then press f here and give the answer"
		line = say.FogFlash.Of()
	}
	m.desk.Say(line)
	if err := m.cfg.KeepStrip(f.result(0)); err != nil {
		m.said += "; answer before the program ends: " + ember.SafeText(err.Error())
	}
}

func (f *fogTest) result(safe time.Duration) *session.FogTest {
	return &session.FogTest{Paper: f.paper.Key, PreExposed: f.preexposed, Safe: safe, Level: f.level, Backlight: f.backlight, At: f.at}
}

// answer asks what the developed strip shows, and keeps it.
func (f *fogTest) answer(m *Model) {
	text := "Fog test of " + f.paper.Name + ", " + f.result(0).Half() + ". Which is the longest step that looks like the covered one: 1, 2, 4, 8 or 16 minutes? 0 if even the first shows; - throws the test away; esc answers later"
	m.askUntil("", say.AskFog.Of(), func(text string) (tea.Cmd, error) {
		if text == "-" {
			f.answered(m)
			return m.tell(say.FogThrown.Of()), nil
		}
		for _, s := range FogSteps {
			if text == fmt.Sprint(int(s/time.Minute)) {
				r := *f.result(s)
				if m.cfg.KeepFogTest == nil {
					return m.tell(say.NotKept.Of()), nil
				}
				if err := m.cfg.KeepFogTest(r); err != nil {
					return nil, err
				}
				f.answered(m)
				line := say.FogSafe.Of(say.Left(r.Safe))
				if r.Safe == 0 {
					line = say.FogUnsafe.Of()
				}
				lines, missing := []say.Line{line}, m.cfg.FogStrip(f.paper.Key).Missing
				if missing != "" {
					lines = append(lines, say.FogOther.Of())
				}
				return m.answer(kept(r, missing), lines...), nil
			}
		}
		return nil, errors.New("answer with 0, 1, 2, 4, 8 or 16")
	})
	m.ask.text, m.ask.lines = text, saying(f.said(m), say.AskFog.Of())
	m.sayAsk()
}

func (f *fogTest) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if k.String() == "esc" {
		f.on = false
		return m.answer("the fog test is cancelled: the strip is spent", say.FogBroken.Of())
	}
	if key.Matches(k, keys.Where) {
		past := m.desk.Hand().Sub(f.began)
		if past < 0 {
			m.desk.Say(say.FogLead.Of(say.Left(-past)))
			return nil
		}
		m.desk.Say(say.FogSoFar.Of(say.Left(past)))
	}
	return nil
}

// view has the light of the trays' screen at its fullest: the strip lies in what
// paper will lie in.
func (f *fogTest) view(m *Model, h int) string {
	past := m.desk.Hand().Sub(f.began)
	next := FogSteps[min(f.step+1, len(FogSteps)-1)]
	fc := face{title: "fog test", about: []string{ember.SafeText(f.paper.Name), f.result(0).Half()}, clock: words.Countdown(next - past),
		also:  []string{fmt.Sprintf("%s so far; next step at %s", words.CountUp(past), words.Finished(next)), "at each call cover one more step with the card", "esc cancels it"},
		notes: []note{{"of the strip's time", float64(max(0, past)) / float64(FogSteps[len(FogSteps)-1])}},
		more:  "The strip lies where paper lies while you work, in the light it will see: safelight and this screen."}
	if past < 0 {
		fc.clock = words.Countdown(-past)
		fc.also = []string{"then uncover the strip, all but its first step: you are called", "esc cancels it"}
	}
	return m.drawFace(fc, m.width, h).render(m.styles)
}
