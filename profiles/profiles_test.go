package profiles

import (
	"bytes"
	"errors"
	"io/fs"
	"math"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/rogpeppe/go-internal/txtar"

	"wetside/session"
	"wetside/session/sessiontest"
)

// TestBadFiles: every fault of a file is told, with its line and what would be
// right, in exactly these words.
func TestBadFiles(t *testing.T) {
	const name = "testdata/bad.txtar"
	a, err := txtar.ParseFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var files []txtar.File
	for _, f := range a.Files {
		if !strings.HasSuffix(f.Name, ".want") {
			files = append(files, f)
		}
	}
	if len(files) < 25 {
		t.Fatalf("only %d bad files in %s", len(files), name)
	}
	out := &txtar.Archive{Comment: a.Comment}
	for _, f := range files {
		problems := CheckFile(f.Name, f.Data)
		if len(problems) == 0 {
			t.Errorf("%s loads, and should not", f.Name)
		}
		got := Problems(problems).Error() + "\n"
		key := strings.TrimSuffix(f.Name, ".toml") + ".want"
		out.Files = append(out.Files, f, txtar.File{Name: key, Data: []byte(got)})
	}
	sessiontest.Golden(t, name, txtar.Format(out))
}

func load(t testing.TB, user fs.FS) *Set {
	t.Helper()
	s, err := Load(user)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestDefaults holds the built-in profiles to the figures they are known for.
// Common practice, no source: ISO 3 for direct-positive paper, ISO 6 for paper
// negatives, f/150 for a 75 mm tin with a half-millimetre hole, and the times
// of the trays.
func TestDefaults(t *testing.T) {
	s := load(t, nil)
	for key, want := range map[string]struct {
		iso      float64
		base     session.Base
		response session.Response
	}{
		"direct-positive-fb": {3, session.FB, session.Lighter},
		"paper-negative-rc":  {6, session.RC, session.Denser},
		"graded-fb":          {6, session.FB, session.Denser},
	} {
		p, err := s.Paper(key)
		if err != nil {
			t.Error(err)
			continue
		}
		if p.ISO != want.iso || p.Base != want.base || p.Response != want.response {
			t.Errorf("%s: ISO %v %s %s", key, p.ISO, p.Base, p.Response)
		}
		sp := p.Session()
		if sp.Tested || sp.TestedOn != "" || sp.SafeExp <= 0 || sp.SafeExp > sp.Safe || sp.AreaCM2 != 108 {
			t.Errorf("%s: %+v: a default safelight time is cautious, and not called tested", key, sp)
		}
		if !strings.Contains(p.Safelight.Source, "not tested") {
			t.Errorf("%s does not say that its safelight time is not tested", key)
		}
	}
	for key, f := range map[string]float64{"tea-caddy": 150, "biscuit-tin": 150} {
		c, err := s.Camera(key)
		if err != nil || c.FNumber() != f {
			t.Errorf("%s: f/%v, %v", key, c.FNumber(), err)
		}
	}
	p, err := s.Process("three-trays")
	if err != nil {
		t.Fatal(err)
	}
	sp, err := p.At(20, session.FB)
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		stage       session.Stage
		least, most time.Duration
	}{
		{session.Develop, 90 * time.Second, 3 * time.Minute}, {session.Stop, 10 * time.Second, 10 * time.Second},
		{session.Fix, time.Minute, time.Minute}, {session.Wash, 30 * time.Minute, 30 * time.Minute},
	}
	if len(sp.Steps) != len(want) {
		t.Fatalf("three trays: %d steps", len(sp.Steps))
	}
	for i, w := range want {
		if st := sp.Steps[i]; st.Stage != w.stage || st.AtLeast != w.least || st.AtMost != w.most {
			t.Errorf("step %d: %+v, want %+v", i+1, st, w)
		}
	}
	for key, want := range map[string][]session.Stage{
		"three-trays-clear": {session.Develop, session.Stop, session.Fix, session.Rinse, session.Clear, session.Wash},
		"two-bath-fix":      {session.Develop, session.Stop, session.Fix, session.Fix2, session.Rinse, session.Clear, session.Wash},
	} {
		p, err := s.Process(key)
		if err != nil {
			t.Error(err)
			continue
		}
		var got []session.Stage
		for _, st := range p.Steps {
			got = append(got, st.Stage)
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v", key, got)
		}
	}
}

