package main

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/desk"
	"wetside/session/notebook"
	"wetside/session/words"
)

// ExposedCmd writes down an exposure that was timed by a watch.
type ExposedCmd struct {
	Camera  string   `arg:"" help:"The camera, or the number of a sheet that waits for its exposure." complete:"camera"`
	Words   []string `arg:"" name:"light" help:"The light, and how long the pinhole was open: overcast 5m. The time alone is enough, and teaches nothing."`
	At      string   `help:"When the pinhole was opened: 14:10, or 2:10 pm." placeholder:"TIME"`
	Day     string   `help:"The day, where it was not today: yesterday, 2026-05-03." placeholder:"DAY"`
	Name    string   `help:"What the sheet is called." placeholder:"WORDS"`
	Maker   string   `help:"Whose it is." placeholder:"NAME"`
	Paper   string   `help:"The paper." default:"direct-positive-fb" placeholder:"KEY"`
	Process string   `help:"How it is to be developed." default:"three-trays" placeholder:"KEY"`
	With    string   `help:"What else there was: filter 1, pre-flash 1/2, warm light 1/3; test, for a sheet in strips." placeholder:"WORDS"`
	Note    string   `help:"A remark." placeholder:"WORDS"`
}

// Help shows how it is used.
func (ExposedCmd) Help() string {
	return `Examples:

  wetside exposed tea-caddy overcast 5m --at 14:10
  wetside exposed tea-caddy overcast 5m --at 14:10 --day yesterday --name "signal arm"
  wetside exposed 2 f/16 1/125 4m30s --at "2:10 pm"

The sheet is marked as written afterwards. It waits for the trays like any other, and
teaches like any other when it is judged; it is in no statistics of times.`
}

// Run writes it down.
func (c *ExposedCmd) Run(h *host) error {
	text := plainMinus(strings.Join(c.Words, " "))
	from, err := h.toldAt(c.At, c.Day)
	if err != nil {
		return err
	}
	if from.IsZero() {
		return usage("say when the pinhole was opened: --at 14:10, and --day yesterday where it was not today")
	}
	b, err := h.book()
	if err != nil {
		return err
	}
	defer b.Close()
	plan := h.planner(b)
	num, err := strconv.Atoi(c.Camera)
	waits := err == nil // a sheet, by its number
	made, err := c.reckon(plan, text, waits)
	if err != nil {
		return usageError{err}
	}
	var sh *session.Sheet
	if !waits { // what lies in the camera is what was exposed
		m, _, err := liveOf(b, false)
		if err == nil {
			sh, err = takeHeld(m, c.Camera)
		}
		if err != nil {
			return err
		}
	}
	s, err := h.join(b, waits)
	if err != nil {
		return err
	}
	defer s.Release()
	if waits {
		if sh, err = waiting(s, num); err != nil {
			return err
		}
	}
	id := uuid.NewString()
	if sh != nil {
		id = sh.ID
		if made, err = c.again(plan, sh.Spec, text); err != nil {
			return usageError{err}
		}
	}
	events := desk.ExposedBefore(id, made.Spec, sh != nil, made.Exposure, session.Told{From: from}, c.Note)
	if err := h.tell(s, events); err != nil {
		return err
	}
	sh = s.M.Sheet(id)
	h.say("sheet %d written down: %s, open %s from %s; it waits for the trays", sh.Num, cmp.Or(strings.TrimSpace(sh.Spec.Camera+" "+sh.Spec.Name), "no camera"),
		words.Finished(made.Exposure), from.Format("2006-01-02 15:04"))
	if r := sh.Spec.Reckoned; r == nil || r.Lit == nil || sh.Spec.Camera == "" {
		h.say("It will teach nothing: what light it was, or behind which camera, is not said.")
	}
	return nil
}

// reckon says what is wrong with the words before anything is begun.
func (c *ExposedCmd) reckon(plan *profiles.Planner, text string, waits bool) (made profiles.Reckoned, err error) {
	form := profiles.Form{Paper: c.Paper, Process: c.Process, Name: c.Name, Maker: c.Maker, Light: text, With: c.With}
	if !waits {
		form.Camera = c.Camera
		if _, err := plan.Set.Camera(c.Camera); err != nil {
			return made, err
		}
	}
	if made, err = plan.Plan(form); err == nil && !made.ByHand {
		err = fmt.Errorf("%q does not say how long the pinhole was open: write it behind the light, like overcast 5m", text)
	}
	return made, err
}

// again reckons for a sheet that is there already.
func (c *ExposedCmd) again(plan *profiles.Planner, spec session.SheetSpec, text string) (profiles.Reckoned, error) {
	form := profiles.Refit(spec, text)
	form.With = c.With
	made, err := plan.Plan(form)
	if err != nil {
		return made, err
	}
	made.Spec = profiles.Respec(spec, text, made)
	made.Spec.Name, made.Spec.Maker = cmp.Or(c.Name, made.Spec.Name), cmp.Or(c.Maker, made.Spec.Maker)
	return made, nil
}

