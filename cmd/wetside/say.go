package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode/utf16"

	"github.com/charmbracelet/x/ansi"

	"wetside/profiles"
	"wetside/session/desk"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
)

// Values as people write them on a command line. A fault in one is a bad
// argument; the message says what to write. Zero means not given.
type (
	millimetres float64       // "0.5 mm", "12 cm", "0.5"
	stops       float64       // "1/3", "-1 1/2"
	fnumber     float64       // "f/150", "150"
	duration    time.Duration // "1m30s"
	number      float64       // "0.7", "0,7", "2 1/2"
	nanometres  float64       // "450", "450 nm"
)

// A millilitres is a volume, "500 ml", "2 l", "1 qt" or "500". Which says whose
// quart or gallon it was taken for, where that was not said.
type millilitres struct {
	ML    float64
	Which string
}

// which says so of each volume that wants it.
func (h *host) which(volumes ...millilitres) {
	said := map[string]bool{}
	for _, v := range volumes {
		if v.Which != "" && !said[v.Which] {
			said[v.Which] = true
			h.say("%s", v.Which)
		}
	}
}

func (v *number) UnmarshalText(b []byte) error {
	x, ok := words.ReadNumber(plainMinus(string(b)))
	if !ok {
		return fmt.Errorf("wants a number, not %q", plainMinus(string(b)))
	}
	*v = number(x)
	return nil
}

func (v *nanometres) UnmarshalText(b []byte) error {
	mm, _, err := words.ReadMeasure(string(b), words.Lengths)
	switch {
	case err == words.ErrNoUnit:
		*v = nanometres(mm)
	case err != nil:
		return fmt.Errorf("%q is no wavelength: write one like 450 nm", string(b))
	default:
		*v = nanometres(mm * 1e6)
	}
	return nil
}

func (v *millimetres) UnmarshalText(b []byte) error {
	x, err := exposure.ParseLength(string(b))
	*v = millimetres(x)
	return err
}

func (v *stops) UnmarshalText(b []byte) error {
	x, err := exposure.ParseStops(plainMinus(string(b)))
	*v = stops(x)
	return err
}

func (v *fnumber) UnmarshalText(b []byte) error {
	x, err := exposure.ParseFNumber(string(b))
	*v = fnumber(x)
	return err
}

func (v *duration) UnmarshalText(b []byte) error {
	x, err := profiles.ParseDuration(string(b))
	*v = duration(x)
	return err
}

func (v *millilitres) UnmarshalText(b []byte) error {
	s := string(b)
	if s != "" && strings.Trim(s, "0123456789.,") == "" {
		s += " ml"
	}
	var x profiles.Volume
	if err := x.UnmarshalText([]byte(s)); err != nil {
		return err
	}
	if x <= 0 {
		return fmt.Errorf("%q holds nothing: write a volume like 500 ml or 2 l", string(b))
	}
	*v = millilitres{float64(x), words.WhichVolume(s)}
	return nil
}

// String writes the volume as one measures it.
func (v millilitres) String() string { return measured(v.ML) }

func measured(ml float64) string { return words.Millilitres(ml) + " ml" }

// minus is the sign of a negative number where a hyphen would begin a flag.
const minus = "−"

// negatives lets numbers below zero stand among the arguments: no flag of
// wetside begins with a digit, so what looks like one is a number.
func negatives(args []string) []string {
	out := make([]string, 0, len(args))
	rest := false
	for _, a := range args {
		rest = rest || a == "--"
		if n, ok := strings.CutPrefix(a, "-"); ok && !rest && n != "" && strings.ContainsAny(n[:1], "0123456789.") {
			a = minus + n
		}
		out = append(out, a)
	}
	return out
}

func plainMinus(s string) string { return strings.ReplaceAll(s, minus, "-") }

// json prints a value for programs. What moves a terminal's text about is
// escaped, for it may be read on one.
func (h *host) json(v any) error {
	text, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	var out strings.Builder
	for _, r := range string(text) + "\n" {
		if r > 0x7e && words.Unseen(r) { // within a string, where else
			for _, u := range utf16.Encode([]rune{r}) {
				fmt.Fprintf(&out, `\u%04x`, u)
			}
			continue
		}
		out.WriteRune(r)
	}
	_, err = io.WriteString(h.out, out.String())
	return err
}

// say prints a line for people. Whoever typed what is in it, and whatever file
// it came from, it stays one line, and a terminal shows it as text.
func (h *host) say(format string, a ...any) {
	fmt.Fprintln(h.out, words.Clean(fmt.Sprintf(format, a...)))
}

// about says what there is to say of something; an empty text is nothing.
func (h *host) about(format, text string) {
	if text != "" {
		h.say(format, text)
	}
}

// warn tells on standard error what does not stop the command.
func (h *host) warn(format string, a ...any) {
	fmt.Fprintf(h.err, "wetside: %s\n", words.Clean(fmt.Sprintf(format, a...)))
}

// screen is how many columns a list has at most.
const screen = 80

// table prints rows in columns: see columns.
func (h *host) table(rows [][]string, give ...int) error {
	for _, l := range columns(rows, give...) {
		if _, err := fmt.Fprintln(h.out, l); err != nil {
			return err
		}
	}
	return nil
}