// TestEveryPairRuns: whatever paper and process of the defaults are chosen, the
// session machine takes the sheet and the baths.
func TestEveryPairRuns(t *testing.T) {
	s := load(t, nil)
	n := 0
	for _, p := range s.Processes() {
		for _, paper := range s.Papers() {
			if err := p.For(paper.Base); err != nil {
				if p.Key != "two-bath-fix" || paper.Base != session.RC {
					t.Error(err)
				}
				continue
			}
			for c := float64(p.Temperature.Lowest); c <= float64(p.Temperature.Highest); c += 0.5 {
				sp, err := p.At(c, paper.Base)
				if err != nil {
					t.Fatal(err)
				}
				m := session.New()
				at := session.Instant{}
				for _, e := range []session.Event{
					{Kind: session.Opened, At: at},
					{Kind: session.SheetAdded, At: at, Sheet: "x", Spec: &session.SheetSpec{Paper: paper.Session(), Process: sp, Celsius: c}},
				} {
					if err := m.Apply(e); err != nil {
						t.Fatalf("%s with %s at %v C: %v", paper.Key, p.Key, c, err)
					}
				}
				n++
			}
		}
		for i, b := range p.Baths {
			if b.Name == "" || b.Volume <= 0 || (b.Dilution != "water" && (b.Capacity <= 0 || b.Life <= 0)) {
				t.Errorf("%s: bath %d is not fully stated: %+v", p.Key, i, b)
			}
			if fixer := strings.Contains(b.What, "fixer"); fixer != b.Silver {
				t.Errorf("%s: %s: silver = %v", p.Key, b.Name, b.Silver)
			}
		}
	}
	if n == 0 {
		t.Fatal("nothing was tried")
	}
}

func TestMix(t *testing.T) {
	p, _ := load(t, nil).Process("three-trays")
	b, err := p.Bath("fixer")
	if err != nil {
		t.Fatal(err)
	}
	want := session.Mix{ID: "m1", Name: "fixer", What: "rapid fixer", Dilution: "1+4", ML: 500, PerLitre: 8000, Life: 24 * time.Hour, CarryML: 2, Silver: true}
	if got := b.mix("m1"); got != want {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	if _, err := p.Bath("fixr"); err == nil || !strings.Contains(err.Error(), `did you mean "fixer"?`) {
		t.Error(err)
	}
}

const tin = `camera = "tea-caddy"
name = "My own caddy"
shape = "flat"
focal = "60 mm"
pinhole = "0.4 mm"
sheet = "5x7 in"
`

func file(s string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(s)} }

// TestOverlay: the user's profile stands in place of the default, whole, and a
// faulty one hides nothing.
func TestOverlay(t *testing.T) {
	s, err := Load(fstest.MapFS{
		"cameras/mine.toml":      file(tin),
		"cameras/again.toml":     file(strings.Replace(tin, "tea-caddy", "hat-box", 1)),
		"cameras/second.toml":    file(strings.Replace(tin, "tea-caddy", "hat-box", 1)),
		"papers/broken.toml":     file("paper = \"direct-positive-fb\"\nname = \"Broken\"\niso = -3\n"),
		"cameras/.hidden.toml":   file("not a profile"),
		".trash/old.toml":        file("not a profile"),
		"cameras/picture.toml":   file(strings.Repeat("x", maxFile+1)),
		"cameras/readme.txt":     file("not a profile"),
		"anywhere/else/new.toml": file(strings.Replace(tin, "tea-caddy", "soup-tin", 1)),
	})
	var problems Problems
	if !errors.As(err, &problems) {
		t.Fatalf("%v", err)
	}
	got := map[string]int{}
	for _, p := range problems {
		got[p.File]++
	}
	want := map[string]int{"papers/broken.toml": 5, "cameras/picture.toml": 1, "cameras/second.toml": 1}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("problems %v, want %v:\n%v", got, want, err)
	}
	c, err := s.Camera("tea-caddy")
	if err != nil || c.Name != "My own caddy" || c.Shape != flat || c.Diameter != 0 {
		t.Errorf("%+v, %v: nothing of the default may shine through", c, err)
	}
	if src, err := s.Source(CameraKind, "tea-caddy"); err != nil || src.Builtin || src.File != "cameras/mine.toml" || string(src.Data) != tin || src.Path() != src.File {
		t.Errorf("%+v, %v", src, err)
	}
	p, err := s.Paper("direct-positive-fb")
	if err != nil || p.ISO != 3 {
		t.Errorf("%+v, %v: a faulty file must not hide the default", p, err)
	}
	if src, err := s.Source(PaperKind, "direct-positive-fb"); err != nil || !src.Builtin || src.Path() != "papers/direct-positive-fb.toml" {
		t.Errorf("%+v, %v", src, err)
	}
	if _, err := s.Camera("soup-tin"); err != nil {
		t.Error(err)
	}
	var names []string
	for _, c := range s.Cameras() {
		names = append(names, c.Key)
	}
	if strings.Join(names, " ") != "biscuit-tin hat-box soup-tin tea-caddy" {
		t.Errorf("cameras: %v", names)
	}
}

// unreadable is a folder whose files cannot be opened.
type unreadable struct{ fstest.MapFS }

func (u unreadable) ReadFile(name string) ([]byte, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrPermission}
}

