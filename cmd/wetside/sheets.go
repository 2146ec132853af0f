package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"

	"wetside/session"
	"wetside/session/desk"
	"wetside/session/notebook"
	"wetside/session/words"
)

// Filter chooses sheets.
type Filter struct {
	Paper      string `help:"Only this paper." placeholder:"KEY"`
	Camera     string `help:"Only this camera." placeholder:"KEY"`
	Process    string `help:"Only this process." placeholder:"KEY"`
	Maker      string `help:"Only this photographer." placeholder:"NAME"`
	Day        string `help:"Only this day: 2026-05-03, today, yesterday." placeholder:"DAY"`
	Judged     bool   `help:"Only judged sheets."`
	Rehearsals bool   `help:"Rehearsals too."`
}

func (f Filter) filter(h *host) (notebook.Filter, error) {
	day, err := h.parseDay(f.Day)
	if err != nil {
		return notebook.Filter{}, err
	}
	out := notebook.Filter{Paper: f.Paper, Camera: f.Camera, Process: f.Process, Maker: f.Maker, Day: day, Rehearsals: notebook.None}
	if f.Rehearsals {
		out.Rehearsals = notebook.Both
	}
	if f.Judged {
		out.Judged = notebook.Only
	}
	return out, nil
}

// SheetsCmd lists sheets.
type SheetsCmd struct {
	Filter
	Limit  int  `help:"At most so many, the newest; 0 for all." default:"50" placeholder:"N"`
	Makers bool `help:"Summed up by maker." xor:"form"`
	JSON   bool `help:"As JSON." name:"json" xor:"form"`
	CSV    bool `help:"As CSV, one row a stage." name:"csv" xor:"form"`
}

// Help shows how it is used.
func (SheetsCmd) Help() string {
	return `Examples:

  wetside sheets
  wetside sheets --day today --maker Ash
  wetside sheets --camera tea-caddy --judged --json
  wetside sheets --day today --makers
  wetside sheets --limit 0 --csv > all.csv`
}

// rowReport is one line of the list in JSON.
type rowReport struct {
	ID        string    `json:"id"`
	Num       int       `json:"num"`
	Day       string    `json:"day"`
	Begun     time.Time `json:"begun"`
	Name      string    `json:"name,omitempty"`
	Maker     string    `json:"maker,omitempty"`
	Paper     string    `json:"paper"`
	Camera    string    `json:"camera,omitempty"`
	Process   string    `json:"process"`
	State     string    `json:"state"`
	Spoiled   string    `json:"spoiled,omitempty"`
	Rehearsal bool      `json:"rehearsal,omitempty"`
	Planned   *float64  `json:"exposure_planned_s,omitempty"`
	Exposure  *float64  `json:"exposure_s,omitempty"`
	Stops     *float64  `json:"judged_stops,omitempty"`
	Seen      string    `json:"judged_seen,omitempty"`
}

// Run lists.
func (c *SheetsCmd) Run(h *host) error {
	f, err := c.filter(h)
	if err != nil {
		return err
	}
	if c.Limit < 0 {
		return usage("--limit is how many sheets, 0 for all, not %d", c.Limit)
	}
	f.Limit = c.Limit
	b, err := h.written()
	if err != nil {
		return err
	}
	if b == nil {
		return c.none(h)
	}
	defer b.Close()
	if c.CSV {
		return b.Export(h.out, notebook.CSV, f, notebook.Options{})
	}
	if c.Makers {
		f.Limit = 0 // a sum is of all
	}
	rows, err := b.Sheets(f)
	switch {
	case err != nil:
		return err
	case c.Makers:
		return h.makers(rows)
	case c.JSON:
		return h.json(rowReports(rows))
	case len(rows) == 0:
		h.say("no finished sheet fits; wetside where tells of those under way")
		return nil
	}
	h.rows(rows)
	s, err := b.Stats(f)
	if err != nil {
		return err
	}
	h.say("%s in all: %d finished, %d spoiled, %d judged; rehearsals not counted", words.Count(s.Sheets, "sheet"), s.Finished, s.Spoiled, s.Judged)
	return nil
}

