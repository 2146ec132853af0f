package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"wetside/profiles"
	"wetside/session/exposure"
	"wetside/session/notebook"
)

// Values as people write them on a command line. A fault in one is a bad
// argument; the message says what to write. Zero means not given.
type (
	millimetres float64       // "0.5 mm", "12 cm", "0.5"
	stops       float64       // "1/3", "-1 1/2"
	fnumber     float64       // "f/150", "150"
	duration    time.Duration // "1m30s"
	millilitres float64       // "500 ml", "2 l", "500"
)

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
	*v = millilitres(x)
	return nil
}

// String writes the volume as one measures it: whole millilitres from 100 on,
// tenths below.
func (v millilitres) String() string {
	if v >= 100 {
		return fmt.Sprintf("%.0f ml", float64(v))
	}
	return strings.TrimSuffix(fmt.Sprintf("%.1f", float64(v)), ".0") + " ml"
}

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

// json prints a value for programs.
func (h *host) json(v any) error {
	e := json.NewEncoder(h.out)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// say prints a line for people. What others typed has gone through
// notebook.CleanText before.
func (h *host) say(format string, a ...any) { fmt.Fprintf(h.out, format+"\n", a...) }

// warn tells on standard error what does not stop the command.
func (h *host) warn(format string, a ...any) {
	fmt.Fprintf(h.err, "wetside: "+format+"\n", a...)
}

// table prints rows in columns.
func (h *host) table(rows [][]string) error {
	w := tabwriter.NewWriter(h.out, 0, 8, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(w, strings.TrimRight(strings.Join(r, "\t"), "\t"))
	}
	return w.Flush()
}

// known loads the profiles and says which were left out.
func (h *host) known() *profiles.Set {
	set, err := h.profiles()
	if err != nil {
		for l := range strings.Lines(err.Error()) {
			h.warn("left out: %s", strings.TrimSpace(l))
		}
	}
	return set
}

// notebookFile is where the notebook lies.
func (h *host) notebookFile() string { return filepath.Join(h.data, "notebook.db") }

// notebookConfig is the notebook of this host.
func (h *host) notebookConfig() notebook.Config {
	return notebook.Config{Path: h.notebookFile(), LogDir: filepath.Join(h.data, "logs"), NewID: newID, Now: h.now}
}

// book opens the notebook, and makes it where there is none.
func (h *host) book() (*notebook.Book, error) {
	if err := os.MkdirAll(h.data, 0o700); err != nil {
		return nil, fmt.Errorf("no notebook can be kept in %s: %w; choose another folder with --data", h.data, err)
	}
	return h.readable(notebook.Open(h.notebookConfig()))
}

// written opens the notebook to read it; nil where none was ever begun. It
// makes no file.
func (h *host) written() (*notebook.Book, error) {
	b, told, err := notebook.Look(h.notebookConfig())
	if err != nil || b == nil {
		return nil, err
	}
	return h.readable(b, told, nil)
}

// readable passes on a notebook that was opened, with its notices, unless
// nothing can be read of it.
func (h *host) readable(b *notebook.Book, told []notebook.Notice, err error) (*notebook.Book, error) {
	if err != nil {
		return nil, err
	}
	if err := b.Readable(); err != nil {
		b.Close()
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
	if was, err := notebook.Written(h.notebookFile()); err != nil || !was {
		return nil, err
	}
	return h.book()
}

// reckoner is a planner that knows the judged sheets, if there are any. Close
// it when done.
func (h *host) reckoner() (*planner, func(), error) {
	p := &planner{set: h.known()}
	b, err := h.written()
	if err != nil || b == nil {
		return p, func() {}, err
	}
	p.judged = judgedIn(b, p.set)
	return p, func() { b.Close() }, nil
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

// in gives a time in the words of its kind of file or of h.now's day.
func (h *host) parseTime(s string) (time.Time, error) {
	now := h.now()
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02 15:04:05"} {
		if t, err := time.ParseInLocation(layout, s, now.Location()); err == nil {
			return t, nil
		}
	}
	if t, err := time.ParseInLocation("15:04", s, now.Location()); err == nil {
		y, m, d := now.Date()
		return time.Date(y, m, d, t.Hour(), t.Minute(), 0, 0, now.Location()), nil
	}
	return time.Time{}, usage("%q is no time: write 14:30, 2026-05-03 14:30, or 2026-05-03T14:30:00+02:00", s)
}

func (h *host) parseDay(s string) (string, error) {
	switch s {
	case "":
		return "", nil
	case "today":
		return h.now().Format(time.DateOnly), nil
	case "yesterday":
		return h.now().AddDate(0, 0, -1).Format(time.DateOnly), nil
	}
	if _, err := time.Parse(time.DateOnly, s); err != nil {
		return "", usage("%q is no day: write 2026-05-03, today or yesterday", s)
	}
	return s, nil
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// stopWord writes a positive number of stops with its word: "1/2 stop", "2 stops".
func stopWord(v float64) string {
	s := strings.TrimPrefix(exposure.Stops(v), "+")
	if v > 1 {
		return s + " stops"
	}
	return s + " stop"
}
