package notebook

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
)

// A jsonFile reads a JSON document that may be damaged in places: in a list, it
// goes on behind an entry that cannot be read.
type jsonFile struct {
	*json.Decoder
	f    *os.File
	base int64 // place in the file of the decoder's offset 0
	at   int64 // so far lines were counted
	row  int   // line of at, from 1
}

// readJSONFile begins at a place in a file.
func readJSONFile(f *os.File, from int64) (*jsonFile, error) {
	x := &jsonFile{f: f, base: from, row: 1}
	if _, err := f.Seek(from, io.SeekStart); err != nil {
		return nil, err
	}
	x.Decoder = json.NewDecoder(f)
	return x, nil
}

// next returns where the next thing begins: its place in the file, and its line.
func (x *jsonFile) next() (place int64, line int) {
	r := bufio.NewReader(io.NewSectionReader(x.f, x.at, 1<<62))
	end := x.base + x.InputOffset()
	for {
		c, err := r.ReadByte()
		if err != nil || x.at >= end && strings.IndexByte(" \t\r\n,", c) < 0 {
			return x.at, x.row
		}
		x.at++
		if c == '\n' {
			x.row++
		}
	}
}

// list reads a list. Each entry is handed to do; what cannot be read, or what do
// does not take, to leave, with its line and its number from 1.
func (x *jsonFile) list(do func(json.RawMessage) error, leave func(line, n int, why error)) error {
	if t, err := x.Token(); err != nil || t != json.Delim('[') {
		return errors.Join(errors.New("it is no list"), err)
	}
	for n := 1; x.More(); n++ {
		place, line := x.next()
		var raw json.RawMessage
		if err := x.Decode(&raw); err != nil {
			leave(line, n, jsonFault(err))
			if err := x.skip(place); err != nil {
				return err
			}
			continue
		}
		var bad *badEntry
		if err := do(raw); errors.As(err, &bad) {
			leave(line, n, bad)
		} else if err != nil {
			return err
		}
	}
	_, err := x.Token()
	return err
}

// A badEntry says that an entry of a list is left out, and why.
type badEntry struct{ why error }

func (b *badEntry) Error() string { return b.why.Error() }
func (b *badEntry) Unwrap() error { return b.why }

// skip goes on behind a damaged entry of a list: at the next line that begins as
// the entry's did, or that ends the list.
func (x *jsonFile) skip(place int64) error {
	before := make([]byte, min(place, 1<<12))
	if _, err := x.f.ReadAt(before, place-int64(len(before))); err != nil {
		return err
	}
	indent := before[bytes.LastIndexByte(before, '\n')+1:]
	if len(bytes.TrimLeft(indent, " \t")) > 0 {
		return errors.New("it is damaged, and where the next begins cannot be told, for not each has a line of its own")
	}
	place, err := x.nextEntry(place, len(indent))
	if err != nil {
		return err
	}
	// A list within an object, as it was.
	const head = `{"":[`
	if _, err := x.f.Seek(place, io.SeekStart); err != nil {
		return err
	}
	x.Decoder = json.NewDecoder(io.MultiReader(strings.NewReader(head), x.f))
	x.base = place - int64(len(head))
	for range 3 {
		if _, err := x.Token(); err != nil {
			return err
		}
	}
	return nil
}

// jsonFault says in a person's words what is wrong with a piece of JSON.
func jsonFault(err error) error {
	var t *json.UnmarshalTypeError
	var s *json.SyntaxError
	switch {
	case errors.As(err, &t) && t.Field != "":
		return fmt.Errorf("its %s cannot be a %s", t.Field, t.Value)
	case errors.As(err, &t):
		return fmt.Errorf("a %s cannot stand here", t.Value)
	case errors.As(err, &s):
		return fmt.Errorf("it is damaged: %w", s)
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return errors.New("the file ends in the midst of it")
	}
	return err
}

// nextEntry is where the next entry of a list begins, or the list ends: by its indent.
func (x *jsonFile) nextEntry(place int64, indent int) (int64, error) {
	r := bufio.NewReader(io.NewSectionReader(x.f, place, 1<<62))
	for first := true; ; first = false {
		l, err := r.ReadBytes('\n')
		text := bytes.TrimLeft(l, " \t")
		in := len(l) - len(text)
		if !first && (bytes.HasPrefix(text, []byte("{")) && in == indent || bytes.HasPrefix(text, []byte("]")) && in <= indent) {
			return place, nil
		}
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return 0, err
		}
		place += int64(len(l))
	}
}
