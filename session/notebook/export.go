package notebook

import (
	"bufio"
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	fast "github.com/segmentio/encoding/json"
	"wetside/session"
)

// Format is a format of export.
type Format string

// The formats.
const (
	CSV  Format = "csv"
	JSON Format = "json"
	HTML Format = "html"
)

// JSONName and JSONVersion stand at the head of a JSON export:
//
//	{"format":"wetside sheets","version":1,"sheets":[ ...Record... ]}
//
// A later version only adds names; one that takes a name away gets a new number.
const (
	JSONName    = "wetside sheets"
	JSONVersion = 1
)

// Options are what an export may be given besides.
type Options struct {
	Title string // HTML; empty: "Sheets"
	Plot  *Plot  // HTML: what the judged sheets say
}

// Export writes the sheets of a filter, oldest first unless the filter has a
// limit or says otherwise. It reads one state of the notebook, whatever is
// written meanwhile, and holds one sheet in memory at a time.
func (b *Book) Export(w io.Writer, format Format, f Filter, o Options) error {
	rd, waiting := b.reader()
	if f.Limit == 0 {
		f.OldestFirst = true
	}
	bw := bufio.NewWriterSize(w, 1<<16)
	var err error
	switch format {
	case CSV:
		err = exportCSV(bw, rd, f, waiting)
	case JSON:
		err = exportJSON(bw, rd, f, waiting)
	case HTML:
		err = exportHTML(bw, rd, f, waiting, o)
	default:
		return fmt.Errorf("there is no format %q: use csv, json or html", format)
	}
	if err != nil {
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
	if rd != nil {
		w, args := f.where()
		rs, err := rd.Query(`SELECT id, record FROM sheet`+w, args...)
		if err != nil {
			return err
		}
		defer rs.Close()
		var id, body sql.RawBytes
		for rs.Next() {
			if err := rs.Scan(&id, &body); err != nil {
				return err
			}
			if len(skip) > 0 && skip[string(id)] {
				continue
			}
			if err := do(body); err != nil {
				return err
			}
		}
		if err := rs.Err(); err != nil {
			return err
		}
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
		// Its strings lie in buf, so each record has one of its own. This
		// decoder takes a third of the time of the standard one, which is most
		// of the time of an export.
		buf := bytes.Clone(body)
		var r Record
		if _, err := fast.Parse(buf, &r, fast.ZeroCopy); err != nil {
			return fmt.Errorf("%w: a sheet's record: %v", errDamaged, err)
		}
		return do(&r)
	})
}

func exportCSV(w io.Writer, rd *sql.DB, f Filter, waiting []*Record) error {
	if rd == nil && len(waiting) == 0 {
		return errors.New("the notebook cannot be read")
	}
	c, err := newCSV(w)
	if err != nil {
		return err
	}
	if err := eachRecord(rd, f, waiting, c.sheet); err != nil {
		return err
	}
	c.w.Flush()
	return c.w.Error()
}

func exportJSON(w io.Writer, rd *sql.DB, f Filter, waiting []*Record) error {
	if _, err := fmt.Fprintf(w, `{"format":%q,"version":%d,"sheets":[`, JSONName, JSONVersion); err != nil {
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
	_, err = io.WriteString(w, "\n]}\n")
	return err
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
func (b *Book) Stats(f Filter) (Stats, error) {
	rd, _ := b.reader()
	if rd == nil {
		return Stats{}, errors.New("the notebook cannot be read")
	}
	return stats(rd, f)
}

func stats(rd *sql.DB, f Filter) (Stats, error) {
	f.Limit, f.After = 0, nil
	where := func(f Filter) (string, []any) {
		w, a := f.where()
		return w[:lastIndex(w, " ORDER BY")], a
	}
	var s Stats
	w, a := where(f)
	err := rd.QueryRow(`SELECT count(*) FILTER (WHERE NOT rehearsal), count(*) FILTER (WHERE NOT rehearsal AND state = 'finished'),
count(*) FILTER (WHERE NOT rehearsal AND state = 'spoiled'), count(*) FILTER (WHERE NOT rehearsal AND stops IS NOT NULL),
count(*) FILTER (WHERE rehearsal) FROM sheet`+w, a...).Scan(&s.Sheets, &s.Finished, &s.Spoiled, &s.Judged, &s.Rehearsals)
	if err != nil || f.Rehearsals == Only {
		return s, err
	}
	f.Rehearsals = None
	w, a = where(f) // never empty now
	rs, err := rd.Query(`SELECT stage, count(*), avg(actual), count(*) FILTER (WHERE over > 0), avg(over) FROM stage
WHERE sheet IN (SELECT n FROM sheet`+w+` AND state = 'finished') GROUP BY stage`, a...)
	if err != nil {
		return s, err
	}
	defer rs.Close()
	for rs.Next() {
		var x StageStats
		var mean, off float64
		if err := rs.Scan(&x.Stage, &x.N, &mean, &x.Over, &off); err != nil {
			return s, err
		}
		x.Mean, x.MeanOff = time.Duration(mean), time.Duration(off)
		s.Stages = append(s.Stages, x)
	}
	inOrder(s.Stages)
	return s, rs.Err()
}

func lastIndex(s, sub string) int {
	if i := strings.LastIndex(s, sub); i >= 0 {
		return i
	}
	return len(s)
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
func (s StageStats) MeanWords() string { return clock(Secs(s.Mean)) }

// OffWords is MeanOff as people write it.
func (s StageStats) OffWords() string { return clock(Secs(s.MeanOff)) }