// none lists a notebook that was never begun.
func (c *SheetsCmd) none(h *host) error {
	switch {
	case c.JSON:
		return h.json([]rowReport{})
	case c.CSV:
		h.say("%s", strings.Join(notebook.Columns, ","))
	default:
		h.say("nothing is written down yet")
	}
	return nil
}

func rowReports(rows []notebook.Row) []rowReport {
	out := []rowReport{}
	for _, r := range rows {
		x := rowReport{ID: r.ID, Num: r.Num, Day: r.Day, Begun: r.Begun, Name: r.Name, Maker: r.Maker, Paper: r.Paper, Camera: r.Camera,
			Process: r.Process, State: r.State, Spoiled: r.Spoiled, Rehearsal: r.Rehearsal, Stops: r.Stops, Seen: r.Seen}
		if r.Exposure != nil {
			p, a := r.Exposure[0].Seconds(), r.Exposure[1].Seconds()
			x.Planned, x.Exposure = &p, &a
		}
		out = append(out, x)
	}
	return out
}

// rows prints the list, two lines to a sheet.
func (h *host) rows(rows []notebook.Row) {
	table := [][]string{{"id", "sheet", "begun", "name", "maker", "exposure", "state"}}
	const name, maker, indent = 3, 4, 10
	var more []string // a second line of each, of what would not fit beside it
	for _, r := range rows {
		exposed := ""
		if r.Exposure != nil {
			exposed = words.Finished(r.Exposure[1])
		}
		table = append(table, []string{short(r.ID), strconv.Itoa(r.Num), r.Begun.Format("2006-01-02 15:04"), r.Name, r.Maker, exposed, r.State})
		about := []string{r.Paper}
		if r.Camera != "" {
			about[0] += ", " + r.Camera
		}
		if r.Rehearsal {
			about = append(about, "rehearsal")
		}
		if r.Stops != nil {
			about = append(about, verdict(*r.Stops, r.Seen))
		}
		// A long name of a tin leaves room for what is said of the sheet.
		rest := ansi.StringWidth(words.Clean(strings.Join(about[1:], "; ")))
		about[0] = cut(words.Clean(about[0]), max(30, screen-indent-2-rest))
		more = append(more, strings.Join(about, "; "))
	}
	for i, l := range columns(table, name, maker) {
		h.say("%s", l)
		if i > 0 {
			h.say("%*s%s", indent, "", cut(words.Clean(more[i-1]), screen-indent))
		}
	}
}

// makers sums sheets up by maker, in the order of their names.
func (h *host) makers(rows []notebook.Row) error {
	type sum struct{ sheets, finished, spoiled, judged int }
	by := map[string]*sum{}
	for _, r := range rows {
		s := by[r.Maker]
		if s == nil {
			s = &sum{}
			by[r.Maker] = s
		}
		s.sheets++
		switch r.State {
		case string(session.Finished):
			s.finished++
		case string(session.Ruined):
			s.spoiled++
		}
		if r.Stops != nil {
			s.judged++
		}
	}
	if len(by) == 0 {
		h.say("no finished sheet fits; wetside where tells of those under way")
		return nil
	}
	table := [][]string{{"maker", "sheets", "finished", "spoiled", "judged"}}
	for _, m := range slices.Sorted(maps.Keys(by)) {
		s := by[m]
		table = append(table, []string{cmp.Or(m, "(no maker)"), strconv.Itoa(s.sheets), strconv.Itoa(s.finished), strconv.Itoa(s.spoiled), strconv.Itoa(s.judged)})
	}
	return h.table(table, 0)
}

// short is as much of an identity as one types.
func short(id string) string { return id[:min(8, len(id))] }

