package tui

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/textinput"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/say"
	"wetside/session/words"
	"wetside/tui/ember"
)

// form is the bench screen: what is said of a sheet, the line that adds it, and
// the sheets that were added.
type form struct {
	fixed
	fields []formField
	at     int // a field, then the line that adds, then the sheets
	// change is the sheet whose words are in the fields, and before what stood there.
	change string
	before []formField
}

// A formField is a choice (choices not empty) or a line of text.
type formField struct {
	label   string
	hint    string
	choices []Choice
	chosen  int
	input   textinput.Model
}

const (
	fPaper = iota
	fProcess
	fCamera
	fCelsius
	fName
	fMaker
	fLight
	fWith
	fAdd // no field: the line that adds the sheet
)

func newForm(cfg Config) form {
	text := func(label, hint string) formField {
		in := textinput.New()
		in.CharLimit, in.Prompt = 80, ""
		return formField{label: label, hint: hint, input: in}
	}
	return form{fields: []formField{
		fPaper:   {label: "paper", choices: cfg.Papers},
		fProcess: {label: "process", choices: cfg.Processes},
		fCamera:  {label: "camera", choices: append(append([]Choice{}, cfg.Cameras...), Choice{"", "none"})},
		fCelsius: text("developer", "20 C"),
		fName:    text("name", "of the sheet"),
		fMaker:   text("photographer", "where there are several"),
		fLight:   text("light", "overcast, EV 13, f/16 1/125, 2500 lux, or 4m"),
		fWith:    text("with", "filter 1, pre-flash 1/2, warm light 1/3, subject 1m, test"),
	}}
}

var formKeys = struct{ Next, Up, Down, Left, Right, Add, Press, Keep, Leave, Fill, Camera, Told, Change, Remove key.Binding }{
	Next:   on("enter", "next line"),
	Up:     on("up/down", "line", "up"),
	Down:   on("", "", "down"),
	Left:   on("left/right", "choose", "left"),
	Right:  on("", "", "right", " "),
	Add:    on("a", "add this sheet"),
	Press:  on("enter", "add this sheet", "enter", "a"),
	Keep:   on("enter", "keep the change", "enter", "a"),
	Leave:  on("esc", "leave it as it was"),
	Fill:   on("b", "fill the trays"),
	Camera: on("n", "a new camera"),
	Told:   on("t", "exposed by a watch"),
	Change: on("enter", "change this sheet"),
	Remove: trayKeys.Withdraw,
}

// Bench is where a sheet is described and added.
const Bench Screen = "bench"

func (f *form) name() Screen { return Bench }

func (f *form) keys(m *Model) []key.Binding {
	k := formKeys
	var out []key.Binding
	switch {
	case f.sheet(m) != nil:
		out = []key.Binding{k.Change, k.Remove, k.Up, trayKeys.Pick}
	case f.at == fAdd && f.change != "":
		out = []key.Binding{k.Keep, k.Leave, k.Up}
	case f.at == fAdd:
		out = []key.Binding{k.Press, k.Up, k.Fill, k.Told}
	case f.editing():
		out = []key.Binding{k.Next, k.Up}
	default:
		out = []key.Binding{k.Next, k.Left, k.Add, k.Up, k.Camera, k.Fill, k.Told, trayKeys.Pick}
	}
	if f.change != "" && f.at != fAdd {
		out = append(slices.DeleteFunc(out, func(b key.Binding) bool { return b.Help().Key == "a" }), k.Leave)
	}
	return out
}

func (f *form) takes(*Model) takes {
	if f.editing() {
		return letters
	}
	return ownKeys
}

// editing reports whether letters are being typed into a field.
func (f *form) editing() bool { return f.at < fAdd && f.fields[f.at].choices == nil }

// sheet is the one that the line is on; nil when it is on none.
func (f *form) sheet(m *Model) *session.Sheet {
	all := m.desk.M.Sheets()
	if i := f.at - fAdd - 1; i >= 0 && i < len(all) {
		return all[i]
	}
	return nil
}

func (f *form) focus(m *Model, n int) {
	if f.editing() {
		f.fields[f.at].input.Blur()
	}
	lines := fAdd + 1 + len(m.desk.M.Sheets())
	f.at = (n + lines) % lines
	if f.editing() {
		f.fields[f.at].input.Focus()
	}
}

// noCamera chooses none: the sheets that come are exposed already.
func (f *form) noCamera() {
	c := &f.fields[fCamera]
	c.chosen = len(c.choices) - 1
}

