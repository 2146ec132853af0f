package notebook

import (
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"wetside/session"
	"wetside/session/words"
)

// Columns are the columns of the CSV log and export, one row a stage. The
// exposure is stage 0 of its sheet. Columns are only ever added, at the end.
var Columns = []string{
	"sheet_id",        // UUID
	"sheet",           // its number in the sitting, as spoken
	"name",            // what the user calls it
	"maker",           // whose it is
	"rehearsal",       // "rehearsal", or empty: leave these rows out of any statistics
	"paper",           // profile key
	"camera",          // profile key
	"process",         // profile key
	"temperature_c",   // developer, degrees Celsius; empty: not stated
	"stage_no",        // 0: exposure; then 1, 2, ... in the order they were done
	"stage",           // expose, develop, stop, fix, second fix, rinse, hypo-clear, hold, wash
	"label",           // the process's own name of the stage
	"bath",            // the tray
	"bath_age_s",      // since it was mixed, when the sheet went in
	"bath_used",       // share of its capacity used by then; 1 is spent
	"begun",           // local date and time, 2026-05-03 14:10:00
	"ended",           // the same
	"planned_least_s", // seconds; of the exposure both are the time for the first light
	"planned_most_s",  //
	"actual_s",        // of the exposure: pinhole open
	"over_s",          // past planned_most_s; negative: short of planned_least_s; of an exposure in changing light: what was more or less than its share of 1
	"taken_back",      // moves into this stage that were taken back, over the sheet's life
	"interruptions",   // exposure: times the pinhole was covered meanwhile
	"light_readings",  // exposure: changes of light
	"safelight_s",     // of the sheet: unfixed under the safelight
	"state",           // of the sheet: finished, spoiled
	"spoiled_because", //
	"judged_stops",    // should have had so many stops more; negative: less
	"judged_seen",     // what was seen
	"notes",           // all notes and named marks of the sheet, in order
	"scan",            // path of a picture file
	"sitting_id",      // UUID of the darkroom session
	"unseen",          // "unseen": nobody watched how it ended; "told": timed by a watch and written down afterwards; "led": the program led, and nobody confirmed when it ended; leave these rows out of any statistics of times
}

// csvWriter writes sheets as RFC 4180 has it: CRLF, UTF-8, quotes doubled.
type csvWriter struct {
	w     *csv.Writer
	cell  []string
	comma bool // decimal commas, and semicolons between the fields
}

func newCSV(w io.Writer, comma bool) (*csvWriter, error) {
	c := &csvWriter{w: csv.NewWriter(w), cell: make([]string, len(Columns)), comma: comma}
	c.w.UseCRLF = true
	if comma {
		c.w.Comma = ';'
	}
	return c, c.w.Write(Columns)
}

// num writes a number with two decimals at most: three behind the separator are
// thousands to a spreadsheet whose separator it is not.
func (c *csvWriter) num(v float64) string {
	s := words.Decimals(v, 2)
	if c.comma {
		s = strings.Replace(s, ".", ",", 1)
	}
	return s
}

func (c *csvWriter) secs(s Secs) string { return c.num(s.D().Seconds()) }

// local writes the date and time of the place, as any spreadsheet reads it.
func local(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateTime)
}

func (c *csvWriter) sheet(r *Record) error {
	x := c.cell
	clear(x)
	x[0], x[1], x[2], x[3] = words.Cell(r.ID), strconv.Itoa(r.Num), words.Cell(r.Name), words.Cell(r.Maker)
	if r.Rehearsal {
		x[4] = "rehearsal"
	}
	x[5], x[6], x[7] = words.Cell(r.Paper.Key), words.Cell(r.Camera), words.Cell(r.Process)
	if r.Celsius != 0 {
		x[8] = c.num(r.Celsius)
	}
	x[24], x[25], x[26] = c.secs(r.Safelight), words.Cell(r.State), words.Cell(r.Spoiled)
	if j, ok := r.Judged(); ok {
		x[27], x[28] = c.num(j.Stops), words.Cell(j.Seen)
	}
	if len(r.Notes)+len(r.Marks) > 0 {
		x[29] = words.Cell(strings.Join(remarks(r), "; "))
	}
	x[30], x[31] = words.Cell(r.Scan), words.Cell(r.Sitting)
	if r.Exposure == nil && len(r.Stages) == 0 { // spoiled before anything was done with it
		x[15] = local(r.Begun)
		return c.w.Write(x)
	}
	if e := r.Exposure; e != nil {
		x[22], x[23] = strconv.Itoa(len(e.Covered)), strconv.Itoa(e.lights())
		if err := c.stage(r, 0, StageRecord{Stage: string(session.Exposure), In: e.Begun, Out: e.Ended, AtLeast: e.Planned, AtMost: e.Planned,
			Actual: e.Actual, Over: e.over(), Unseen: e.Unseen}, e.Told); err != nil {
			return err
		}
		x[22], x[23] = "", ""
	}
	for i, s := range r.Stages {
		if err := c.stage(r, i+1, s, r.Told); err != nil {
			return err
		}
	}
	return nil
}

