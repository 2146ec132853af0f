package tui

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"
)

// This file is the table of what can be done by a key, and of the keys that do
// it. Help, footer, the settings and "wetside keys" go through it. The screens
// know each deed by the first of its own keys; whatever key was pressed is
// turned into that one before they see it.

// A KeyDeed is something that a key does.
type KeyDeed struct {
	Name string   // in the settings: move, where, back
	At   []Screen // where; nil: everywhere
	Keys []string // from the start; the first is the one that the screens know
	Does string   // for people
}

// KeyDeeds is every deed that can be bound to a key. A clicker sends page down and
// up, F5, and period or b: its four keys do all that is called for.
var KeyDeeds = []KeyDeed{
	{"move", nil, []string{"space", "pgdown"}, "do what is called: what it does stands beside the key"},
	{"where", nil, []string{"enter", "f5"}, "say what the large key does now, and where every sheet stands"},
	{"other", nil, []string{"."}, "the next sheet, or of those asked about the next; b too, where it is free"},
	{"back", nil, []string{"backspace", "pgup"}, "take back what was done last"},
	{"next", nil, []string{"tab"}, "next screen"},
	{"previous", nil, []string{"shift+tab"}, "screen before"},
	{"help", nil, []string{"?", "f12"}, "the keys of this screen"},
	{"louder", nil, []string{"+", "=", "u"}, "louder"},
	{"softer", nil, []string{"-", "_", "z"}, "softer"},
	{"glow", nil, []string{"g"}, "the screen: dark, ember, torch"},
	{"quit", nil, []string{"q"}, "quit"},
	{"cover", []Screen{Field}, []string{"c"}, "cover or uncover the pinhole"},
	{"darker", []Screen{Field}, []string{"[", "left"}, "the light is 1/3 stop darker"},
	{"brighter", []Screen{Field}, []string{"]", "right"}, "the light is 1/3 stop brighter"},
	{"light", []Screen{Field}, []string{"e"}, "type the light, or a time"},
	{"seen", []Screen{Trays}, []string{"i"}, "the image is seen"},
	{"hold", []Screen{Trays}, []string{"h"}, "hold the sheet in water"},
	{"water", []Screen{Trays}, []string{"w"}, "the water was changed"},
	{"paper", []Screen{Trays}, []string{"p"}, "paper is out, or put away"},
	{"bath", []Screen{Trays}, []string{"b"}, "a fresh bath"},
	{"lead", []Screen{Trays}, []string{"l"}, "the program leads: it counts each move in, and takes it as done; again, it leads no more"},
	{"longer", []Screen{Trays}, []string{"up"}, "half a minute more for the step that runs; ten seconds where it is shorter than a minute"},
	{"shorter", []Screen{Trays}, []string{"down"}, "as much less"},
	{"mark", []Screen{Trays}, []string{"m"}, "mark this moment"},
	{"note", []Screen{Field, Trays}, []string{"o"}, "write a note"},
	{"spoiled", []Screen{Field, Trays}, []string{"x"}, "the sheet is spoiled"},
	{"withdraw", []Screen{Bench, Field, Trays}, []string{"delete"}, "take away a sheet that was added and never had light"},
	{"1", nil, []string{"1", "f1"}, "pick sheet 1"},
	{"2", nil, []string{"2", "f2"}, "pick sheet 2"},
	{"3", nil, []string{"3", "f3"}, "pick sheet 3"},
	{"4", nil, []string{"4", "f4"}, "pick sheet 4"},
	{"5", nil, []string{"5"}, "pick sheet 5; f5 too, once there are five sheets"},
	{"6", nil, []string{"6", "f6"}, "pick sheet 6"},
	{"7", nil, []string{"7", "f7"}, "pick sheet 7"},
	{"8", nil, []string{"8", "f8"}, "pick sheet 8"},
	{"9", nil, []string{"9", "f9"}, "pick sheet 9"},
	{"10", nil, []string{"0", "f10"}, "pick sheet 10"},
}