func (f *form) value() profiles.Form {
	pick := func(i int) string {
		if c := f.fields[i].choices; len(c) > 0 {
			return c[f.fields[i].chosen].Key
		}
		return ""
	}
	word := func(i int) string { return strings.TrimSpace(ember.SafeText(f.fields[i].input.Value())) }
	return profiles.Form{Paper: pick(fPaper), Process: pick(fProcess), Camera: pick(fCamera),
		Celsius: word(fCelsius), Name: word(fName), Maker: word(fMaker), Light: word(fLight), With: word(fWith)}
}

func (f *form) press(m *Model, k tea.KeyMsg) tea.Cmd {
	if f.change != "" && key.Matches(k, formKeys.Leave) {
		f.left(m)
		return m.tell(say.LeftAsItWas.Of())
	}
	switch {
	case key.Matches(k, formKeys.Up):
		f.focus(m, f.at-1)
		return f.sayLine(m)
	case key.Matches(k, formKeys.Down):
		f.focus(m, f.at+1)
		return f.sayLine(m)
	}
	if s := f.sheet(m); s != nil {
		switch {
		case key.Matches(k, formKeys.Change):
			return f.load(m, s)
		case key.Matches(k, formKeys.Remove):
			cmd := m.withdraw(s)
			f.focus(m, min(f.at, fAdd+len(m.desk.M.Sheets())))
			return cmd
		}
	}
	switch {
	case f.at == fAdd && key.Matches(k, formKeys.Press):
		return f.done(m)
	case f.at < fAdd && key.Matches(k, formKeys.Next):
		f.focus(m, f.at+1)
		return f.sayLine(m)
	case f.editing():
		return m.edit(&f.fields[f.at].input, k)
	case key.Matches(k, trayKeys.Pick):
		return f.pick(m, k)
	case key.Matches(k, formKeys.Fill):
		return m.fillTrays(f.value().Process)
	case key.Matches(k, formKeys.Told) && f.change == "":
		f.told(m)
	case f.at >= fAdd:
	case key.Matches(k, formKeys.Left, formKeys.Right):
		fl := &f.fields[f.at]
		fl.chosen = around(fl.chosen, len(fl.choices), !key.Matches(k, formKeys.Left))
		return f.sayLine(m)
	case key.Matches(k, formKeys.Add) && f.change == "":
		return f.done(m)
	case key.Matches(k, formKeys.Camera):
		f.askCamera(m)
	}
	return nil
}

// told adds the sheet as one that was exposed by a watch.
func (f *form) told(m *Model) {
	v := f.value()
	m.askTold("This sheet", v.Light, func(light string) (string, session.SheetSpec, time.Duration, error) {
		v.Light = light
		plan, err := m.cfg.Plan(v)
		return "", plan.Spec, plan.Exposure, err
	})
}

// pick goes to the line of a sheet by its number.
func (f *form) pick(m *Model, k tea.KeyMsg) tea.Cmd {
	cmd := m.pickNumber(number(k))
	for i, s := range m.desk.M.Sheets() {
		if s.Num == number(k) {
			f.focus(m, fAdd+1+i)
		}
	}
	return cmd
}

// sayLine speaks the line to who does not look.
func (f *form) sayLine(m *Model) tea.Cmd {
	switch s := f.sheet(m); {
	case s != nil:
		return m.aloud(say.Plain.Of(say.Sheet(s.Num)))
	case f.at < fAdd:
		return m.aloud(f.line())
	case f.change != "":
		return m.aloud(say.KeepThis.Of())
	}
	return m.aloud(say.AddThis.Of())
}

func (f *form) button() string {
	if f.change != "" {
		return "keep the change"
	}
	return "add this sheet"
}

// done adds the sheet, or keeps what was changed of one.
func (f *form) done(m *Model) tea.Cmd {
	plan, err := m.cfg.Plan(f.value())
	if err != nil {
		return m.refuse(notUnderstood{err})
	}
	if s := m.desk.M.Sheet(f.change); s != nil {
		return f.keep(m, s, plan)
	}
	s, err := m.desk.Add(plan.Spec)
	if err != nil {
		return m.announce(err.Error())
	}
	f.fields[fName].input.SetValue("")
	if f.at == fAdd {
		f.focus(m, fName) // the next sheet has another name; enter again adds none
	}
	text, line := fmt.Sprintf("sheet %d added", s.Num), say.SheetAdded.Of(say.Sheet(s.Num))
	if plan.Exposure > 0 {
		text += ": expose " + words.Finished(plan.Exposure)
		line = say.SheetAddedOf.Of(say.Sheet(s.Num), say.Left(plan.Exposure))
	}
	if plan.Sentence != "" {
		text += ". " + plan.Sentence
	}
	return m.announce(text, line)
}

