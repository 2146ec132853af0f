package tui

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/tui/ember"
)

// field is the list of cameras in the open, each with its own countdown.
type field struct {
	fixed
	at      int    // the row that keys are for
	id      string // the sheet of that row: the list changes under it
	working bool   // show the sum behind the chosen sheet's time
	answer  string
}

var fieldDeeds = []deed{
	{on("space", "open, end", " "), (*Model).openOrEnd},
	{on("c", "cover, uncover"), ofCamera((*field).cover)},
	{on("[ or ]", "light -/+ 1/3 stop", "["), ofCamera(func(f *field, m *Model, s *session.Sheet) tea.Cmd { return f.light(m, s, -1.0/3) })},
	{on("", "", "]"), ofCamera(func(f *field, m *Model, s *session.Sheet) tea.Cmd { return f.light(m, s, +1.0/3) })},
	{on("e", "light or time"), ofCamera((*field).ask)},
	{keys.Where, (*Model).where},
	{trayKeys.Note, ofCamera(func(_ *field, m *Model, s *session.Sheet) tea.Cmd { return m.askNote(s) })},
	{trayKeys.Undo, nil},
	{on("up/down", "camera", "up"), ofCamera(func(f *field, m *Model, _ *session.Sheet) tea.Cmd { return f.step(m, false) })},
	{on("", "", "down"), ofCamera(func(f *field, m *Model, _ *session.Sheet) tea.Cmd { return f.step(m, true) })},
	{trayKeys.Pick, nil},
	{on("s", "the sum behind it"), ofCamera((*field).sum)},
	{on("a", "about the camera"), ofCamera(func(f *field, m *Model, s *session.Sheet) tea.Cmd {
		return f.about(m, s, "pinhole --camera "+s.Spec.Camera)
	})},
	{on("l", "what was learned"), ofCamera(func(f *field, m *Model, s *session.Sheet) tea.Cmd {
		return f.about(m, s, "learn --camera "+s.Spec.Camera+" --paper "+s.Spec.Paper.Key)
	})},
	{on("f", "pre-flash strip"), func(m *Model) tea.Cmd { return m.field.reckon(m, "preflash strip") }},
	{on("k", "reckon, as in the shell"), (*Model).askReckon},
	{on("t", "exposed by a watch"), ofCamera((*field).told)},
	{trayKeys.Spoil, ofCamera(func(_ *field, m *Model, s *session.Sheet) tea.Cmd { return m.spoil(s) })},
	{trayKeys.Withdraw, ofCamera(func(_ *field, m *Model, s *session.Sheet) tea.Cmd { return m.withdraw(s) })},
	{keys.Other, nil},
	{on("esc", "close the answer"), func(m *Model) tea.Cmd {
		m.field.answer, m.field.working = "", false
		return nil
	}},
}

// ofCamera is a deed with the camera that keys are for.
func ofCamera(do func(*field, *Model, *session.Sheet) tea.Cmd) func(*Model) tea.Cmd {
	return func(m *Model) tea.Cmd {
		f := &m.field
		if ss := f.list(m); len(ss) > 0 {
			return do(f, m, ss[f.at])
		}
		return m.tell(say.NoCamera.Of())
	}
}

// Field is where the cameras stand.
const Field Screen = "field"

func (f *field) name() Screen { return Field }

func (f *field) keys(*Model) []key.Binding { return withWords(fieldDeeds) }

// list returns the sheets that are in the field: known or being exposed.
func (f *field) list(m *Model) []*session.Sheet {
	var out []*session.Sheet
	for _, s := range m.desk.M.Sheets() {
		if s.Phase == session.Fresh || s.Phase == session.Exposing {
			out = append(out, s)
		}
	}
	// The row is that of the sheet which the large key is for.
	m.standAt()
	row := func(id string) bool {
		i := slices.IndexFunc(out, func(s *session.Sheet) bool { return s.ID == id })
		if i >= 0 {
			f.at = i
		}
		return i >= 0
	}
	if !row(m.hands.Aim().Sheet) {
		row(f.id)
	}
	if f.at >= len(out) {
		f.at = max(0, len(out)-1)
	}
	if len(out) > 0 {
		f.id = out[f.at].ID
	}
	return out
}

