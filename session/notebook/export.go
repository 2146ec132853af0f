package notebook

import (
	"bufio"
	"database/sql"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/words"
)

// A Format is a format of export.
type Format struct {
	Name   string
	Is     string // what one gets
	Ending string // of a file, besides the name
	Plots  bool   // shows [Options.Plot]
	write  func(io.Writer, *sql.DB, Filter, []*Record, Options) error
}

// Formats lists every one of them.
var Formats []*Format

func format(f Format) *Format {
	Formats = append(Formats, &f)
	return &f
}

// The formats.
var (
	CSV  = format(Format{Name: "csv", Is: "a row a stage", write: exportCSV})
	JSON = format(Format{Name: "json", Is: "for import and programs", write: exportJSON})
	HTML = format(Format{Name: "html", Is: "a card a sheet, prints well", Ending: "htm", Plots: true, write: exportHTML})
)

// FormatOf finds a format by its name, or the ending of a file.
func FormatOf(name string) (*Format, error) {
	var names []string
	for _, f := range Formats {
		if name != "" && (name == f.Name || name == f.Ending) {
			return f, nil
		}
		names = append(names, f.Name)
	}
	if name == "" {
		return nil, fmt.Errorf("say the format: --format %s", words.Or(names))
	}
	return nil, fmt.Errorf("there is no format %q: use %s", name, words.Or(names))
}

// jsonName and jsonVersion stand at the head of a JSON export:
//
//	{"format":"wetside sheets","version":1,"sheets":[ ...Record... ],"events":[ ... ]}
//
// The events are lines of the journal, each with its sitting, its checksum and
// the notebook it came from; they are there when no sheet was left out but
// rehearsals. Whatever reads only the sheets can leave them aside.
//
// A later version only adds names; one that takes a name away gets a new number.
const (
	jsonName    = "wetside sheets"
	jsonVersion = 1
)

// Options are what an export may be given besides.
type Options struct {
	Title string // HTML; empty: "Sheets"
	Plot  *Plot  // HTML: what the judged sheets say
	Comma bool   // CSV: decimal commas, and semicolons between the fields
}

// Export writes the sheets of a filter, oldest first unless the filter has a
// limit or says otherwise. It reads one state of the notebook, whatever is
// written meanwhile, and holds one sheet in memory at a time.
func (b *Book) Export(w io.Writer, format *Format, f Filter, o Options) error {
	rd, waiting, err := b.reader()
	if err != nil {
		return err
	}
	if f.Limit == 0 {
		f.OldestFirst = true
	}
	bw := bufio.NewWriterSize(w, 1<<16)
	if err := format.write(bw, rd, f, waiting, o); err != nil {
		if isDamage(err) {
			b.mu.Lock()
			b.damaged(err)
			b.mu.Unlock()
			if _, _, merr := b.reader(); merr == nil {
				err = fmt.Errorf("%w; it has been made again: try once more", err)
			}
		}
		return err
	}
	return bw.Flush()
}

// each hands over the records of a filter as they are stored.
func each(rd *sql.DB, f Filter, waiting []*Record, do func(body sql.RawBytes) error) error {
	skip := map[string]bool{}
	for _, r := range waiting {
		skip[r.ID] = true
	}
	w, args := f.where()
	var id, text sql.RawBytes
	if err := scan(rd, []any{&id, &text}, func() error {
		if skip[string(id)] {
			return nil
		}
		r, ok := parse(string(text))
		if !ok || !r.rec {
			return fmt.Errorf("%w: sheet %s", errDamaged, id)
		}
		return do(sql.RawBytes(r.body))
	}, `SELECT id, (SELECT text FROM line WHERE seq = line) FROM sheet`+w, args...); err != nil {
		return err
	}
	for _, r := range waiting {
		if !f.match(r) {
			continue
		}
		body, err := r.encode()
		if err != nil {
			return err
		}
		if err := do(sql.RawBytes(body)); err != nil {
			return err
		}
	}
	return nil
}

func eachRecord(rd *sql.DB, f Filter, waiting []*Record, do func(*Record) error) error {
	return each(rd, f, waiting, func(body sql.RawBytes) error {
		r, err := decodeRecord(string(body))
		if err != nil {
			return fmt.Errorf("%w: a sheet's record: %v", errDamaged, err)
		}
		return do(&r)
	})
}

func exportCSV(w io.Writer, rd *sql.DB, f Filter, waiting []*Record, o Options) error {
	c, err := newCSV(w, o.Comma)
	if err != nil {
		return err
	}
	if err := eachRecord(rd, f, waiting, c.sheet); err != nil {
		return err
	}
	c.w.Flush()
	return c.w.Error()
}