// load puts the words of a sheet into the fields, to be changed.
func (f *form) load(m *Model, s *session.Sheet) tea.Cmd {
	f.left(m)
	f.change, f.before = s.ID, slices.Clone(f.fields)
	choose := func(i int, key, name string) {
		c := &f.fields[i]
		if c.chosen = slices.IndexFunc(c.choices, func(x Choice) bool { return x.Key == key }); c.chosen < 0 {
			c.choices = append(slices.Clip(c.choices), Choice{key, name}) // a profile that is gone
			c.chosen = len(c.choices) - 1
		}
	}
	choose(fPaper, s.Spec.Paper.Key, s.Spec.Paper.Name)
	choose(fProcess, s.Spec.Process.Key, s.Spec.Process.Name)
	choose(fCamera, s.Spec.Camera, s.Spec.Camera)
	celsius := ""
	if s.Spec.Celsius != 0 {
		celsius = words.Decimals(s.Spec.Celsius, 1) + " C"
	}
	for i, text := range map[int]string{fCelsius: celsius, fName: s.Spec.Name, fMaker: s.Spec.Maker, fLight: s.Spec.Light,
		fWith: profiles.OwnOf(s.Spec.Reckoned).Words()} {
		f.fields[i].input.SetValue(text)
		f.fields[i].input.CursorEnd()
	}
	f.focus(m, fPaper)
	return m.answer(fmt.Sprintf("sheet %d: change what is wrong, then keep it", s.Num), say.AskChange.Of(say.Sheet(s.Num)))
}

// left gives the fields back what stood in them before a change.
func (f *form) left(m *Model) {
	if f.change == "" {
		return
	}
	f.change, f.fields, f.before = "", f.before, nil
	f.focus(m, fPaper)
}

// keep writes a change of a sheet down.
func (f *form) keep(m *Model, s *session.Sheet, plan profiles.Reckoned) tea.Cmd {
	spec := plan.Spec
	if s.Phase != session.Fresh || !s.Light.BegunAt.IsZero() {
		spec = plan.Since(s.Spec) // its light fell as it fell
	}
	done := s.Phase.Over()
	if m.do(session.Event{Kind: session.Remade, Sheet: s.ID, Spec: &spec}) != nil {
		return nil
	}
	f.left(m)
	if done {
		return m.answer(fmt.Sprintf("sheet %d is corrected; its record says so", s.Num), say.Corrected.Of(say.Sheet(s.Num)))
	}
	return m.tell(say.SheetChanged.Of(say.Sheet(s.Num)))
}

// askCamera asks the three questions that make a camera: name, shape and size;
// hole; paper.
func (f *form) askCamera(m *Model) {
	if m.cfg.NewCamera == nil {
		m.said = "no camera can be kept here"
		return
	}
	questions := []string{
		"New camera, 1 of 3: its name, round or flat, and its size. Like cake tin, round, 100 mm across; or hat box, flat, 3 in deep",
		"2 of 3: its hole. Like 0.5 mm; or of a scan, dots an inch and pixels across the hole: 2400, 47",
		"3 of 3: the paper that it takes, width first. Like 12x9 cm; or 5x4 in",
	}
	var ask func(answers []string)
	ask = func(answers []string) {
		lines := []say.Line{say.AskCameraName.Of(), say.AskCameraHole.Of(), say.AskCameraFor.Of()}
		m.askUntil(questions[len(answers)], lines[len(answers)], func(text string) (tea.Cmd, error) {
			got := append(slices.Clip(answers), text)
			c, err := m.cfg.NewCamera(got...)
			if err != nil {
				return nil, err
			}
			if len(got) < len(questions) {
				ask(got)
				return nil, nil
			}
			fl := &f.fields[fCamera]
			n := len(fl.choices) - 1 // before "none"
			fl.choices = slices.Insert(slices.Clone(fl.choices), n, c)
			fl.chosen = n
			m.cfg.Cameras = append(slices.Clip(m.cfg.Cameras), c)
			return m.answer("the "+ember.SafeText(c.Name)+" is kept as a profile, and chosen", say.CameraKept.Of()), nil
		})
	}
	ask(nil)
}