func (f *field) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if do := deedOf(fieldDeeds, k); do != nil {
		return do(m)
	}
	return ofCamera(func(*field, *Model, *session.Sheet) tea.Cmd { return nil })(m)
}

func (m *Model) openOrEnd() tea.Cmd {
	if len(m.field.list(m)) == 0 && m.desk.Next() == nil {
		return m.tell(say.NoCamera.Of())
	}
	return m.act()
}

// step goes to the next camera, or to the one before.
func (f *field) step(m *Model, on bool) tea.Cmd {
	s := f.list(m)[around(f.at, len(f.list(m)), on)]
	f.id = s.ID
	m.hands.Pick(s.ID, true)
	m.desk.Say(say.Plain.Of(say.Sheet(s.Num)))
	return nil
}

func (f *field) cover(m *Model, s *session.Sheet) tea.Cmd {
	kind := session.PinholeCovered
	if !s.Light.Open {
		kind = session.PinholeUncovered
	}
	m.do(session.Event{Kind: kind, Sheet: s.ID})
	return nil
}

// ask asks for the light of a sheet, or its time.
func (f *field) ask(m *Model, s *session.Sheet) tea.Cmd {
	m.askUntil(fmt.Sprintf("Sheet %d: light (EV 13, f/16 1/125, 2500 lux, overcast) or time (4m):", s.Num), say.AskLight.Of(say.Sheet(s.Num)), func(text string) (tea.Cmd, error) {
		return f.edit(m, s, text)
	})
	return nil
}

// told asks when a sheet was exposed by a watch.
func (f *field) told(m *Model, s *session.Sheet) tea.Cmd {
	if s.Phase != session.Fresh {
		return m.answer(fmt.Sprintf("sheet %d is being exposed: space ends it", s.Num), m.standing(m.seen(s)))
	}
	m.askTold(fmt.Sprintf("Sheet %d", s.Num), s.Spec.Light, func(light string) (string, session.SheetSpec, time.Duration, error) {
		plan, err := m.cfg.Plan(profiles.Refit(s.Spec, light))
		return s.ID, profiles.Respec(s.Spec, light, plan), plan.Exposure, err
	})
	return nil
}

func (f *field) sum(m *Model, s *session.Sheet) tea.Cmd {
	f.working = !f.working
	f.answer = "" // there is room for one of them
	if f.working && s.Spec.Working == "" {
		f.working = false
		return m.tell(say.NoTime.Of().To(say.Num(s.Num)))
	}
	return nil
}

// about reckons something of a sheet's camera.
func (f *field) about(m *Model, s *session.Sheet, line string) tea.Cmd {
	if s.Spec.Camera == "" {
		return m.tell(say.NoCameraOf.Of(say.Sheet(s.Num)))
	}
	return f.reckon(m, line)
}

func (m *Model) askReckon() tea.Cmd {
	m.askUntil("Reckon (pinhole, exposure, preflash, learn, mix or washes, as in the shell; -h says how):", say.AskReckon.Of(), func(text string) (tea.Cmd, error) {
		return nil, m.field.reckoned(m, text)
	})
	return nil
}

// reckon shows the answer to a reckoning command, or the sentence that says why
// there is none.
func (f *field) reckon(m *Model, line string) tea.Cmd {
	if err := f.reckoned(m, line); err != nil {
		m.refuse(err)
	}
	return nil
}

func (f *field) reckoned(m *Model, line string) error {
	if line == "" || m.cfg.Reckon == nil {
		return nil
	}
	out, err := m.cfg.Reckon(line)
	if err != nil {
		return err
	}
	f.answer, f.working = out, false
	m.aloud(say.OnScreen.Of())
	return nil
}

func (f *field) light(m *Model, s *session.Sheet, stops float64) tea.Cmd {
	if s.Phase != session.Exposing {
		return m.answer("the pinhole is not open yet: press e and give the light", say.LightLater.Of())
	}
	full := m.cfg.Shift(s.Spec, s.Light.Full(), stops)
	m.do(session.Event{Kind: session.LightChanged, Sheet: s.ID, Stops: stops, Planned: full})
	return nil
}