// Keys says which key does what.
type Keys struct {
	bound  map[string][]string // by the deed's name; else its own
	layout string
}

// overlaps reports whether two deeds can be meant by one key.
func (d KeyDeed) overlaps(e KeyDeed) bool {
	return d.At == nil || e.At == nil || slices.ContainsFunc(d.At, func(s Screen) bool { return slices.Contains(e.At, s) })
}

// A BadKey is what is wrong with a binding: of Deed, with Key where it is about
// one key.
type BadKey struct {
	Deed, Key string
	Other     string // the deed that has the key already; empty: no such deed, or no key
}

// Error implements error.
func (e *BadKey) Error() string {
	switch {
	case e.Other != "":
		return fmt.Sprintf("%q is the key of %s already: give %s another", e.Key, e.Other, e.Deed)
	case e.Key != "":
		return fmt.Sprintf("%q is no key: \"wetside keys --try\" names what is pressed", e.Key)
	}
	return fmt.Sprintf("there is no %q that a key could do: \"wetside keys\" lists what there is", e.Deed)
}

// BindKeys gives deeds other keys than their own, by the deed's name. What is
// wrong is left out and returned, sorted by deed. A key that is given away is no
// more the key of the deed that had it from the start. The layout is that of the
// keyboard where it is known: "us", "de", "fr", "nordic", "cz".
func BindKeys(give map[string][]string, layout string) (Keys, []*BadKey) {
	k := Keys{bound: map[string][]string{}, layout: layout}
	var bad []*BadKey
	type owner struct {
		deed KeyDeed
		key  string
	}
	var given []owner
	for _, d := range KeyDeeds {
		for _, name := range give[d.Name] {
			name = keyName(strings.TrimSpace(name))
			if name == "" || isMouse(name) && !knownMouse(name) {
				bad = append(bad, &BadKey{Deed: d.Name, Key: cmp.Or(name, " ")})
				continue
			}
			i := slices.IndexFunc(given, func(o owner) bool { return o.key == name && o.deed.overlaps(d) })
			if i >= 0 {
				bad = append(bad, &BadKey{d.Name, name, given[i].deed.Name})
				continue
			}
			given = append(given, owner{d, name})
			k.bound[d.Name] = append(k.bound[d.Name], name)
		}
	}
	for name := range give {
		if !slices.ContainsFunc(KeyDeeds, func(d KeyDeed) bool { return d.Name == name }) {
			bad = append(bad, &BadKey{Deed: name})
		}
	}
	for _, d := range KeyDeeds {
		if k.bound[d.Name] != nil {
			continue
		}
		k.bound[d.Name] = slices.DeleteFunc(slices.Clone(d.Keys), func(name string) bool {
			return slices.ContainsFunc(given, func(o owner) bool { return o.key == name && o.deed.overlaps(d) })
		})
	}
	slices.SortFunc(bad, func(a, b *BadKey) int { return strings.Compare(a.Deed+a.Key, b.Deed+b.Key) })
	return k, bad
}

// Of returns the keys of a deed.
func (k Keys) Of(deed string) []string { return k.bound[deed] }

// Named returns what a key is called, and what it does on a screen; empty for
// nothing. sheets is how many there are.
func (k *Keys) Named(msg tea.KeyMsg, at Screen, sheets int) (name string, deed *KeyDeed) {
	name = keyName(msg.String())
	if n := k.digit(msg); n != "" {
		name = n
	}
	if name == "f5" && sheets >= 5 {
		name = "5"
	}
	for i := range KeyDeeds {
		d := &KeyDeeds[i]
		if (d.At == nil || slices.Contains(d.At, at)) && slices.Contains(k.bound[d.Name], name) {
			return name, d
		}
	}
	if name == "b" && at == Field { // a clicker's black button, where b is free
		return name, &KeyDeeds[slices.IndexFunc(KeyDeeds, func(d KeyDeed) bool { return d.Name == "other" })]
	}
	return name, nil
}