func (f *form) view(m *Model, v session.View, h int) string {
	w, margin := m.width, m.margin()
	var ls []textRow
	put := func(parts ...part) { ls = append(ls, textRow{parts: parts}) }
	para := func(role ember.Role, text string) { ls = append(ls, m.paraRows(role, text)...) }
	here := func(on bool, parts ...part) {
		if on {
			parts = append(parts, part{margin - 2, ember.Strong, ">"})
		}
		ls = append(ls, textRow{parts, on})
	}
	title := "New sheet"
	if s := m.desk.M.Sheet(f.change); s != nil {
		title = strings.TrimSpace(fmt.Sprintf("Change sheet %d %s", s.Num, s.Spec.Name))
	}
	put(part{margin, ember.Faint, ansiCut(ember.SafeText(title), w-2*margin)})
	for i, fl := range f.fields {
		role, val := ember.Normal, ""
		at := margin + 14
		switch {
		case len(fl.choices) > 0:
			if val = ansiCut(ember.SafeText(fl.choices[fl.chosen].Name), w-at-margin-4); i == f.at {
				val = "< " + val + " >"
			}
		case i == f.at:
			val = typed(fl.input, w-at-1)
		case fl.input.Value() == "":
			val, role = "("+fl.hint+")", ember.Border
		default:
			val = fl.input.Value()
		}
		if i == f.at {
			role = ember.Strong
		}
		here(i == f.at, part{margin, ember.Faint, fl.label}, part{at, role, ansiCut(ember.SafeText(val), w-at-1)})
	}
	role := ember.Normal
	if f.at == fAdd {
		role = ember.Strong
	}
	here(f.at == fAdd, part{margin, role, "[ " + f.button() + " ]"})
	roomy := h >= 18
	if roomy {
		put()
	}
	f.answer(m, para)
	if all := m.desk.M.Sheets(); len(all) > 0 {
		if roomy {
			put()
		}
		put(part{margin, ember.Faint, "On the bench"})
		for i, s := range all {
			sv, _ := v.Sheet(s.ID)
			here(f.at == fAdd+1+i, f.row(m, sv, s, margin, f.at == fAdd+1+i)...)
		}
	}
	if rows := strings.Count(wrap(caution, w-2*margin), "\n") + 2; len(ls)+rows <= h {
		for len(ls) < h-rows+1 {
			put()
		}
		para(ember.Border, caution)
	}
	return drawRows(m, ls, h)
}

// row is a sheet that was added: what it is, and how far it is.
func (f *form) row(m *Model, sv session.SheetView, s *session.Sheet, x int, on bool) []part {
	role := ember.Normal
	switch {
	case on:
		role = ember.Strong
	case s.Phase.Over():
		role = ember.Border
	}
	state := map[session.Phase]string{session.Fresh: "ready", session.Exposing: "in the light", session.Exposed: "exposed", session.Finished: "done", session.Ruined: "spoiled"}[s.Phase]
	if s.Phase == session.Wet {
		state = sv.Label
	}
	long := "-"
	if s.Spec.Exposure > 0 {
		long = words.Finished(s.Spec.Exposure)
	}
	camera := m.camera(s.Spec.Camera)
	makers := m.several()
	var out []part
	put := func(text string, width int) {
		if x+width < m.width {
			out = append(out, part{x, role, ansiCut(ember.SafeText(text), width-1)})
			x += width
		}
	}
	put(fmt.Sprint(s.Num), 3)
	more := min(max(0, m.width-80)/4, 10)
	switch {
	case m.width < 60:
		put(s.Spec.Name, m.width-26)
	case m.width < 78:
		put(s.Spec.Name, 19)
		put(camera, 13)
	case makers:
		put(s.Spec.Name, 14+more)
		put(shortName(s.Spec.Paper.Name), 14+more)
		put(camera, 12+more)
		put(s.Spec.Maker, 10+more)
	default:
		put(s.Spec.Name, 16+more)
		put(shortName(s.Spec.Paper.Name), 18+more)
		put(camera, 14+more)
	}
	put(long, 8)
	put(state, min(13, m.width-x-1))
	return out
}

// caution stands on the bench screen, where the work begins.
const caution = "Dry side: keep the laptop and its mains lead away from wet hands and trays. " +
	"Gloves, goggles, fresh air. Each product's own data sheet and your local rules come before anything said here."

// answer is what the form comes to before it is added.
func (f *form) answer(m *Model, para func(ember.Role, string)) {
	plan, err := m.cfg.Plan(f.value())
	if err != nil {
		para(ember.Normal, err.Error())
		return
	}
	if plan.Sentence != "" {
		para(ember.Strong, plan.Sentence)
	}
	for _, n := range plan.Notes {
		para(ember.Normal, n)
	}
	var steps []string
	for _, s := range plan.Spec.Process.Steps {
		t := words.Finished(s.AtMost)
		if s.ByInspection() {
			t = words.Finished(s.AtLeast) + "-" + t
		}
		steps = append(steps, s.Label()+" "+t)
	}
	para(ember.Faint, strings.Join(steps, ", "))
}

// shortName is a name up to its first comma.
func shortName(name string) string {
	name, _, _ = strings.Cut(name, ",")
	return name
}
