package main

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"

	"wetside/tui"
)

// KeysCmd prints which key does what.
type KeysCmd struct {
	Try  bool `help:"Press keys, pedals and clickers, and see what they send and do."`
	JSON bool `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (KeysCmd) Help() string {
	return `Examples:

  wetside keys
  wetside keys --try

Other keys are given in settings.toml of the configuration folder; a deed that
stands there has those keys and no others:

  [keys]
  move = ["space", "pgdown", "f9", "mouse middle"]

  layout = "fr"     (above the table: us, de, fr, nordic, cz; digits without Shift)`
}

type keyRow struct {
	Deed string   `json:"deed"`
	Keys []string `json:"keys"`
	At   []string `json:"at,omitempty"` // screens; empty: everywhere
	Does string   `json:"does"`
}

// Run prints the table.
func (c *KeysCmd) Run(h *host) error {
	set, wrong := loadSettings(h)
	for _, w := range wrong {
		h.warn("%s", w.Error())
	}
	if c.Try {
		return c.try(h, set)
	}
	var rows []keyRow
	for _, d := range tui.KeyDeeds {
		r := keyRow{Deed: d.Name, Keys: set.keys.Of(d.Name), Does: d.Does}
		for _, s := range d.At {
			r.At = append(r.At, string(s))
		}
		rows = append(rows, r)
	}
	if c.JSON {
		return h.json(rows)
	}
	out := [][]string{{"deed", "keys", "where", "what it does"}}
	for _, r := range rows {
		cells := []string{r.Deed, keyList(r.Keys), cmp.Or(strings.Join(r.At, ", "), "everywhere")}
		for l := range strings.Lines(ansi.Wordwrap(r.Does, doesWidth, "")) {
			out = append(out, append(cells, strings.TrimSpace(l)))
			cells = []string{"", "", ""}
		}
	}
	return h.table(out, 3)
}

// doesWidth is what the other columns leave of a screen, as the keys are from the start.
const doesWidth = 33

// keyList is names of keys in a row; one of two words, as a mouse button's is, in quotes.
func keyList(keys []string) string {
	out := slices.Clone(keys)
	for i, k := range out {
		if strings.Contains(k, " ") {
			out[i] = strconv.Quote(k)
		}
	}
	return strings.Join(out, " ")
}

// tried is the small program that names what is pressed.
type tried struct {
	keys tui.Keys
	last string
}

func (tried) Init() tea.Cmd { return nil }
func (tried) View() string  { return "" }

func (t tried) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	var k tea.KeyMsg
	switch msg := msg.(type) {
	case tea.KeyMsg:
		k = msg
	case tea.MouseMsg:
		var ok bool
		if k, ok = tui.MouseKey(msg); !ok {
			return t, nil
		}
	default:
		return t, nil
	}
	if k.String() == "ctrl+c" || k.String() == "esc" && t.last == "esc" {
		return t, tea.Quit
	}
	t.last = k.String()
	var lines []tea.Cmd
	if _, typed := msg.(tea.KeyMsg); typed && k.Type == tea.KeyRunes && !k.Alt && !k.Paste { // each read by itself or not
		for _, r := range k.Runes {
			lines = append(lines, tea.Println(t.tells(tea.KeyMsg{Type: k.Type, Runes: []rune{r}})))
		}
	} else {
		lines = append(lines, tea.Println(t.tells(k)))
	}
	return t, tea.Sequence(lines...)
}

// tells names a key and what it does, and the line for the settings where that is nothing.
func (t tried) tells(k tea.KeyMsg) string {
	var does []string
	name := k.String()
	for _, at := range []tui.Screen{tui.Field, tui.Trays} {
		n, d := t.keys.Named(k, at, 0)
		name = n
		if d == nil {
			continue
		}
		is := d.Name
		if _, err := strconv.Atoi(is); err == nil {
			is = d.Does // pick sheet 2
		}
		if !slices.Contains(does, is) {
			does = append(does, is)
		}
	}
	switch sent := strings.ToLower(k.String()); {
	case len(does) == 0:
		return fmt.Sprintf("%s: nothing. For settings.toml, under [keys]: move = [\"space\", %q]", name, name)
	case k.Type == tea.KeyRunes && sent != name:
		name = sent + ", which is " + name
	}
	return name + ": " + strings.Join(does, ", ")
}

func (c *KeysCmd) try(h *host, set settings) error {
	in, out, ok := h.terminal()
	if !ok {
		return errors.New("keys are tried in a terminal: this is none")
	}
	h.say("Press anything, mouse buttons too. Esc twice, or ctrl+c, ends.")
	_, err := tea.NewProgram(tried{keys: set.keys}, tea.WithInput(in), tea.WithOutput(out), tea.WithoutSignalHandler(), tea.WithMouseCellMotion()).Run()
	return err
}