// toldAt reads a time of day and its day; zero where none is given. A time that is
// still to come was on another day.
func (h *host) toldAt(at, day string) (time.Time, error) {
	if at == "" {
		if day != "" {
			return time.Time{}, usage("--day wants a time beside it: --at 14:10")
		}
		return time.Time{}, nil
	}
	text := at
	if day != "" {
		d, err := h.parseDay(day)
		if err != nil {
			return time.Time{}, err
		}
		text = d + " " + at
	}
	t, err := h.parseTime(text)
	if err == nil && t.After(h.now()) {
		err = usage("%s has not come yet: add --day yesterday, or the day it was", t.Format("2006-01-02 15:04"))
	}
	return t, err
}

// join takes up the open session to write in it; without one it begins one, but where
// a sheet of it is meant.
func (h *host) join(b *notebook.Book, open bool) (*desk.Sitting, error) {
	if _, _, live, err := b.Live(false); err != nil {
		return nil, err
	} else if open && !live {
		return nil, advise("no sheet waits: wetside exposed CAMERA LIGHT TIME names one")
	}
	s, err := desk.Join(b, h.state, h.instant())
	if notebook.IsUnsaved(err) {
		h.warn("%s", oneLine(err))
		err = nil
	}
	return s, err
}

// waiting is a sheet of the open session by its number.
func waiting(s *desk.Sitting, num int) (*session.Sheet, error) {
	if sh := s.M.Numbered(num); sh != nil {
		return sh, nil
	}
	return nil, advise("no sheet %d waits; wetside where lists those that do", num)
}

// instant is now, for what is written down.
func (h *host) instant() session.Instant {
	i := systemClock().Now()
	i.Wall = h.now()
	return i
}

// tell stores events; what the machine refuses is said, and nothing of it is
// stored.
func (h *host) tell(s *desk.Sitting, events []session.Event) error {
	for _, e := range events {
		e.At = h.instant()
		if err := s.Write(e); err != nil {
			if !notebook.IsUnsaved(err) {
				return usageError{err}
			}
			h.warn("%s", oneLine(err))
		}
	}
	return nil
}

// DevelopedCmd writes down that a sheet went through its baths without the program.
type DevelopedCmd struct {
	Sheet string `arg:"" help:"The number of a sheet that waits for the trays." complete:"number"`
	At    string `help:"When it was done: 19:30." placeholder:"TIME"`
	Day   string `help:"The day, where it was not today: yesterday, 2026-05-03." placeholder:"DAY"`
	Times string `help:"What is known of the baths: \"develop 2m, fix 2m\"." placeholder:"STEP TIME,..."`
	Note  string `help:"A remark." placeholder:"WORDS"`
}

// Help shows how it is used.
func (DevelopedCmd) Help() string {
	return `Examples:

  wetside developed 3
  wetside developed 3 --at 19:30 --day yesterday
  wetside developed 3 --times "develop 2m, stop 30s, fix 2m"

The sheet is done, and marked as written afterwards: it can be judged and teaches like
any other. What is not said of its baths is written down as not seen, and none of it
is in the statistics of times. A sheet that the program does not know yet is named
by wetside exposed first.`
}

// Run writes it down.
func (c *DevelopedCmd) Run(h *host) error {
	num, err := strconv.Atoi(c.Sheet)
	if err != nil || num < 1 {
		return usage("%q is no number of a sheet: wetside where lists those that wait", c.Sheet)
	}
	to, err := h.toldAt(c.At, c.Day)
	if err != nil {
		return err
	}
	b, err := h.amendable()
	if err != nil {
		return err
	}
	if b == nil {
		return usage("nothing is written down yet, so no sheet %d waits: wetside exposed names one", num)
	}
	defer b.Close()
	s, err := h.join(b, true)
	if err != nil {
		return err
	}
	defer s.Release()
	sh, err := waiting(s, num)
	if err != nil {
		return err
	}
	told := session.Told{To: to}
	if c.Times != "" {
		if told.Steps, err = profiles.ToldSteps(c.Times, sh.Spec.Process); err != nil {
			return usageError{err}
		}
	}
	events := []session.Event{{Kind: session.Developed, Sheet: sh.ID, Told: &told}}
	if c.Note != "" {
		events = append(events, session.Event{Kind: session.Noted, Sheet: sh.ID, Note: c.Note})
	}
	if err := h.tell(s, events); err != nil {
		return err
	}
	// Where nothing waits any more the session is over, as when the program is left.
	if s.Over() {
		s.WhenAlone(func() {
			_ = s.Write(session.Event{Kind: session.Closed, At: h.instant()}) // else the next start does
		})
	}
	// By its identity: another session of the same day may have the number too.
	h.say("sheet %d written down as developed; when it is dry: wetside judge %s right", num, short(sh.ID))
	return nil
}