func exportJSON(w io.Writer, rd *sql.DB, f Filter, waiting []*Record, _ Options) error {
	if _, err := fmt.Fprintf(w, `{"format":%q,"version":%d,"sheets":[`, jsonName, jsonVersion); err != nil {
		return err
	}
	sep := "\n"
	err := each(rd, f, waiting, func(body sql.RawBytes) error {
		if _, err := io.WriteString(w, sep); err != nil {
			return err
		}
		sep = ",\n"
		_, err := w.Write(body)
		return err
	})
	if err != nil {
		return err
	}
	if f.whole() {
		if _, err := io.WriteString(w, "\n],\"events\":["); err != nil {
			return err
		}
		sep = "\n"
		if err := eachEvent(rd, f.Rehearsals, func(r *row) error {
			_, err := io.WriteString(w, sep+r.text)
			sep = ",\n"
			return err
		}); err != nil {
			return err
		}
	}
	_, err = io.WriteString(w, "\n]}\n")
	return err
}

// whole reports whether a filter leaves out nothing but rehearsals.
func (f Filter) whole() bool {
	f.Rehearsals, f.OldestFirst = Both, false
	return f == Filter{}
}

// eachEvent hands over the events of all sittings, or of those that are
// rehearsals or are none, sitting by sitting.
func eachEvent(rd *sql.DB, rehearsals Which, do func(*row) error) error {
	sit, skip := "", false
	var id, text sql.RawBytes
	return scan(rd, []any{&id, &text}, func() error {
		r, ok := parse(string(text))
		if !ok {
			return fmt.Errorf("%w: line %s", errDamaged, id)
		}
		if r.rec {
			return nil
		}
		if r.Sitting != sit {
			// Without its opening, a sitting is amendments of sheets alone.
			sit, skip = r.Sitting, rehearsals != Both && r.ev.Kind == session.Opened && r.ev.Rehearsal != (rehearsals == Only)
		}
		if skip {
			return nil
		}
		return do(r)
	}, `SELECT id, text FROM line ORDER BY sitting, seq`)
}

// Stats is the notebook in a few figures. Rehearsals are not in it.
type Stats struct {
	Sheets, Finished, Spoiled, Judged int
	Rehearsals                        int // left out of all the others
	Stages                            []StageStats
}

// StageStats is one stage over all real sheets that were not spoiled.
type StageStats struct {
	Stage   string
	N       int
	Mean    time.Duration // actual
	Over    int           // how many were late
	MeanOff time.Duration // mean of over and short, signed
}

// Stats reckons the figures of a filter's sheets, its limit apart.
func (b *Book) Stats(f Filter) (s Stats, err error) {
	err = b.read(func(rd *sql.DB, waiting []*Record) error {
		s, err = stats(rd, f, waiting)
		return err
	})
	return s, err
}

func stats(rd *sql.DB, f Filter, waiting []*Record) (Stats, error) {
	f.Limit, f.After, f.OldestFirst = 0, nil, true
	var s Stats
	stages := map[string]*StageStats{}
	err := eachRecord(rd, f, waiting, func(r *Record) error {
		if r.Rehearsal {
			s.Rehearsals++
			return nil
		}
		s.Sheets++
		if _, ok := r.Judged(); ok {
			s.Judged++
		}
		if r.State == string(session.Ruined) {
			s.Spoiled++
			return nil
		}
		s.Finished++
		for _, st := range r.Stages {
			if st.Unseen || st.Led {
				continue
			}
			x := stages[st.Stage]
			if x == nil {
				x = &StageStats{Stage: st.Stage}
				stages[st.Stage] = x
			}
			x.N++
			x.Mean += st.Actual.D()
			x.MeanOff += st.Over.D()
			if st.Over > 0 {
				x.Over++
			}
		}
		return nil
	})
	for _, x := range stages {
		x.Mean, x.MeanOff = x.Mean/time.Duration(x.N), x.MeanOff/time.Duration(x.N)
		s.Stages = append(s.Stages, *x)
	}
	slices.SortFunc(s.Stages, func(a, b StageStats) int { return strings.Compare(a.Stage, b.Stage) })
	inOrder(s.Stages)
	return s, err
}

// inOrder sorts by the order in which a sheet meets the stages.
func inOrder(s []StageStats) {
	at := func(x StageStats) int {
		if i := slices.Index(session.Stages, session.Stage(x.Stage)); i >= 0 {
			return i
		}
		return len(session.Stages)
	}
	slices.SortStableFunc(s, func(a, b StageStats) int { return at(a) - at(b) })
}

// MeanWords is Mean as people write it.
func (s StageStats) MeanWords() string { return words.Finished(s.Mean) }

// OffWords is MeanOff as people write it.
func (s StageStats) OffWords() string { return words.Finished(s.MeanOff) }