// stage writes a row; the exposure is stage 0.
func (c *csvWriter) stage(r *Record, no int, s StageRecord, told bool) error {
	x, back := c.cell, 0
	for _, u := range r.Undone {
		if u.Stage == s.Stage {
			back++
		}
	}
	x[9], x[10], x[11], x[12] = strconv.Itoa(no), words.Cell(s.Stage), words.Cell(s.Label), words.Cell(s.Bath)
	x[13], x[14] = "", ""
	if s.Use != nil {
		x[13] = c.secs(s.Use.Age)
		if s.Use.Share > 0 {
			x[14] = c.num(s.Use.Share)
		}
	}
	x[15], x[16] = local(s.In), local(s.Out)
	x[17], x[18], x[19], x[20] = c.secs(s.AtLeast), c.secs(s.AtMost), c.secs(s.Actual), c.secs(s.Over)
	x[21], x[32] = strconv.Itoa(back), ""
	if s.Unseen || told {
		x[32], x[20] = "unseen", ""
		if s.Actual == 0 {
			x[19] = ""
		}
	}
	if told {
		x[32] = "told"
	}
	if s.Led {
		x[32] = "led"
	}
	return c.w.Write(x)
}

// remarks lists the notes and named marks of a sheet in the order they were made.
func remarks(r *Record) []string {
	var out []string
	i := 0
	for _, m := range r.Marks {
		for ; i < len(r.Notes) && !r.Notes[i].At.After(m.At); i++ {
			out = append(out, r.Notes[i].Text)
		}
		if m.Text != "" {
			out = append(out, fmt.Sprintf("mark %d: %s", m.N, m.Text))
		}
	}
	for ; i < len(r.Notes); i++ {
		out = append(out, r.Notes[i].Text)
	}
	return out
}

// logDays rewrites the CSV logs of the days that changed, each whole and at
// once: a reader sees the old file or the new one.
func (b *Book) logDays() error {
	for day := range b.days {
		if b.cfg.LogDir == "" || b.db == nil || !b.there() {
			if b.cfg.LogDir == "" {
				delete(b.days, day)
			}
			continue
		}
		if err := b.logDay(day); err != nil {
			b.damaged(err)
			if !b.logFailed {
				b.logFailed = true
				b.note(LogFile, "The log of %s could not be written (%s). It is written again when the disk returns.", day, plain(err))
			}
			return nil
		}
		b.logFailed = false
		delete(b.days, day)
	}
	return nil
}

func (b *Book) logDay(day string) error {
	if err := os.MkdirAll(b.cfg.LogDir, 0o700); err != nil {
		return err
	}
	for range 5 {
		var before, after int64
		if err := b.db.QueryRow(`PRAGMA data_version`).Scan(&before); err != nil {
			return err
		}
		err := WriteFile(filepath.Join(b.cfg.LogDir, day+".csv"), func(w io.Writer) error {
			return exportCSV(w, b.rd, Filter{Day: day, OldestFirst: true}, nil, Options{})
		})
		if err != nil {
			return err
		}
		// Another program may have written a sheet, and the log, between our
		// look and our rename. Then ours is old.
		if err := b.db.QueryRow(`PRAGMA data_version`).Scan(&after); err != nil || after == before {
			return err
		}
	}
	return nil
}
