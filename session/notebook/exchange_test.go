package notebook

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// takeIn imports a file under its own name.
func takeIn(b *Book, path string) (ImportReport, error) { return b.Import(path, path) }

func TestANotebookOfTheFirstSchemaGoesOn(t *testing.T) {
	c := config(t)
	n := versionOne(t, c.Path)
	b := open(t, c)
	if got := len(allEvents(t, b)); got != n {
		t.Errorf("%d events, were %d", got, n)
	}
	rows, err := b.Sheets(Filter{})
	if err != nil || len(rows) != 2 || rows[0].ID != "aaaa-2" || rows[0].Stops == nil {
		t.Fatalf("its sheets' records were not made: %+v %v", rows, err)
	}
	s, evs, ok, err := b.Live(false)
	if err != nil || !ok || s.ID != "s2" || len(evs) != 10 {
		t.Error(s, len(evs), ok, err)
	}
	replayed(t, evs)
	var v int
	if err := b.rd.QueryRow(`PRAGMA user_version`).Scan(&v); err != nil || v != schemaVersion {
		t.Error(v, err)
	}
}

func export(t testing.TB, b *Book, f *Format, o Options) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := b.Export(&buf, f, Filter{}, o); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// sheetsOf is an export without its events, whose origin each notebook says
// for itself.
func sheetsOf(export []byte) []byte {
	sheets, _, _ := bytes.Cut(export, []byte(`],"events":`))
	return sheets
}