// columns lays rows out in lines. Where they would be wider than the screen, the
// columns give are cut to fit, the widest first.
func columns(rows [][]string, give ...int) []string {
	wide := widths(rows, give)
	var lines []string
	for _, r := range rows {
		var l strings.Builder
		for i, cell := range r {
			if slices.Contains(give, i) {
				cell = cut(cell, wide[i])
			}
			l.WriteString(cell)
			l.WriteString(strings.Repeat(" ", max(0, wide[i]-ansi.StringWidth(cell))+2))
		}
		lines = append(lines, strings.TrimRight(l.String(), " "))
	}
	return lines
}

// widths are those of the columns, whose cells it cleans.
func widths(rows [][]string, give []int) (wide []int) {
	for _, r := range rows {
		for i := range r {
			r[i] = words.Clean(r[i])
			if i == len(wide) {
				wide = append(wide, 0)
			}
			wide[i] = max(wide[i], ansi.StringWidth(r[i]))
		}
	}
	all := 2 * (len(wide) - 1)
	for _, w := range wide {
		all += w
	}
	for ; all > screen && len(give) > 0; all-- {
		i := slices.MaxFunc(give, func(i, j int) int { return cmp.Compare(wide[i], wide[j]) })
		if wide[i] <= 4 {
			break
		}
		wide[i]--
	}
	return wide
}

// cut shortens text to a width in columns.
func cut(text string, width int) string { return ansi.Truncate(text, width, "...") }

// known loads the profiles and says which were left out.
func (h *host) known() *profiles.Set {
	set, err := h.profiles()
	var left profiles.Problems
	errors.As(err, &left)
	for _, p := range left {
		h.warn("left out: %s", oneLine(p))
	}
	return set
}

// notebookFile is where the notebook lies.
func (h *host) notebookFile() string { return filepath.Join(h.data, "notebook.db") }

// notebookConfig is the notebook of this host.
func (h *host) notebookConfig() notebook.Config {
	return notebook.Config{Path: h.notebookFile(), LogDir: filepath.Join(h.data, "logs"),
		Spare: []string{h.state, h.runtime}, NewID: newID, Now: h.now, Sleep: h.sleep}
}

// book opens the notebook, and makes it where there is none.
func (h *host) book() (*notebook.Book, error) {
	return h.readable(notebook.Open(h.notebookConfig()))
}

// written opens the notebook to read it; nil where none was ever begun. It
// makes no file.
func (h *host) written() (*notebook.Book, error) {
	b, told, err := notebook.Look(h.notebookConfig())
	if err != nil || b == nil {
		return nil, h.unread(err)
	}
	return h.readable(b, told, nil)
}

// orNothing is written, with a notebook that holds nothing where none was ever begun.
func (h *host) orNothing() (*notebook.Book, error) {
	b, err := h.written()
	if err == nil && b == nil {
		return notebook.Nothing()
	}
	return b, err
}

// unread says of which folder a notebook could not be looked for.
func (h *host) unread(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return fmt.Errorf("whether a notebook lies in %s cannot be read: %w", h.data, pe.Err)
	}
	return err
}

// readable passes on a notebook that was opened, and says its notices.
func (h *host) readable(b *notebook.Book, told []notebook.Notice, err error) (*notebook.Book, error) {
	if err != nil {
		return nil, err
	}
	for _, n := range told {
		h.warn("%s", n.Text)
	}
	return b, nil
}

// amendable opens the notebook to add to a sheet of it; nil where none was ever
// begun, and so no sheet is.
func (h *host) amendable() (*notebook.Book, error) {
	if was, err := notebook.Written(h.notebookConfig()); err != nil || !was {
		return nil, h.unread(err)
	}
	return h.book()
}

// reckoner is a planner that knows the judged sheets, if there are any. Close
// it when done.
func (h *host) reckoner() (*profiles.Planner, func(), error) {
	b, err := h.written()
	return h.planner(b), func() { b.Close() }, err
}

// planner is one that knows the judged sheets of a notebook; nil: there is none.
func (h *host) planner(b *notebook.Book) *profiles.Planner {
	p := &profiles.Planner{Set: h.known(), Now: h.now, Judged: func() []exposure.Judged { return nil }}
	if b != nil {
		p.Judged = desk.JudgedIn(b, p.Set.Today)
	}
	return p
}

// readFile reads a file the user named.
func readFile(name string) ([]byte, error) {
	f, err := notebook.OpenFile(name)
	if err != nil {
		return nil, usageError{noInput(name, err)}
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		return nil, noInput(name, err)
	}
	return data, nil
}

// noInput says why a file that the user named cannot be read.
func noInput(name string, err error) error {
	var pe *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("there is no file %s", name)
	case errors.As(err, &pe):
		return fmt.Errorf("%s cannot be read: %w", name, pe.Err)
	}
	return err
}

// parseTime reads an instant: a time of h.now's day, or one with its day before it.
func (h *host) parseTime(s string) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t, nil
	}
	t, _, rest, err := profiles.When(s, h.now())
	if err == nil && rest != "" {
		err = fmt.Errorf("%q after the time is not clear: write 14:30, or 2026-05-03 14:30", rest)
	}
	if err != nil {
		return t, usageError{err}
	}
	return t, nil
}

// timeOr is a time that the user may have given.
func (h *host) timeOr(s string, otherwise time.Time) (time.Time, error) {
	if s == "" {
		return otherwise, nil
	}
	return h.parseTime(s)
}

func (h *host) parseDay(s string) (string, error) {
	if s == "" {
		return "", nil
	}
	day, ok := profiles.Day(s, h.now())
	if !ok {
		return "", usage("%q is no day: write 2026-05-03, today or yesterday", s)
	}
	return day.Format(time.DateOnly), nil
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