func TestFolders(t *testing.T) {
	if _, err := Load(os.DirFS(t.TempDir() + "/not/there")); err != nil {
		t.Errorf("no folder is an empty one: %v", err)
	}
	if _, err := Load(fstest.MapFS{"cameras/mine.toml": file("")}); err != nil {
		t.Errorf("a file that the shell has only just made: %v", err)
	}
	if _, err := Load(os.DirFS(t.TempDir())); err != nil {
		t.Error(err)
	}
	s, err := Load(unreadable{fstest.MapFS{"cameras/mine.toml": file(tin)}})
	if err == nil || err.Error() != "cameras/mine.toml: cannot be read: permission denied" {
		t.Error(err)
	}
	if c, err := s.Camera("tea-caddy"); err != nil || c.Shape != Cylinder {
		t.Errorf("%+v, %v", c, err)
	}
	withBOM := "\xef\xbb\xbf" + strings.ReplaceAll(tin, "\n", "\r\n")
	if s, err := Load(fstest.MapFS{"a.toml": file(withBOM)}); err != nil {
		t.Errorf("a file from another system's editor: %v", err)
	} else if c, _ := s.Camera("tea-caddy"); c.Name != "My own caddy" {
		t.Errorf("%+v", c)
	}
}

func TestUnknownKeys(t *testing.T) {
	s := load(t, nil)
	for _, c := range []struct {
		err  func() error
		want string
	}{
		{func() error { _, err := s.Paper("direct-positive"); return err }, `no paper "direct-positive": did you mean "direct-positive-fb"?`},
		{func() error { _, err := s.Paper("direct-fb"); return err }, `no paper "direct-fb": did you mean "direct-positive-fb"?`},
		{func() error { _, err := s.Process("three-tray"); return err }, `no process "three-tray": did you mean "three-trays" or "three-trays-clear"?`},
		{func() error { _, err := s.Camera("tea-cadyd"); return err }, `no camera "tea-cadyd": did you mean "tea-caddy"?`},
		{func() error { _, err := s.Camera(""); return err }, `no camera "": there are biscuit-tin, hat-box, tea-caddy`},
		{func() error { _, err := s.Source(PaperKind, "x"); return err }, `no paper "x": there are direct-positive-fb, graded-fb, paper-negative-rc`},
		{func() error { _, err := s.Source("lens", "x"); return err }, `no lens "x"`},
	} {
		if err := c.err(); err == nil || err.Error() != c.want {
			t.Errorf("got  %v\nwant %s", err, c.want)
		}
	}
}

// TestWords: too little light leaves a direct positive dark and a negative thin.
func TestWords(t *testing.T) {
	for _, c := range []struct{ r, little, much string }{{"lighter", "too dark", "too light"}, {"denser", "too thin", "too dense"}} {
		r := session.Response(c.r)
		if TooLittle(r) != c.little || TooMuch(r) != c.much {
			t.Errorf("%s: %s %s", r, TooLittle(r), TooMuch(r))
		}
	}
}

// TestTheCommentedLines: what the defaults show behind a # works when the # goes.
func TestTheCommentedLines(t *testing.T) {
	s := load(t, nil)
	src, err := s.Source(PaperKind, "direct-positive-fb")
	if err != nil {
		t.Fatal(err)
	}
	i := bytes.Index(src.Data, []byte("# [preflash]"))
	if i < 0 {
		t.Fatal("the paper's file shows no pre-flash")
	}
	text := string(src.Data[:i]) + strings.ReplaceAll(string(src.Data[i:]), "\n# ", "\n")[2:]
	_, v, problems := check("shown", []byte(text))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	if p := v.(*Paper); p.Preflash == nil || p.Preflash.Threshold != Duration(4*time.Second) || p.Preflash.Found.String() != "2026-05-03" {
		t.Errorf("%+v", p.Preflash)
	}
	table := `[reciprocity]
model = "table"
table = [` + strings.TrimSpace(lineWith(t, src.Data, `{measured = "10s"`)) + "]\n"
	text = strings.Split(string(src.Data), "[reciprocity]")[0] + table
	if problems := CheckFile("table", []byte(text)); len(problems) > 0 {
		t.Error(problems)
	}
	src, err = s.Source(ProcessKind, "three-trays")
	if err != nil {
		t.Fatal(err)
	}
	text = strings.Replace(string(src.Data), "coefficient = 2.0\n", "table = ["+strings.TrimSpace(lineWith(t, src.Data, `{at = "18 C"`))+"]\n", 1)
	text = strings.Replace(strings.Replace(text, `"16 C"`, `"18 C"`, 1), `"26 C"`, `"24 C"`, 1)
	if problems := CheckFile("table", []byte(text)); len(problems) > 0 {
		t.Error(problems)
	}
	text = strings.Replace(string(src.Data), "# may_rest = true", "may_rest = true", 1)
	_, v, problems = check("rest", []byte(text))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	var rests []string
	way, err := v.(*Process).At(0, session.FB)
	for _, st := range way.Steps {
		if st.MayRest {
			rests = append(rests, string(st.Stage))
		}
	}
	if err != nil || !slices.Equal(rests, []string{"fix"}) {
		t.Errorf("left alone is the rocking of %q, want that of the fixer (%v)", rests, err)
	}
}