// An export has the events too, and each says which notebook it came from: so a
// session that is open there is not gone on with here, nor at a third place.
func TestAnExportCarriesTheEvents(t *testing.T) {
	a, b, c := open(t, config(t)), open(t, config(t)), open(t, config(t))
	s, m := sitting(t, a, 2, eventAt(0))
	closeIt(t, a, s, m)
	sitting(t, a, 1, eventAt(24*time.Hour)) // which stays open
	sitting(t, a, 1, session.Event{At: at(48 * time.Hour), Rehearsal: true, Pace: 20})
	write := func(name string, bk *Book, f Filter) string {
		path := filepath.Join(t.TempDir(), name)
		var buf bytes.Buffer
		if err := bk.Export(&buf, JSON, f, Options{}); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, buf.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	all := len(allEvents(t, a))
	rep, err := takeIn(b, write("first.json", a, Filter{Rehearsals: None}))
	if err != nil || rep.Sittings != 2 || rep.Sheets != 3 || rep.Known != 0 || rep.Events == 0 || rep.Events >= all {
		t.Fatalf("%s of %d events, %v", rep, all, err)
	}
	if rep, err = takeIn(c, write("second.json", b, Filter{})); err != nil || rep.Sittings != 2 || rep.Sheets != 3 {
		t.Fatal(rep, err)
	}
	for _, bk := range []*Book{b, c} {
		if _, _, live, err := bk.Live(false); live || err != nil {
			t.Error("a session of another notebook is gone on with", err)
		}
		if _, err := takeIn(bk, write("again.json", a, Filter{Rehearsals: None})); err != nil {
			t.Fatal(err)
		}
		var froms []string
		if err := eachEvent(bk.rd, Both, func(r *row) error {
			if !slices.Contains(froms, r.From) {
				froms = append(froms, r.From)
			}
			return nil
		}); err != nil || !slices.Equal(froms, []string{"first.json"}) {
			t.Error("its events came from", froms, err)
		}
		if !bytes.Equal(sheetsOf(export(t, bk, JSON, Options{})), sheetsOf(export(t, b, JSON, Options{}))) {
			t.Error("the sheets are not the same")
		}
	}
	// Only some of the sheets: then no events, for they would tell of the others.
	if text, err := os.ReadFile(write("some.json", a, Filter{Paper: papers[0].Key})); err != nil || bytes.Contains(text, []byte(`"events"`)) {
		t.Error("events of sheets that were not chosen", err)
	}
}

func TestImportJoinsNotebooksWithoutLossOrDoubles(t *testing.T) {
	a, b := open(t, config(t)), open(t, config(t))
	sa, ma := sitting(t, a, 2, eventAt(0))
	closeIt(t, a, sa, ma)
	sb, mb := sitting(t, b, 3, eventAt(24*time.Hour))
	closeIt(t, b, sb, mb)
	// A copy of a's notebook went to the other laptop, and a sheet was judged there too.
	copied := filepath.Join(t.TempDir(), "copy.db")
	if err := a.Backup(copied); err != nil {
		t.Fatal(err)
	}
	other := open(t, Config{Path: copied, NewID: a.cfg.NewID})
	shared := ma.Sheets()[0].ID
	if err := other.Judge(shared, at(72*time.Hour), 2, "there"); err != nil {
		t.Fatal(err)
	}
	if err := a.Judge(shared, at(71*time.Hour), 1, "here"); err != nil {
		t.Fatal(err)
	}
	tidy(t, other)

	rep, err := takeIn(a, b.cfg.Path)
	if err != nil || rep.Sittings != 1 || rep.Events != 47 || rep.Sheets != 3 || rep.Judgements != 3 {
		t.Errorf("%+v %v", rep, err)
	}
	rep, err = takeIn(a, copied)
	if err != nil || rep.Sittings != 0 || rep.Events != 1 || rep.Sheets != 0 || rep.Judgements != 1 {
		t.Errorf("%+v %v", rep, err)
	}
	r, err := a.Sheet(shared)
	if err != nil || len(r.Judgements) != 3 {
		t.Fatal(r.Judgements, err)
	}
	if j, _ := r.Judged(); j.Seen != "there" {
		t.Error("the later judgement does not count:", r.Judgements)
	}
	before := export(t, a, JSON, Options{})
	for _, p := range []string{b.cfg.Path, copied, a.cfg.Path} {
		rep, err := takeIn(a, p)
		if err != nil || rep.Events+rep.Sheets+rep.Sittings+rep.Judgements != 0 {
			t.Errorf("%s again: %+v %v", p, rep, err)
		}
	}
	if after := export(t, a, JSON, Options{}); !bytes.Equal(before, after) {
		t.Error("importing again changed something")
	}
	if rows, err := a.Sheets(Filter{}); err != nil || len(rows) != 5 {
		t.Error(len(rows), err)
	}
	// The other way round comes to the same.
	if _, err := takeIn(b, a.cfg.Path); err != nil {
		t.Fatal(err)
	}
	if got := export(t, b, JSON, Options{}); !bytes.Equal(sheetsOf(got), sheetsOf(before)) {
		t.Errorf("a into b is not b into a:\n%s\n%s", got, before)
	}
	// The days that came have their logs.
	if n := len(readCSV(t, filepath.Join(a.cfg.LogDir, "2026-05-10.csv"))); n != 18 {
		t.Error(n)
	}
}

func TestImportOfAnEarlierSchema(t *testing.T) {
	old := filepath.Join(t.TempDir(), "old.db")
	n := versionOne(t, old)
	b := open(t, config(t))
	rep, err := takeIn(b, old)
	if err != nil || rep.Events != n || rep.Sheets != 2 || rep.Sittings != 2 {
		t.Errorf("%+v %v", rep, err)
	}
}

func TestJSONThereAndBack(t *testing.T) {
	a, b := open(t, config(t)), open(t, config(t))
	sitting(t, a, 3, eventAt(0))
	sitting(t, a, 1, session.Event{At: at(30 * time.Hour), Rehearsal: true, Pace: 20})
	out := export(t, a, JSON, Options{})
	path := filepath.Join(t.TempDir(), "sheets.json")
	if err := os.WriteFile(path, out, 0o600); err != nil {
		t.Fatal(err)
	}
	rep, err := takeIn(b, path)
	if err != nil || rep.Sheets != 4 {
		t.Fatalf("%+v %v", rep, err)
	}
	if got := export(t, b, JSON, Options{}); !bytes.Equal(sheetsOf(got), sheetsOf(out)) {
		t.Error("it is not what it was")
	}
	// A sheet that came without its events can be judged all the same.
	rows, err := b.Sheets(Filter{})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Judge(rows[0].ID, at(100*time.Hour), 3, "x"); err != nil {
		t.Fatal(err)
	}
	if r, err := b.Sheet(rows[0].ID); err != nil || len(r.Judgements) != 2 {
		t.Error(r.Judgements, err)
	}
	// And when its events come after all, nothing is lost.
	if _, err := takeIn(b, a.cfg.Path); err != nil {
		t.Fatal(err)
	}
	if r, err := b.Sheet(rows[0].ID); err != nil || len(r.Judgements) != 2 {
		t.Error(r.Judgements, err)
	}
}

func TestImportRefusesWhatItDoesNotKnow(t *testing.T) {
	b := open(t, config(t))
	sitting(t, b, 1, eventAt(0))
	before := export(t, b, JSON, Options{})
	for name, text := range map[string]string{
		"words":       "dear diary",
		"empty":       "",
		"other json":  `{"format":"other","version":1,"sheets":[]}`,
		"no format":   `{"sheets":[{"id":"x"}]}`,
		"newer":       `{"format":"wetside sheets","version":2,"sheets":[]}`,
		"cut short":   string(before[:len(before)/2]),
		"not a list":  `{"format":"wetside sheets","version":1,"sheets":7}`,
		"fake sqlite": "SQLite format 3\x00and then nothing",
	} {
		path := filepath.Join(t.TempDir(), "in")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if rep, err := takeIn(b, path); err == nil {
			t.Errorf("%s: %+v and no error", name, rep)
		} else {
			t.Log(name+":", err)
		}
	}
	if after := export(t, b, JSON, Options{}); !bytes.Equal(before, after) {
		t.Error("a refused import changed something")
	}
}

// An export that another program wrote anew, with a fault in its second record.
func TestImportGoesOnBehindABadRecord(t *testing.T) {
	a := open(t, config(t))
	sitting(t, a, 3, eventAt(0))
	good := append(sheetsOf(export(t, a, JSON, Options{})), "]}"...) // else the events say what is missing
	var pretty, compact bytes.Buffer
	if err := errors.Join(json.Indent(&pretty, good, "  ", "   "), json.Compact(&compact, good)); err != nil {
		t.Fatal(err)
	}
	line := func(text []byte, what string) int {
		return 1 + bytes.Count(text[:bytes.Index(text, []byte(what))], []byte("\n"))
	}
	begin := func(n string) []byte {
		i := bytes.Index(pretty.Bytes(), []byte(`"num": `+n))
		return pretty.Bytes()[:bytes.LastIndexByte(pretty.Bytes()[:i], '{')]
	}
	for _, c := range []struct {
		name, text, old, new string
		sheets, line, left   int
		err                  string
	}{
		{"whole, over many lines", pretty.String(), "", "", 3, 0, 0, ""},
		{"whole, on one line", compact.String(), "", "", 3, 0, 0, ""},
		{"damaged, over many lines", pretty.String(), `"num": 2`, `"num": 2 2`, 2, 1 + bytes.Count(begin("2"), []byte("\n")), 1, ""},
		{"the last one damaged", pretty.String(), `"num": 3`, `"num: 3`, 2, 1 + bytes.Count(begin("3"), []byte("\n")), 1, ""},
		{"a list in it not closed", pretty.String(), `"stages": [`, `"stages": [[`, 2, 1 + bytes.Count(begin("1"), []byte("\n")), 1, ""},
		{"wrong on one line", compact.String(), `"num":2`, `"num":[2]`, 2, 1, 1, ""},
		{"damaged on one line", compact.String(), `"num":2`, `"num":2 2`, 1, 1, 1, "where the next begins cannot be told"},
		{"in its own form", string(good), `"num":2`, `"num":2 2`, 2, line(good, `"num":2`), 1, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "in.json")
			if err := os.WriteFile(path, []byte(strings.Replace(c.text, c.old, c.new, 1)), 0o600); err != nil {
				t.Fatal(err)
			}
			b := open(t, config(t))
			rep, err := takeIn(b, path)
			if c.err == "" && err != nil || c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)) {
				t.Fatal(err)
			}
			if rep.Sheets != c.sheets || len(rep.Bad) != c.left {
				t.Fatalf("%s %+v", rep, rep.Bad)
			}
			if c.left > 0 && rep.Bad[0].Line != c.line {
				t.Errorf("left out at line %d, not %d: %v", rep.Bad[0].Line, c.line, rep.Bad[0].Why)
			}
		})
	}
}

