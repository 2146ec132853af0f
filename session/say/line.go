// Package say is everything that the program can say aloud, as a closed
// language: a [Line] is one of the templates of say.go with its slots filled,
// and nothing else is ever spoken. A slot has a type (a number, a time, a
// stage, a key), so that no free text can get into one; the words between the
// slots are one recorded phrase each, a negation inside it.
//
// The same line is text for a screen ([Line.String]) and clips for a voice
// ([Line.Clips]). The package imports nothing of the project but
// session/words, and does no input or output.
package say

import (
	"fmt"
	"math/bits"
	"strings"
)

// A Line is one thing to be said. It may be compared; the zero Line says
// nothing.
type Line struct {
	to    Nums
	of    int // 1 + index into templates
	slots [3]value
}

// IsZero reports whether the line says nothing.
func (l Line) IsZero() bool { return l.of == 0 }

// To addresses the line to sheets: their numbers come first. Of none it is the
// line itself.
func (l Line) To(n Nums) Line {
	l.to = n
	return l
}

// Nums is a set of sheets' numbers, 1 to 63; of those beyond it keeps that there
// are some.
type Nums uint64

// Num is the set of one sheet; empty for 0.
func Num(n int) Nums {
	switch {
	case n < 1:
		return 0
	case n > 63:
		return 1
	}
	return 1 << n
}

// All lists the numbers in order; 0 stands for one beyond 63.
func (n Nums) All() (out []int) {
	for n != 0 {
		i := bits.TrailingZeros64(uint64(n))
		out = append(out, i)
		n &^= 1 << i
	}
	return out
}

// Len is how many there are.
func (n Nums) Len() int { return bits.OnesCount64(uint64(n)) }

// A Part of a template is a phrase, or a slot where Phrase is empty.
type Part struct {
	Phrase string // as it is recorded
	Slot   string // the name of a slot's kind
	Pause  string // after it: "", ",", ";"
}

type template struct {
	text  string
	parts []Part
}

var templates []template

// add reads a template: phrases, {} for the slots, "," ";" "." for pauses.
func add(text string, kinds ...string) int {
	t := template{text: text}
	for i, piece := range strings.Split(text, "{}") {
		if i > 0 {
			t.parts = append(t.parts, Part{Slot: kinds[i-1]})
		}
		for piece != "" {
			var phrase, pause string
			if k := strings.IndexAny(piece, ",;.?"); k >= 0 {
				phrase, pause, piece = piece[:k], piece[k:k+1], piece[k+1:]
			} else {
				phrase, piece = piece, ""
			}
			if phrase = strings.ToLower(strings.TrimSpace(phrase)); phrase != "" {
				t.parts = append(t.parts, Part{Phrase: phrase})
			}
			if pause == "." || pause == "?" {
				pause = ";"
			}
			if n := len(t.parts); n > 0 && pause != "" {
				t.parts[n-1].Pause = pause
			}
		}
	}
	templates = append(templates, t)
	Templates = append(Templates, t.parts)
	return len(templates)
}

// A t0 is a template without slots, a t1 one with one of type A, and so on.
// Their Of makes the Line.
type (
	t0               struct{ of int }
	t1[A slot]       struct{ of int }
	t2[A, B slot]    struct{ of int }
	t3[A, B, C slot] struct{ of int }
	slot             interface{ value() value }
	value            struct {
		kind string
		n    int64
		text string
	}
)

func kindOf[A slot]() string { var a A; return a.value().kind }

func line0(text string) t0                  { return t0{add(text)} }
func line1[A slot](text string) t1[A]       { return t1[A]{add(text, kindOf[A]())} }
func line2[A, B slot](text string) t2[A, B] { return t2[A, B]{add(text, kindOf[A](), kindOf[B]())} }
func line3[A, B, C slot](text string) t3[A, B, C] {
	return t3[A, B, C]{add(text, kindOf[A](), kindOf[B](), kindOf[C]())}
}

// Of is the line.
func (t t0) Of() Line               { return Line{of: t.of} }
func (t t1[A]) Of(a A) Line         { return Line{of: t.of, slots: [3]value{a.value()}} }
func (t t2[A, B]) Of(a A, b B) Line { return Line{of: t.of, slots: [3]value{a.value(), b.value()}} }
func (t t3[A, B, C]) Of(a A, b B, c C) Line {
	return Line{of: t.of, slots: [3]value{a.value(), b.value(), c.value()}}
}

// Is reports whether the line was made from the same template as the other.
func (l Line) Is(other Line) bool { return l.of == other.of }

// String is the line as a screen shows it.
func (l Line) String() string {
	if l.of == 0 {
		return ""
	}
	var b strings.Builder
	if all := l.to.All(); len(all) > 0 {
		var ns []string
		for _, n := range all {
			ns = append(ns, fmt.Sprint(n))
		}
		if len(ns) == 1 {
			b.WriteString("sheet ")
		} else {
			b.WriteString("sheets ")
		}
		b.WriteString(strings.Join(ns, ", ") + ": ")
	}
	for i, piece := range strings.Split(templates[l.of-1].text, "{}") {
		if i > 0 {
			b.WriteString(l.slots[i-1].text1())
		}
		b.WriteString(piece)
	}
	return b.String()
}

// Clips is the line as a voice says it: names of clips, and the pauses "," ";"
// between them. can reports whether a name given by the user can be spoken;
// such a name stands in the list as it is, behind a quotation mark.
func (l Line) Clips(can func(name string) bool) []string {
	if l.of == 0 {
		return nil
	}
	var out []string
	pause := func(p string) {
		if p != "" && len(out) > 0 {
			out = append(out, p)
		}
	}
	for _, n := range l.to.All() {
		out = append(out, Numeral(n)...)
		pause(",")
	}
	k := 0
	for _, p := range templates[l.of-1].parts {
		if p.Phrase != "" {
			out = append(out, p.Phrase)
		} else {
			out = append(out, l.slots[k].clips(can)...)
			k++
		}
		pause(p.Pause)
	}
	for len(out) > 0 && (out[len(out)-1] == "," || out[len(out)-1] == ";") {
		out = out[:len(out)-1]
	}
	return out
}

// Templates is every template in parts, in the order of say.go.
var Templates [][]Part

// Examples are lines of every template, with a slot at each of its extremes in
// turn: what there is to be heard, for a test or a listener.
var Examples []Line

func init() {
	for i, parts := range Templates {
		most := 1
		var kinds []string
		for _, p := range parts {
			if p.Slot != "" {
				kinds = append(kinds, p.Slot)
				most = max(most, len(extremes[p.Slot]))
			}
		}
		for k := range most {
			l := Line{of: i + 1}
			for j, kind := range kinds {
				x := extremes[kind]
				l.slots[j] = x[(k+3*i+5*j)%len(x)]
			}
			Examples = append(Examples, l)
		}
	}
}