// edit takes a new light or time for a sheet, before or during its exposure.
func (f *field) edit(m *Model, s *session.Sheet, text string) (tea.Cmd, error) {
	if text == "" {
		return nil, nil
	}
	plan, err := m.cfg.Plan(profiles.Refit(s.Spec, text))
	if err != nil || plan.Exposure <= 0 {
		if err == nil {
			err = fmt.Errorf("that gives no time: name the camera on the bench, or type a time like 4m")
		}
		return nil, err
	}
	if s.Phase == session.Exposing {
		return f.editRunning(m, s, text, plan)
	}
	spec := profiles.Respec(s.Spec, text, plan)
	e := session.Event{Kind: session.Remade, Sheet: s.ID, Spec: &spec}
	if err := m.desk.Do(e); err != nil {
		return nil, err
	}
	return m.answer(plan.Sentence, say.LightOnFor.Of(say.Left(plan.Exposure))), nil
}

// editRunning takes what was typed while the pinhole is open. A time is the whole
// time. A light may be what the light is from now on, or what the whole time is to
// be reckoned from, and only the user knows which.
func (f *field) editRunning(m *Model, s *session.Sheet, text string, plan profiles.Reckoned) (tea.Cmd, error) {
	whole := words.Finished(plan.Exposure)
	retime := func() (tea.Cmd, error) {
		if err := m.desk.Do(session.Event{Kind: session.Retimed, Sheet: s.ID, Planned: plan.Exposure, Note: text}); err != nil {
			return nil, err
		}
		rest, line := f.rest(m, s)
		return m.answer(fmt.Sprintf("the whole time is %s; %s", whole, rest), say.WholeTime.Of(say.Left(plan.Exposure)), line), nil
	}
	if plan.ByHand {
		if r := plan.Spec.Reckoned; r != nil && r.Lit != nil {
			return nil, fmt.Errorf("the light, or the whole time: while the pinhole is open, type one of them")
		}
		return retime()
	}
	relight := func() (tea.Cmd, error) {
		e := session.Event{Kind: session.LightChanged, Sheet: s.ID, Planned: plan.Exposure, Note: text, Stops: m.cfg.Brighter(s, text, plan.Exposure)}
		if r := plan.Spec.Reckoned; r != nil {
			e.Lit = r.Lit
		}
		if err := m.desk.Do(e); err != nil {
			return nil, err
		}
		rest, line := f.rest(m, s)
		return m.answer(fmt.Sprintf("the light is %s from now on; %s", ember.SafeText(text), rest), say.LightIsSo.Of(), line), nil
	}
	told := func(do func() (tea.Cmd, error)) func() tea.Cmd {
		return func() tea.Cmd {
			cmd, err := do()
			if err != nil {
				return m.refuse(err)
			}
			return cmd
		}
	}
	m.put(&question{
		lines: saying(say.AskRelight.Of(say.Left(plan.Exposure))),
		text:  fmt.Sprintf("Sheet %d: is it %s from now on, or was it so all along?", s.Num, ember.SafeText(text)),
		yesIs: "from now on", noIs: "all along: " + whole + " in all",
		yes:   told(relight),
		no:    told(retime),
		leave: func() tea.Cmd { return m.answer("nothing is changed", say.LeftAsItWas.Of()) },
	})
	return nil, nil
}

// rest says how much of a running exposure is to come, and when it ends.
func (f *field) rest(m *Model, s *session.Sheet) (string, say.Line) {
	now := m.desk.Now()
	sv, _ := m.desk.M.View(now).Sheet(s.ID)
	left := words.Countdown(sv.Left)
	switch {
	case sv.Left == 0:
		return "it has had all its light", say.HadAll.Of()
	case !sv.Open:
		return left + " more, once it is uncovered.", say.StandsCovered.Of(say.Left(sv.Left))
	}
	return left + " more, until " + now.Wall.Add(sv.Left).Format("15:04:05") + ".", say.More.Of(say.Left(sv.Left))
}