// An export that ends anywhere among its events has all its sheets, which come first:
// events that end in the midst of a sheet do not undo what its record says.
func TestAnExportCutAmongItsEventsHasAllItsSheets(t *testing.T) {
	a := open(t, config(t))
	sitting(t, a, 3, eventAt(0))
	whole := export(t, a, JSON, Options{})
	lines := bytes.SplitAfter(whole, []byte("\n"))
	for n := range lines {
		if !bytes.HasPrefix(bytes.Join(lines[:n+1], nil), append(sheetsOf(whole), `],"events"`...)) {
			continue
		}
		path := filepath.Join(t.TempDir(), "in.json")
		if err := os.WriteFile(path, bytes.Join(lines[:n+1], nil), 0o600); err != nil {
			t.Fatal(err)
		}
		b := open(t, config(t))
		takeIn(b, path) // and says that it is cut
		rows, err := b.Sheets(Filter{})
		if err != nil || len(rows) != 3 {
			t.Errorf("cut behind line %d of %d, %d sheets are listed (%v)", n+1, len(lines), len(rows), err)
		}
	}
}

// A database of something else, however alike.
func TestImportRefusesAnotherDatabase(t *testing.T) {
	for _, ddl := range []string{`CREATE TABLE x(y)`, `CREATE TABLE event(seq, id, sitting, body, sum); CREATE TABLE sitting(id)`} {
		path := filepath.Join(t.TempDir(), "other.db")
		db, err := openWriter(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec(ddl); err != nil {
			t.Fatal(err)
		}
		db.Close()
		if rep, err := takeIn(open(t, config(t)), path); err == nil || !strings.Contains(err.Error(), "is no notebook") {
			t.Error(ddl, rep, err)
		}
	}
}

// A backup made while another program writes is whole, and is never put over
// something.
func TestBackupWhileRunning(t *testing.T) {
	c := config(t)
	b := open(t, c)
	s, _ := sitting(t, b, 3, eventAt(0))
	cmd, out := start(t, c.Path, "w", "")
	path := filepath.Join(t.TempDir(), "backup.db")
	n := 0
	for out.Scan() {
		if strings.HasPrefix(out.Text(), "saved") {
			if n++; n == 20 {
				if err := b.Backup(path); err != nil {
					t.Error(err)
				}
				cmd.Process.Kill()
			}
		}
	}
	cmd.Wait()
	copied := open(t, Config{Path: path, NewID: c.NewID, Logf: t.Logf})
	got, evs, ok, err := copied.Live(false)
	if err != nil || !ok || got.ID != s.ID || len(evs) < 46+20 {
		t.Error(got, len(evs), ok, err)
	}
	if err := copied.Check(t.Context()); err != nil {
		t.Error(err)
	}
	if err := b.Backup(path); err == nil {
		t.Error("it was written over")
	}
	if es, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".wetside-*")); len(es) != 0 {
		t.Error(es)
	}
}