// find resolves what a user calls a sheet: the begin of its identity, its
// number (of the latest day that has one), or day/number.
func find(h *host, b *notebook.Book, name string) (notebook.Record, error) {
	if b == nil {
		return notebook.Record{}, usage("nothing is written down yet, so there is no sheet %q", name)
	}
	day, num, dated := strings.Cut(name, "/")
	if !dated {
		day, num = "", name
	}
	day, err := h.parseDay(day)
	if err != nil {
		return notebook.Record{}, err
	}
	n, err := strconv.Atoi(num)
	if err != nil || n <= 0 || day == "" && len(num) >= 4 {
		n = 0 // no number: the begin of an identity
	}
	r, err := desk.Find(b, name, day, n)
	var many *desk.Several
	switch {
	case errors.As(err, &many):
		ids := words.Each(many.Rows, func(x notebook.Row) string { return short(x.ID) })
		return r, usage("there are %d sheets %d on %s: use the begin of an id, %s", len(ids), n, many.Rows[0].Day, strings.Join(ids, " or "))
	case errors.Is(err, notebook.ErrAmbiguous):
		return r, usageError{err}
	case !errors.Is(err, notebook.ErrNoSheet):
		return r, err
	case n == 0:
		return r, usage("no sheet is called %q: use its number, day/number, or the begin of its id from wetside sheets", name)
	case day != "":
		return r, advise("there is no sheet %d on %s; wetside sheets --day %s lists them", n, day, day)
	}
	return r, advise("no finished sheet has the number %d; wetside sheets lists them, and wetside where those still in the trays", n)
}

