package tui

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/textinput"
	tea "github.com/charmbracelet/bubbletea"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/words"
	"wetside/tui/ember"
)

// form is the bench screen: one sheet's paper, process, camera, temperature,
// name and light, and the button that adds it.
type form struct {
	fixed
	fields []formField
	at     int
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
)

func newForm(cfg Config) form {
	text := func(label, hint, value string) formField {
		in := textinput.New()
		in.CharLimit, in.Prompt = 80, ""
		in.SetValue(value)
		return formField{label: label, hint: hint, input: in}
	}
	return form{fields: []formField{
		fPaper:   {label: "paper", choices: cfg.Papers},
		fProcess: {label: "process", choices: cfg.Processes},
		fCamera:  {label: "camera", choices: append(append([]Choice{}, cfg.Cameras...), Choice{"", "none"})},
		fCelsius: text("developer", "20 C", ""),
		fName:    text("name", "of the sheet", ""),
		fMaker:   text("maker", "whose it is", ""),
		fLight:   text("light", "EV 13, f/16 1/125, 2500 lux, overcast, or a time: 4m, or both", ""),
		fWith:    text("with", "filter 1, pre-flash 1/2, warm light 1/3, subject 1m", ""),
	}}
}

var formKeys = struct{ Up, Down, Left, Right, Add, Fill key.Binding }{
	Up:    key.NewBinding(key.WithKeys("up"), key.WithHelp("up/down", "field")),
	Down:  key.NewBinding(key.WithKeys("down")),
	Left:  key.NewBinding(key.WithKeys("left"), key.WithHelp("left/right", "choose")),
	Right: key.NewBinding(key.WithKeys("right", " ")),
	Add:   key.NewBinding(key.WithKeys("enter"), key.WithHelp("enter", "add this sheet")),
	Fill:  key.NewBinding(key.WithKeys("b"), key.WithHelp("b", "fill the trays")),
}

// Bench is where a sheet is described and added.
const Bench Screen = "bench"

func (f *form) name() Screen { return Bench }
func (f *form) clip() string { return "bench" }

func (f *form) keys(*Model) []key.Binding {
	if f.editing() {
		return []key.Binding{formKeys.Add, formKeys.Up}
	}
	return []key.Binding{formKeys.Add, formKeys.Up, formKeys.Left, formKeys.Fill}
}

func (f *form) takes(*Model) takes {
	if f.editing() {
		return letters
	}
	return ownKeys
}

// editing reports whether letters are being typed into a field.
func (f *form) editing() bool { return f.fields[f.at].choices == nil }

func (f *form) focus(n int) {
	f.fields[f.at].input.Blur()
	f.at = (n + len(f.fields)) % len(f.fields)
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
	fl := &f.fields[f.at]
	switch {
	case key.Matches(k, formKeys.Up):
		f.focus(f.at - 1)
		return f.sayField(m)
	case key.Matches(k, formKeys.Down):
		f.focus(f.at + 1)
		return f.sayField(m)
	case key.Matches(k, formKeys.Add):
		return f.add(m)
	case fl.choices != nil && key.Matches(k, formKeys.Left):
		fl.chosen = (fl.chosen + len(fl.choices) - 1) % len(fl.choices)
		return f.sayField(m)
	case fl.choices != nil && key.Matches(k, formKeys.Right):
		fl.chosen = (fl.chosen + 1) % len(fl.choices)
		return f.sayField(m)
	case fl.choices != nil && key.Matches(k, formKeys.Fill):
		return m.fillTrays(f.value().Process)
	case fl.choices == nil:
		var cmd tea.Cmd
		fl.input, cmd = fl.input.Update(k)
		return cmd
	}
	return nil
}

// sayField speaks the field to who does not look.
func (f *form) sayField(m *Model) tea.Cmd {
	if m.cfg.Blind {
		fl := f.fields[f.at]
		text := fl.label
		if fl.choices != nil {
			text += ": " + fl.choices[fl.chosen].Name
		} else {
			text += ": " + fl.input.Value()
		}
		m.desk.Say(text)
	}
	return nil
}

func (f *form) add(m *Model) tea.Cmd {
	plan, err := m.cfg.Plan(f.value())
	if err != nil {
		m.desk.Complain(err)
		return m.tell(err.Error())
	}
	s, err := m.desk.Add(plan.Spec)
	if err != nil {
		m.said = err.Error()
		return nil
	}
	f.fields[fName].input.SetValue("")
	text := fmt.Sprintf("sheet %d added", s.Num)
	if plan.Exposure > 0 {
		text += ": expose " + words.Finished(plan.Exposure)
	}
	m.desk.Say(text)
	m.said = text
	if plan.Sentence != "" {
		m.said = text + ". " + plan.Sentence
	}
	return nil
}

func (f *form) view(m *Model, _ session.View, h int) string {
	st := m.styles
	var b strings.Builder
	b.WriteString(st.Faint.Render("New sheet") + "\n")
	for i, fl := range f.fields {
		style, mark := st.Normal, "  "
		if i == f.at {
			style, mark = st.Strong, "> "
		}
		val := ""
		switch {
		case len(fl.choices) > 0:
			val = fl.choices[fl.chosen].Name
			if i == f.at {
				val = "< " + val + " >"
			}
		case fl.input.Value() == "" && i != f.at:
			val = "(" + fl.hint + ")"
			style = st.Faint
		default:
			val = fl.input.Value()
			if i == f.at {
				val = typed(fl.input, m.width-14)
			}
		}
		b.WriteString(style.Render(fmt.Sprintf("%s%-10s %s", mark, fl.label, ember.SafeText(val))) + "\n")
	}
	b.WriteString("\n" + f.preview(m) + "\n")
	if h > 18 {
		b.WriteString("\n" + st.Faint.Render(wrap(caution, m.width-2)))
	}
	return b.String()
}

// caution stands on the bench screen, where the work begins.
const caution = "Dry side: keep the laptop and its mains lead away from wet hands and trays. " +
	"Gloves, goggles, fresh air. Each product's own data sheet and your local rules come before anything said here."

// preview shows what the form comes to before it is added.
func (f *form) preview(m *Model) string {
	st := m.styles
	plan, err := m.cfg.Plan(f.value())
	if err != nil {
		return st.Normal.Render(wrap(err.Error(), m.width-2))
	}
	var b strings.Builder
	if plan.Sentence != "" {
		b.WriteString(st.Strong.Render(wrap(ember.SafeText(plan.Sentence), m.width-2)) + "\n")
	}
	for _, n := range plan.Notes {
		b.WriteString(st.Normal.Render(wrap(ember.SafeText(n), m.width-2)) + "\n")
	}
	var steps []string
	for _, s := range plan.Spec.Process.Steps {
		t := words.Finished(s.AtMost)
		if s.ByInspection() {
			t = words.Finished(s.AtLeast) + "-" + t
		}
		steps = append(steps, s.Label()+" "+t)
	}
	b.WriteString(st.Normal.Render(wrap(strings.Join(steps, ", "), m.width-2)))
	return b.String()
}