func TestExportFormats(t *testing.T) {
	b := open(t, config(t))
	s, m := sitting(t, b, 2, eventAt(0))
	id := b.cfg.NewID()
	live(t, b, s, m, []session.Event{
		{Kind: session.SheetAdded, At: at(9 * time.Hour), Sheet: id, Spec: &session.SheetSpec{Name: `=HYPERLINK("http://192.0.2.1")`, Maker: "<script>alert(1)</script>", Paper: papers[0], Process: process}},
		{Kind: session.Noted, At: at(9 * time.Hour), Sheet: id, Note: "<script>document.title='owned'</script>"},
		{Kind: session.Noted, At: at(9 * time.Hour), Sheet: id, Note: "two\r\nlines, \"quoted\"\x1b[2J"},
		{Kind: session.Spoiled, At: at(9 * time.Hour), Sheet: id, Note: "@fell on the floor"},
	})
	for _, f := range Formats {
		text := string(export(t, b, f, Options{}))
		for _, want := range []string{"HYPERLINK", "alert(1)", "develop", "spoiled", "fell on the floor", "document.title"} {
			if !strings.Contains(text, want) {
				t.Errorf("the format %s does not tell %q", f.Name, want)
			}
		}
		if strings.ContainsRune(text, '\x1b') {
			t.Errorf("the format %s hands on what drives a terminal", f.Name)
		}
		if f.Is == "" {
			t.Errorf("the format %s does not say what it is", f.Name)
		}
	}
	var doc struct {
		Format  string
		Version int
		Sheets  []Record
	}
	if err := json.Unmarshal(export(t, b, JSON, Options{}), &doc); err != nil || doc.Format != jsonName || doc.Version != 1 || len(doc.Sheets) != 3 {
		t.Error(doc.Format, doc.Version, len(doc.Sheets), err)
	}
	path := filepath.Join(t.TempDir(), "all.csv")
	os.WriteFile(path, export(t, b, CSV, Options{}), 0o600)
	rows := readCSV(t, path)
	last := rows[len(rows)-1]
	if len(rows) != 13 || last["name"] != `'=HYPERLINK("http://192.0.2.1")` || last["spoiled_because"] != "'@fell on the floor" || last["state"] != "spoiled" ||
		last["notes"] != `<script>document.title='owned'</script>; two  lines, "quoted"` {
		t.Errorf("%d %q", len(rows), last)
	}
	html := string(export(t, b, HTML, Options{}))
	if strings.Contains(html, "<script") || !strings.Contains(html, "&lt;script&gt;document.title") || strings.ContainsRune(html, '\x1b') {
		t.Error("markup reached the page")
	}
	if strings.Count(html, "<article>") != 3 || !strings.HasSuffix(html, "</html>\n") {
		t.Error("cards are missing")
	}
	if _, err := FormatOf("xml"); err == nil {
		t.Error("xml")
	}
}