func (f *field) view(m *Model, v session.View, h int) string {
	return m.drawFace(f.face(m, v), m.width, h).render(m.styles)
}

// camera is the name of one, without what stands behind a comma.
func (m *Model) camera(key string) string {
	if i := slices.IndexFunc(m.cfg.Cameras, func(c Choice) bool { return c.Key == key }); i >= 0 {
		return shortName(m.cfg.Cameras[i].Name)
	}
	return key
}

// face is the camera that was called or picked, and the light of each.
func (f *field) face(m *Model, v session.View) face {
	ss := f.list(m)
	fc := face{title: "no camera", more: f.answer}
	if len(ss) == 0 {
		fc.more = cmp.Or(fc.more, "no camera is out: describe a sheet on the bench (shift+tab)")
		return fc
	}
	now := m.desk.Now()
	endsAt := func(v session.SheetView) string { return now.Wall.Add(v.Left).Format(time.TimeOnly) }
	s := ss[f.at]
	sv, _ := v.Sheet(s.ID)
	fc.title = fmt.Sprintf("%d %s", s.Num, cmp.Or(m.camera(s.Spec.Camera), s.Spec.Name))
	if s.Phase == session.Exposing {
		fc.clock = clockOf(sv)
		fc.about = []string{m.called(sv), fmt.Sprintf("%s, %s given", sv.Doing, words.Percent(sv.Share))}
		cover := "c  covered"
		if !sv.Open {
			cover = "c  uncovered again"
		}
		fc.also = []string{cover, "[ or ]  light 1/3 stop"}
		if sv.Open && sv.Left > 0 {
			fc.also = append(fc.also, "ends at "+endsAt(sv))
		}
	} else {
		fc.about = []string{m.called(sv), f.ready(s)}
		if s.Spec.Exposure > 0 {
			fc.clock = words.Countdown(s.Spec.Exposure)
		} else {
			fc.also = []string{"e  give its light, or a time"}
		}
	}
	fc.line = timeline{now: v.T, clock: func(t time.Duration) time.Time { return m.desk.M.At(t).Wall }}
	for i, x := range ss {
		xv, _ := v.Sheet(x.ID)
		fc.line.rows = append(fc.line.rows, f.row(m, v.T, x, xv, i == f.at, endsAt))
	}
	fc.deed = m.aims()
	if f.working && s.Spec.Working != "" {
		fc.more = s.Spec.Working
	}
	return fc
}

// row is one camera on the line of time: its light so far, and what is to come of it.
func (f *field) row(m *Model, now time.Duration, s *session.Sheet, v session.SheetView, here bool, endsAt func(session.SheetView) string) timeRow {
	r := timeRow{label: fmt.Sprintf("  %d %s", s.Num, cmp.Or(s.Spec.Name, m.camera(s.Spec.Camera))), right: f.ready(s), role: ember.Border}
	if here {
		r.role, r.label = ember.Normal, ">"+r.label[1:]
	}
	for i, sp := range s.Light.Spells {
		to := sp.To
		if sp.Running {
			to = now + 1
			if i == len(s.Light.Spells)-1 {
				to = max(to, now+v.Left)
			}
		}
		r.spans = append(r.spans, timeSpan{from: sp.From, to: to})
	}
	if s.Phase != session.Exposing {
		return r
	}
	if r.right = string(v.Doing); v.Open && v.Left > 0 {
		r.right = "ends " + endsAt(v)
	}
	if !here || v.Over > 0 { // else it stands large above
		r.right = clockOf(v) + "  " + r.right
	}
	return r
}

func (f *field) ready(s *session.Sheet) string {
	if s.Spec.Exposure <= 0 {
		if s.Spec.Camera == "" {
			return "no camera: it waits for the trays"
		}
		return "no time yet: press e"
	}
	text := "ready, " + words.Finished(s.Spec.Exposure)
	if had := s.Light.Share(0); had > 0 { // all its spells are over
		text += ", " + words.Percent(had) + " given"
	}
	return text
}