// keyName is what a key is called in the settings.
func keyName(s string) string { return cmp.Or(keyNames[s], strings.ToLower(s)) }

var keyNames = map[string]string{" ": "space", "period": ".", "comma": ",", "plus": "+", "minus": "-"}

// topRows are the rows of digits of layouts on which a digit wants Shift, as
// they come without it. Czech: QWERTZ and QWERTY; French: AZERTY.
var topRows = map[string]string{"fr": `&é"'(-è_çà`, "cz": "+ěščřžýáíé"}

// digit is the digit that stands on a key of the top row, where the layout wants
// Shift for it; else empty. A letter that only one of those layouts has there
// tells which it is.
func (k *Keys) digit(msg tea.KeyMsg) string {
	if msg.Type != tea.KeyRunes || len(msg.Runes) != 1 {
		return ""
	}
	r := unicode.ToLower(msg.Runes[0])
	// The row of one layout has + - _ where others have the keys of the volume: as
	// long as it is not known which it is, they are no digits.
	if !strings.ContainsRune("+-_é", r) {
		for layout, row := range topRows {
			if strings.ContainsRune(row, r) {
				k.layout = layout
			}
		}
	}
	layout := k.layout
	if r == 'é' && topRows[layout] == "" {
		layout = "fr"
	}
	for i, x := range []rune(topRows[layout]) {
		if x == r {
			return fmt.Sprint((i + 1) % 10)
		}
	}
	return ""
}

// doubtful reports whether a key may be a digit of a layout, or the volume: no
// more is done than to say so.
func (k *Keys) doubtful(msg tea.KeyMsg) bool {
	return k.layout == "" && msg.Type == tea.KeyRunes && (msg.String() == "-" || msg.String() == "_")
}

// press turns a key into the one that the screens know its deed by. A key that
// does nothing here any more, because its deed has another, comes back empty.
func (k *Keys) press(msg tea.KeyMsg, at Screen, sheets int) (tea.KeyMsg, *KeyDeed) {
	name, d := k.Named(msg, at, sheets)
	if d == nil {
		for _, x := range KeyDeeds {
			if x.Keys[0] == name && (x.At == nil || slices.Contains(x.At, at)) {
				return tea.KeyMsg{}, nil
			}
		}
		return msg, nil
	}
	if d.Keys[0] == name && k.digit(msg) == "" {
		return msg, d
	}
	return keyMsg(d.Keys[0]), d
}

// keyMsg is the key of that name.
func keyMsg(name string) tea.KeyMsg {
	for t, s := range map[tea.KeyType]string{tea.KeySpace: "space", tea.KeyEnter: "enter", tea.KeyBackspace: "backspace", tea.KeyTab: "tab",
		tea.KeyShiftTab: "shift+tab", tea.KeyUp: "up", tea.KeyDown: "down", tea.KeyDelete: "delete"} {
		if s == name {
			if t == tea.KeySpace {
				return tea.KeyMsg{Type: t, Runes: []rune{' '}}
			}
			return tea.KeyMsg{Type: t}
		}
	}
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(name)}
}

// keyFor is what the key of a deed is called here.
func (m *Model) keyFor(deed string) string {
	if ks := m.keymap.Of(deed); len(ks) > 0 {
		return ks[0]
	}
	return "no key for " + deed
}

// named is a key of the footer or the help by what it is called here.
func (m *Model) named(b key.Binding) key.Binding {
	for _, d := range KeyDeeds {
		if d.At != nil && !slices.Contains(d.At, m.screen) || !slices.Contains(b.Keys(), keyMsg(d.Keys[0]).String()) {
			continue
		}
		if ks := m.keymap.Of(d.Name); len(ks) == 0 {
			b.SetEnabled(false)
		} else if ks[0] != d.Keys[0] {
			b.SetHelp(ks[0], b.Help().Desc)
		}
		break
	}
	return b
}