func lineWith(t *testing.T, data []byte, s string) string {
	t.Helper()
	for _, l := range strings.Split(string(data), "\n") {
		if strings.Contains(l, s) {
			return strings.TrimLeft(l, "# ") + "\n"
		}
	}
	t.Fatalf("no line with %q", s)
	return ""
}

// TestFourMinutes: the default paper behind the default tin wants about four
// minutes under a slightly overcast sky, which lies between EV 12 and EV 13
// (common practice, no source). The sum is N^2/t = 2^EV x S/100 and then the
// paper's own reciprocity failure.
func TestFourMinutes(t *testing.T) {
	s := load(t, nil)
	p, err := s.Paper("direct-positive-fb")
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.Camera("tea-caddy")
	if err != nil {
		t.Fatal(err)
	}
	r := p.Reciprocity
	if r.Model != schwarzschild || r.Reference != Duration(time.Second) {
		t.Fatalf("%+v", r)
	}
	seconds := func(ev float64) float64 {
		return math.Pow(c.FNumber()*c.FNumber()/(math.Exp2(ev)*p.ISO/100), 1/r.P)
	}
	if seconds(12) < 240 || seconds(13) > 240 {
		t.Errorf("%.0f s at EV 12, %.0f s at EV 13", seconds(12), seconds(13))
	}
}

// TestHostileFiles: a file made to be slow or deep is refused like any other.
func TestHostileFiles(t *testing.T) {
	many := func(s string) string { return strings.Repeat(s, maxFile/len(s)-10) }
	for name, text := range map[string]string{
		"arrays":      "paper = " + many("[") + "\n",
		"closed":      "paper = " + strings.Repeat("[", maxFile/3) + strings.Repeat("]", maxFile/3) + "\n",
		"inline":      "paper = " + many("{a=") + "\n",
		"dotted":      "paper = \"p\"\n" + many("a.") + "a = 1\n",
		"table":       "paper = \"p\"\n[" + strings.Repeat("a.", maxFile/8) + "a]\n" + strings.Repeat("b=1\n", maxFile/8),
		"tables":      "process = \"p\"\n" + many("[[step]]\n"),
		"keys":        "process = \"p\"\n" + many("x = 1\n"),
		"note":        "camera = \"p\"\nnote = \"\"\"" + many("n\n"),
		"nul":         "camera = \"p\x00\"\n",
		"not text":    "camera = \"\xff\xfe\"\n",
		"escape":      "camera = \"tin\\u001b[2J\"\n",
		"huge number": "paper = \"p\"\niso = 1e999\n",
		"nan":         "paper = \"p\"\niso = nan\n",
	} {
		t.Run(name, func(t *testing.T) {
			if problems := CheckFile(name, []byte(text)); len(problems) == 0 {
				t.Errorf("%s loads", name)
			}
		})
	}
}

// BenchmarkLoad is what the profiles cost at every start.
func BenchmarkLoad(b *testing.B) {
	for b.Loop() {
		if _, err := Load(nil); err != nil {
			b.Fatal(err)
		}
	}
}

// Each example that stands in a built-in file behind a comment sign works when
// the sign goes: a line by itself, or the lines of a table together.
func TestCommentedExamplesWork(t *testing.T) {
	files, err := fs.Glob(defaults, "defaults/*.toml")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	example := regexp.MustCompile(`^# *((?:\[+[a-z_.]+\]+|[a-z_]+ = .+))$`)
	tried := 0
	for _, f := range files {
		data, err := defaults.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(string(data), "\n")
		for i := 0; i < len(lines); i++ {
			m := example.FindStringSubmatch(lines[i])
			if m == nil {
				continue
			}
			changed := slices.Clone(lines)
			changed[i] = m[1]
			first := i
			// A table's header, and values that were found together, go together.
			for m[1][0] == '[' && i+1 < len(lines) || strings.HasPrefix(m[1], "tested") {
				next := example.FindStringSubmatch(lines[i+1])
				if next == nil {
					break
				}
				i++
				changed[i] = next[1]
			}
			tried++
			if p := CheckFile(f, []byte(strings.Join(changed, "\n"))); len(p) > 0 {
				t.Errorf("line %d, %q: %v", first+1, lines[first], p)
			}
		}
	}
	if tried < 6 {
		t.Errorf("only %d examples were found", tried)
	}
}