// SheetCmd shows one sheet, or in what two differ.
type SheetCmd struct {
	ID    string `arg:"" help:"Begin of its id; or its number, of the latest day; or day/number." complete:"sheet"`
	Other string `arg:"" optional:"" help:"A second sheet: only in what the two differ." complete:"sheet"`
	JSON  bool   `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (SheetCmd) Help() string {
	return `Examples:

  wetside sheet 3
  wetside sheet 2026-05-03/3
  wetside sheet 6f1a --json
  wetside sheet 2 3                 in what they differ`
}

// Run shows it.
func (c *SheetCmd) Run(h *host) error {
	b, err := h.written()
	if err != nil {
		return err
	}
	defer b.Close()
	r, err := find(h, b, c.ID)
	if err != nil {
		return err
	}
	if c.Other != "" {
		other, err := find(h, b, c.Other)
		if err != nil {
			return err
		}
		return c.compare(h, r, other)
	}
	if c.JSON {
		return h.json(r)
	}
	return h.record(r)
}

func (c *SheetCmd) compare(h *host, a, b notebook.Record) error {
	type difference struct {
		What string `json:"what"`
		A    string `json:"a"`
		B    string `json:"b"`
		By   string `json:"by,omitempty"`
	}
	out := []difference{}
	for _, d := range notebook.Compare(&a, &b) {
		out = append(out, difference{d.What, d.A, d.B, d.By})
	}
	if c.JSON {
		return h.json(out)
	}
	if len(out) == 0 {
		h.say("nothing differs that is written down")
		return nil
	}
	title := func(r notebook.Record) string { return fmt.Sprintf("sheet %d of %s", r.Num, r.Day()) }
	return h.table(append([][]string{{"", title(a), title(b)}}, words.Each(out, func(d difference) []string { return []string{d.What, d.A, d.B, d.By} })...))
}

// record prints a sheet for people.
func (h *host) record(r notebook.Record) error {
	h.recordHead(r)
	if err := h.stages(r); err != nil {
		return err
	}
	h.recordRest(r)
	return nil
}

func (h *host) recordHead(r notebook.Record) {
	title := fmt.Sprintf("sheet %d of %s", r.Num, r.Day())
	for _, s := range []string{r.Name, r.Maker} {
		if s != "" {
			title += ", " + s
		}
	}
	if r.Rehearsal {
		title += " (rehearsal)"
	}
	h.say("%s", title)
	h.say("id %s", r.ID)
	h.say("%s, %s, %s%s", cmp.Or(r.Paper.Name, r.Paper.Key), cmp.Or(r.Camera, "no camera"), cmp.Or(r.ProcessIs, r.Process), celsius(r.Celsius))
	state := r.State
	if r.Spoiled != "" {
		state += ": " + r.Spoiled
	}
	if r.Washed {
		state += ", washed"
	}
	h.say("%s", state)
	h.about("%s: written afterwards", r.Afterwards())
}

func (h *host) recordRest(r notebook.Record) {
	line := h.say
	if e := r.Exposure; e != nil {
		h.about("light: %s", r.Light)
		if len(e.Covered) > 0 {
			line("covered %s", words.Count(len(e.Covered), "time"))
		}
		for _, g := range e.Readings {
			line("%s", readingLine(g))
		}
	}
	h.recordOpen(&r)
	for _, u := range r.Undone {
		what := cmp.Or(u.Stage, u.What, "the end")
		line("%s taken back: %s, after %s", u.At.Format("15:04:05"), what, words.Finished(u.After.D()))
	}
	for _, o := range r.Overridden {
		line("spent bath used all the same: %s", o)
	}
	for _, n := range r.Notes {
		line("%s %s", n.At.Format("15:04"), n.Text)
	}
	for _, m := range r.Marks {
		line("%s mark %d %s", m.At.Format("15:04:05"), m.N, m.Text)
	}
	if j, ok := r.Judged(); ok {
		line("judged: %s", judgement(&r, j))
	}
	if !r.Loaded.IsZero() {
		line("put into its camera %s", r.Loaded.Format("2006-01-02 15:04"))
	}
	h.about("%s", driedAt(&r))
	h.about("scan: %s", r.Scan)
}

// recordOpen tells how long a sheet lay in the open, and when its image was seen.
func (h *host) recordOpen(r *notebook.Record) {
	if r.Emerged > 0 {
		h.say("image seen after %s", words.Finished(r.Emerged.D()))
	}
	if !r.Told && (r.Safelight > 0 || r.SafeFor > 0 || r.SafeTest) {
		h.say("open under the safelight %s (allowed: %s)", words.Finished(r.Safelight.D()), allowed(*r))
	}
	if r.ScreenFor > 0 {
		h.say("in the light of the screen %s (allowed: %s, reckoned from its black)", words.Finished(r.Screen.D()), words.Finished(r.ScreenFor.D()))
	}
}

// allowed says how long the sheet may be under the safelight.
func allowed(r notebook.Record) string {
	switch {
	case r.SafeFor == 0 && r.SafeTest:
		return "none is safe, tested"
	case r.SafeFor == 0:
		return "no figure"
	case r.SafeTest:
		return words.Finished(r.SafeFor.D()) + ", tested"
	}
	return words.Finished(r.SafeFor.D()) + ", not tested"
}

// done is the time that something took.
func done(d time.Duration, unseen bool) string {
	switch {
	case unseen && d == 0:
		return "not seen"
	case unseen:
		return words.Finished(d) + ", told"
	}
	return words.Finished(d)
}

func ledOr(text string, led bool) string {
	if led {
		return text + ", led"
	}
	return text
}

// stages prints what was planned and done of each.
func (h *host) stages(r notebook.Record) error {
	rows := [][]string{{"", "in", "planned", "actual", "over", "bath"}}
	if e := r.Exposure; e != nil {
		rows = append(rows, []string{"expose", e.Begun.Format("15:04:05"), words.Finished(e.Planned.D()), done(e.Actual.D(), e.Unseen), "", words.Percent(e.Share) + " given"})
	}
	rows = append(rows, words.Each(r.Stages, stageRow)...)
	if len(rows) == 1 {
		return nil
	}
	return h.table(rows, 0, 5)
}

func stageRow(s notebook.StageRecord) []string {
	in, over, bath := "", "", s.Bath
	planned := words.Finished(s.AtMost.D())
	if s.AtLeast != s.AtMost {
		planned = words.Finished(s.AtLeast.D()) + " to " + planned
	}
	if s.Over != 0 {
		over = words.Difference(s.Over.D())
	}
	if s.Use != nil {
		bath += ", " + words.Long(s.Use.Age.D().Seconds()) + " old"
		if s.Use.Share > 0 {
			bath += ", " + words.Percent(s.Use.Share) + " used"
		}
	}
	if !s.In.IsZero() {
		in = s.In.Format("15:04:05")
	}
	return []string{cmp.Or(s.Label, s.Stage), in, planned, ledOr(done(s.Actual.D(), s.Unseen), s.Led), over, bath}
}

// tenth is a time to the tenth of a second, as the log has it.
// ScanCmd ties a picture file to a sheet.
type ScanCmd struct {
	ID   string `arg:"" help:"The sheet, as wetside sheet takes it." complete:"sheet"`
	Path string `arg:"" help:"The picture file." type:"path"`
}

// Help shows how it is used.
func (ScanCmd) Help() string {
	return `Example:

  wetside scan 3 ~/scans/signal-box-3.png

The notebook keeps the path, not the picture.`
}

// Run writes it down.
func (c *ScanCmd) Run(h *host) error {
	f, err := notebook.OpenFile(c.Path)
	if err != nil {
		return usage("%v: name the picture that was scanned", noInput(c.Path, err))
	}
	f.Close()
	b, err := h.amendable()
	if err != nil {
		return err
	}
	defer b.Close()
	r, err := find(h, b, c.ID)
	if err != nil {
		return err
	}
	if err := b.Amend(r.ID, session.Event{Kind: session.Scanned, Sheet: r.ID, Note: c.Path, At: systemClock().Now()}); err != nil {
		return err
	}
	h.say("sheet %d of %s: scan at %s", r.Num, r.Day(), c.Path)
	return nil
}

// ExportCmd writes the notebook out.
type ExportCmd struct {
	Filter
	Format string `help:"${formats}." placeholder:"FORMAT"`
	Output string `short:"o" help:"File to write; its ending tells the format. Without it, or with -, standard output." placeholder:"FILE" type:"path"`
	Title  string `help:"Title of the page." placeholder:"WORDS"`
	Bundle bool   `help:"All that a second laptop needs, in one ZIP file: notebook, profiles, settings, voices."`
	Comma  bool   `help:"CSV with decimal commas, and semicolons between the fields: for a spreadsheet whose decimal sign is the comma."`
}

// formats are the formats of export, for the help.
func formats() string {
	of := words.Each(notebook.Formats, func(f *notebook.Format) string { return f.Name + " (" + f.Is + ")" })
	return words.Or(of)
}

// Help shows how it is used.
func (ExportCmd) Help() string {
	return `Examples:

  wetside export -o signal-box.html --title "Weekend at the signal box"
  wetside export --format json > notebook.json
  wetside export --format csv --day today -o today.csv
  wetside export --comma -o today.csv
  wetside export --format json -o - | gzip > notebook.json.gz
  wetside export --bundle -o signal-box.zip

The page needs no network, and has the plot of what judged sheets have taught.
JSON has the events as well, unless you choose among the sheets: import makes the
notebook again from it. A bundle has the notebook as JSON, and your profiles, settings
and voices beside it; import takes that too.`
}

// Run writes it.
func (c *ExportCmd) Run(h *host) error {
	if c.Bundle {
		b, err := h.orNothing()
		if err != nil {
			return err
		}
		defer b.Close()
		return c.exportBundle(h, b)
	}
	format, err := notebook.FormatOf(cmp.Or(c.Format, strings.TrimPrefix(filepath.Ext(c.Output), ".")))
	if err != nil {
		return usageError{err}
	}
	f, err := c.filter(h)
	if err != nil {
		return err
	}
	b, err := h.orNothing()
	if err != nil {
		return err
	}
	defer b.Close()
	o := notebook.Options{Title: c.Title, Comma: c.Comma}
	if format.Plots {
		if o.Plot, err = plotOf(desk.JudgedIn(b, h.known().Today)(), c.Camera, c.Paper); err != nil {
			return err
		}
	}
	n, err := b.Count(f)
	if err != nil {
		return err
	}
	write := func(w io.Writer) error { return b.Export(w, format, f, o) }
	return h.output(c.Output, write, fmt.Sprintf("%s written to %s", words.Count(n, "sheet"), c.Output))
}

// ImportCmd merges another notebook.
type ImportCmd struct {
	File string `arg:"" help:"Another notebook.db, a JSON export or a bundle; - is standard input." type:"path"`
}

// Help shows how it is used.
func (ImportCmd) Help() string {
	return `Examples:

  wetside import /media/stick/notebook.db
  wetside import other-laptop.json
  wetside import signal-box.zip
  gunzip -c notebook.json.gz | wetside import -

What is here already is known again: nothing doubles, nothing is lost. A record
that cannot be read is left out, with its line, and the next one is taken; the
command then ends with status 1. Of a bundle, a profile whose key is here, settings that
are here and a recording of the same name stay as they are; the other is kept beside
them, as KEY.toml.imported, and told.`
}

// Run merges.
func (c *ImportCmd) Run(h *host) error {
	file, name := c.File, c.File
	if file == stdio {
		name = "standard input"
		var done func()
		var err error
		if file, done, err = h.spool(); err != nil {
			return fmt.Errorf("standard input cannot be read: %w", err)
		}
		defer done()
	}
	f, err := notebook.OpenFile(file)
	if err != nil {
		return usage("%v: name a notebook.db or a JSON export, or - for standard input", noInput(name, err))
	}
	bundle := isBundle(f)
	f.Close() // the notebook opens it as what it is
	b, err := h.book()
	if err != nil {
		return err
	}
	defer b.Close()
	take := b.Import
	if bundle {
		take = func(file, name string) (notebook.ImportReport, error) { return h.unbundle(b, file, name) }
	}
	rep, err := take(file, name)
	if err == nil || rep.News() {
		h.say("%s", rep)
	}
	h.leftOut(rep, name)
	switch {
	case err != nil:
		return err
	case rep.Skipped > 0:
		return fmt.Errorf("%s of %s could not be taken in", words.Count(rep.Skipped, "row"), name)
	case len(rep.Bad)+len(rep.Refused) > 0:
		return codeError(1) // what is wrong has been said
	}
	return nil
}

// leftOut tells what an import did not take.
func (h *host) leftOut(rep notebook.ImportReport, name string) {
	const most = 20
	for _, l := range rep.Bad[:min(most, len(rep.Bad))] {
		h.warn("%s:%d: %s %d is left out: %v", name, l.Line, l.What, l.N, l.Why)
	}
	if more := len(rep.Bad) - most; more > 0 {
		h.warn("and %d more", more)
	}
	for _, r := range rep.Refused {
		h.warn("%s", r.Words())
	}
}

// BackupCmd copies the notebook.
type BackupCmd struct {
	File string `arg:"" help:"The copy; - is standard output. A file that is there already is not overwritten." type:"path"`
}

// Help shows how it is used.
func (BackupCmd) Help() string {
	return `Examples:

  wetside backup /media/stick/notebook-2026-05-03.db
  wetside backup - | gzip > notebook.db.gz`
}

// Run copies.
func (c *BackupCmd) Run(h *host) error {
	if c.File == stdio {
		if err := h.textOnly(); err != nil {
			return err
		}
	} else if _, err := os.Lstat(c.File); err == nil {
		return usage("%s is there already, and a backup overwrites nothing: choose another name", c.File)
	}
	b, err := h.written()
	if err != nil {
		return err
	}
	if b == nil {
		return errors.New("nothing is written down yet, so there is nothing to copy")
	}
	defer b.Close()
	if c.File == stdio {
		return h.backupOut(b)
	}
	if err := b.Backup(c.File); err != nil {
		return noOutput(c.File, err)
	}
	h.say("copied to %s", c.File)
	return nil
}

// backupOut copies the notebook to standard output.
func (h *host) backupOut(b *notebook.Book) error {
	dir, err := os.MkdirTemp("", "wetside-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	name := filepath.Join(dir, "notebook.db")
	if err := b.Backup(name); err != nil {
		return err
	}
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = io.Copy(h.out, f)
	return err
}