// What no key would take is not taken in from another laptop either, as an event
// or as a record, and is named.
func TestImportLeavesOutWhatCannotBe(t *testing.T) {
	a, b := open(t, config(t)), open(t, config(t))
	s, m := sitting(t, a, 2, eventAt(0))
	closeIt(t, a, s, m)
	ids := []string{m.Sheets()[0].ID, m.Sheets()[1].ID}
	odd, err := a.Sheet(ids[0])
	if err != nil {
		t.Fatal(err)
	}
	good := len(odd.Judgements)
	odd.Judgements = append(odd.Judgements, JudgementRecord{At: at(70 * time.Hour).Wall, Stops: 30})
	alone := odd
	alone.ID, alone.Num, alone.Sitting, alone.Learned, alone.Judgements = "alone", 9, "elsewhere", -99, nil
	for _, r := range []*Record{&odd, &alone} {
		body, err := r.encode()
		if err != nil {
			t.Fatal(err)
		}
		m := a.mem(r.Sitting)
		if err := a.put(m, a.newRow(m, body, true)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := a.Append(s.ID, session.Event{Kind: session.Judged, At: at(71 * time.Hour), Sheet: ids[1], Stops: -21}); err != nil {
		t.Fatal(err)
	}
	tidy(t, a)
	for range 2 { // the second time brings nothing, and says the same
		rep, err := takeIn(b, a.cfg.Path)
		if err != nil || rep.Skipped != 1 || len(rep.Refused) != 2 {
			t.Fatalf("%+v %v", rep, err)
		}
		day := odd.Day()
		if x, y := rep.Refused[0].Words(), rep.Refused[1].Words(); x != "sheet 1 of "+day+": a judgement of 30 stops is left out: it is at most 20" ||
			y != "sheet 9 of "+day+": left out, for it has a learned correction of -99" {
			t.Errorf("told: %q, %q", x, y)
		}
	}
	if r, err := b.Sheet(ids[0]); err != nil || len(r.Judgements) != good {
		t.Errorf("%+v %v", r.Judgements, err)
	}
	if _, err := b.Sheet("alone"); err == nil {
		t.Error("a sheet that cannot be was taken in")
	}
}

// A third of a stop is a third, and nothing is minus nothing.
func TestStopsAreWrittenAsPeopleDo(t *testing.T) {
	b := open(t, config(t))
	s, m := sitting(t, b, 2, eventAt(0))
	closeIt(t, b, s, m)
	for i, v := range []float64{-1.0 / 3, math.Copysign(0, -1)} {
		if err := b.Judge(m.Sheets()[i].ID, at(72*time.Hour), v, ""); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), "all.csv")
	os.WriteFile(path, export(t, b, CSV, Options{}), 0o600)
	got := map[string]string{}
	for _, r := range readCSV(t, path) {
		got[r["sheet"]] = r["judged_stops"]
	}
	if got["1"] != "-0.33" || got["2"] != "0" {
		t.Errorf("in the spreadsheet: %q", got)
	}
	html := string(export(t, b, HTML, Options{}))
	if !strings.Contains(html, "1/3 stop less") || strings.Contains(html, "0.333") || strings.Contains(html, ">-0") {
		t.Error("on the page a third is not a third, or nothing is less than nothing")
	}
	r, err := b.Sheet(m.Sheets()[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	o, _ := b.Sheet(m.Sheets()[1].ID)
	if !slices.ContainsFunc(Compare(&r, &o), func(d Difference) bool { return d.What == "judged" && d.A == "1/3 stop less" && d.B == "right" }) {
		t.Error(Compare(&r, &o))
	}
}
