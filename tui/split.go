package tui

import (
	"slices"
	"time"

	tea "github.com/charmbracelet/bubbletea"
)

// A terminal sends an arrow as an escape and a few letters, and a slow line
// brings them in two pieces. bubbletea takes the end of what it read for the
// end of a key, so that the rest of an arrow would come as "[" and "A": in the
// field that is a change of light, written down and counted in the exposure. A
// split puts such pieces together again: an escape waits for what may follow.
type split struct {
	waiting bool
	tail    string // after the escape
	n       int    // of the wait
}

// splitWait is how long an escape waits: no hand presses two keys in less, and
// nobody notices that esc comes so much later.
const splitWait = 50 * time.Millisecond

// splitMsg says that the n-th wait is over.
type splitMsg int

// ends of sequences that are keys here; all others are none.
var ends = map[string]tea.KeyType{
	"[A": tea.KeyUp, "[B": tea.KeyDown, "[C": tea.KeyRight, "[D": tea.KeyLeft, "[Z": tea.KeyShiftTab,
	"OA": tea.KeyUp, "OB": tea.KeyDown, "OC": tea.KeyRight, "OD": tea.KeyLeft,
	"[H": tea.KeyHome, "[F": tea.KeyEnd, "OH": tea.KeyHome, "OF": tea.KeyEnd, "[1~": tea.KeyHome, "[4~": tea.KeyEnd,
	"[3~": tea.KeyDelete, "[5~": tea.KeyPgUp, "[6~": tea.KeyPgDown,
	"OP": tea.KeyF1, "[[A": tea.KeyF1, "[11~": tea.KeyF1,
}

// take gives the keys that k makes whole, which may be none yet; the command
// ends the wait.
func (s *split) take(k tea.KeyMsg) ([]tea.KeyMsg, tea.Cmd) {
	if k.Paste {
		s.waiting = false // the escape that waited was the paste's own
		return []tea.KeyMsg{k}, nil
	}
	if !s.waiting {
		return s.begin(k)
	}
	letters := k.Type == tea.KeyRunes && !k.Alt
	if s.tail == "" && letters && k.Runes[0] == ']' {
		s.tail, k.Runes = "]", k.Runes[1:]
	}
	switch {
	case s.tail == "]":
		// A terminal's answer to a question nobody of ours asked (its colours):
		// nothing of it is a key, up to its end. A g in it would be a lamp.
		if k.Type == tea.KeyCtrlG || k.Alt && string(k.Runes) == "\\" {
			s.waiting = false
			return nil, nil
		}
		return nil, s.wait()
	case !letters:
		return s.giveUp(k)
	}
	return s.sequence(k)
}

// begin waits for what follows an escape; any other key is whole.
func (s *split) begin(k tea.KeyMsg) ([]tea.KeyMsg, tea.Cmd) {
	switch {
	case k.Type == tea.KeyEsc && !k.Alt:
		s.tail = ""
	case k.Type == tea.KeyRunes && k.Alt && slices.Contains([]string{"[", "O", "]"}, string(k.Runes)):
		s.tail = string(k.Runes) // the cut came after the second sign
	default:
		return []tea.KeyMsg{k}, nil
	}
	s.waiting = true
	return nil, s.wait()
}

// sequence reads on in a sequence of letters, up to its end and what follows it.
func (s *split) sequence(k tea.KeyMsg) ([]tea.KeyMsg, tea.Cmd) {
	for i, r := range k.Runes {
		switch {
		case s.tail == "" && r != '[' && r != 'O':
			return s.giveUp(k)
		case s.tail == "", s.tail == "[" && r == '[', s.tail != "O" && r >= ' ' && r < '@':
			s.tail += string(r)
			continue
		}
		if s.tail == "O" || r >= '@' && r <= '~' { // else it is none that was ever sent
			s.tail += string(r)
			i++
		}
		s.waiting = false
		var out []tea.KeyMsg
		if t, ok := ends[s.tail]; ok {
			out = append(out, tea.KeyMsg{Type: t})
		}
		if k.Runes = k.Runes[i:]; len(k.Runes) > 0 {
			out = append(out, k)
		}
		return out, nil
	}
	return nil, s.wait()
}

// giveUp takes what waited for a key of its own, and k for another.
func (s *split) giveUp(k tea.KeyMsg) ([]tea.KeyMsg, tea.Cmd) {
	before := s.over(splitMsg(s.n))
	keys, cmd := s.take(k)
	return append(before, keys...), cmd
}

// over ends a wait. An escape nothing came after is the key esc; half a
// sequence is nothing.
func (s *split) over(n splitMsg) []tea.KeyMsg {
	if !s.waiting || int(n) != s.n {
		return nil
	}
	s.waiting = false
	if s.tail == "" {
		return []tea.KeyMsg{{Type: tea.KeyEsc}}
	}
	return nil
}

func (s *split) wait() tea.Cmd {
	s.n++
	n := splitMsg(s.n)
	return tea.Tick(splitWait, func(time.Time) tea.Msg { return n })
}
