package voice

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/session"
	"wetside/session/sessiontest"
)

// The recogniser of these tests: Debian's pocketsphinx with its US English
// model, told of no word but the voice's own. go test -v -run Ear prints the
// table of what it confused.
const model = "/usr/share/pocketsphinx/model/en-us"

func needEar(t *testing.T) {
	t.Helper()
	_, err := exec.LookPath("pocketsphinx_batch")
	if err == nil {
		_, err = os.Stat(filepath.Join(model, "cmudict-en-us.dict"))
	}
	if err != nil {
		sessiontest.Skip(t, "pocketsphinx is not there: "+err.Error(), "apt install pocketsphinx pocketsphinx-en-us")
	}
}

// heard is what is written down of a token: words, in small letters.
func heard(tokens ...string) string {
	var out []string
	for _, t := range tokens {
		if _, pause := pauses[t]; !pause {
			out = append(out, strings.Fields(strings.ReplaceAll(t, "-", " "))...)
		}
	}
	return strings.Join(out, " ")
}

// dictionary writes the words of the vocabulary with their pronunciations:
// the recogniser's own dictionary's, and for words it lacks those in testdata.
func dictionary(t *testing.T, path string) {
	t.Helper()
	need := map[string]bool{}
	for _, c := range Vocabulary() {
		for _, w := range strings.Fields(heard(c)) {
			need[w] = true
		}
	}
	have := map[string]bool{}
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	for _, from := range []string{filepath.Join(model, "cmudict-en-us.dict"), "testdata/voice.dict"} {
		f, err := os.Open(from)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		own := map[string]bool{}
		for sc := bufio.NewScanner(f); sc.Scan(); {
			w, _, _ := strings.Cut(sc.Text(), " ")
			w, _, _ = strings.Cut(w, "(")
			if need[w] && !have[w] {
				fmt.Fprintln(out, sc.Text())
				own[w] = true
			}
		}
		for w := range own {
			have[w] = true
		}
	}
	for w := range need {
		if !have[w] {
			t.Fatalf("no pronunciation for %q: add it to testdata/voice.dict", w)
		}
	}
}

// listen has the recogniser write down each piece of sound, under a grammar.
// rush is white noise in dB under the level of the speech; 0 is none.
func listen(t *testing.T, grammar string, pieces [][]float32, rush float64) []string {
	t.Helper()
	dir := t.TempDir()
	dict := filepath.Join(dir, "dict")
	dictionary(t, dict)
	gram := filepath.Join(dir, "voice.gram")
	if err := os.WriteFile(gram, []byte("#JSGF V1.0;\ngrammar voice;\n"+grammar), 0o644); err != nil {
		t.Fatal(err)
	}
	var ctl strings.Builder
	for i, p := range pieces {
		name := fmt.Sprintf("p%05d", i)
		fmt.Fprintln(&ctl, name)
		if err := os.WriteFile(filepath.Join(dir, name+".raw"), raw16k(p, rush, int64(i)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	list, hyp := filepath.Join(dir, "ctl"), filepath.Join(dir, "hyp")
	if err := os.WriteFile(list, []byte(ctl.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("pocketsphinx_batch", "-hmm", filepath.Join(model, "en-us"), "-dict", dict,
		"-jsgf", gram, "-adcin", "yes", "-cepdir", dir, "-cepext", ".raw", "-ctl", list, "-hyp", hyp,
		"-bestpath", "no", "-topn", "8", "-beam", "1e-70", "-pbeam", "1e-70", "-wbeam", "1e-50")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("pocketsphinx_batch: %v\n%s", err, out)
	}
	b, err := os.ReadFile(hyp)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	if len(lines) != len(pieces) {
		t.Fatalf("%d pieces spoken, %d written down", len(pieces), len(lines))
	}
	for i, l := range lines {
		lines[i] = strings.TrimSpace(l[:strings.LastIndex(l, "(")])
	}
	return lines
}

// raw16k is a piece as the recogniser takes it, with a moment before and after.
func raw16k(s []float32, rush float64, seed int64) []byte {
	s = resample(s, Rate, 16000)
	const quiet = 16000 * 3 / 10
	all := append(append(make([]float32, quiet), s...), make([]float32, quiet)...)
	noise := 0.0005 // a room's own hiss: digital silence is no sound at all
	if rush != 0 {
		noise = pow10((Level + rush) / 20)
	}
	r := rand.New(rand.NewSource(seed))
	b := make([]byte, 2*len(all))
	for i, x := range all {
		v := float64(x) + noise*r.NormFloat64()
		binary.LittleEndian.PutUint16(b[2*i:], uint16(int16(min(max(v, -1), 1)*32767)))
	}
	return b
}

func anyOf(tokens []string) string {
	var alt []string
	for _, c := range tokens {
		alt = append(alt, heard(c))
	}
	return strings.Join(alt, " | ")
}

// TestEarClips: every clip alone is recognised, any other of the vocabulary
// being as likely.
func TestEarClips(t *testing.T) {
	needEar(t)
	v, err := New(Config{})
	if err != nil {
		t.Fatal(err)
	}
	var pieces [][]float32
	for _, c := range Vocabulary() {
		pieces = append(pieces, v.Say([]string{c}))
	}
	got := listen(t, "public <clip> = "+anyOf(Vocabulary())+";\n", pieces, 0)
	report(t, Vocabulary(), got)
}

func report(t *testing.T, said, got []string) {
	t.Helper()
	wrong := 0
	var b strings.Builder
	for i := range said {
		if heard(said[i]) != got[i] {
			wrong++
			fmt.Fprintf(&b, "| %s | %s |\n", heard(said[i]), got[i])
		}
	}
	t.Logf("%d pieces, %d confused\n\n| said | heard |\n|---|---|\n%s", len(said), wrong, b.String())
	if wrong > 0 {
		t.Errorf("%d of %d not recognised: reword or record them again", wrong, len(said))
	}
}

// sayGrammar is how the program's announcements are built: perhaps a sheet,
// then clips in any order, then perhaps a time. Numbers, and the short words
// that are only said together with others, stand where they are said; all other
// clips may follow each other freely.
func sayGrammar() string {
	var other []string
	for _, c := range Vocabulary() {
		switch {
		case slices.Contains(ones, c), slices.Contains(tens, c), strings.HasPrefix(c, "hour"),
			strings.HasPrefix(c, "minute"), c == "second", c == "seconds", c == "hundred",
			c == "thousand", c == "point", c == "sheet", c == "number", c == "over by", c == "left", c == "error",
			slices.Contains([]string{"camera", "may go in", "now", "next", "bath", "tray", "developer", "fixer",
				"nearly spent", "spent", "done", "go on", "yes", "no",
				"move now", "move on to", "to the", "stop", "second fixer", "rinse", "hypo-clear", "holding water", "wash", "exposure"}, c):
		default:
			other = append(other, c)
		}
	}
	return `public <say> = [<sheet>] [error [<sheet>]] <news> | [<sheet>] error | [error] go on | yes | no;
<news> = <time> [left] | over by <time> | <thing>+ [<end>];
<thing> = camera <n> | <bath> (nearly spent | spent | done) | move now take it out | (move now | move on to) [to the] <place> | <place> | may go in [now] | next <bath> | <other>;
<place> = stop | fixer | second fixer | rinse | hypo clear | holding water | wash | developer | exposure;
<bath> = bath | tray | developer | fixer;
<end> = <time> [left] [both need your hands] | over by <time> | number <n>;
<sheet> = sheet <n>;
<time> = <n> (second | seconds) | <n> (minute | minutes) [<sixty>]
 | <n> (hour | hours) [<sixty> (minute | minutes)] [<sixty> (second | seconds)];
<one> = ` + strings.Join(ones[1:10], " | ") + `;
<teen> = ` + strings.Join(ones[10:], " | ") + `;
<ten> = ` + strings.Join(tens[2:], " | ") + `;
<sixty> = <one> | <teen> | (twenty | thirty | forty | fifty) [<one>];
<hundred> = <one> | <teen> | <ten> [<one>];
<n> = (zero | <hundred> | <one> hundred [<hundred>] | <one> thousand [<one> hundred] [<hundred>]) [point (zero | <one>)+];
<other> = ` + anyOf(other) + ";\n"
}

// announcements are scripts of cues of each kind at each level, with sheets and
// times that bring every clip. Unless all are asked for, one of each kind and
// level, and those that bring a clip the others have not.
func announcements(all bool) [][]string {
	var out [][]string
	said, kinds, clips := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for _, c := range storyCues() {
		for _, talk := range []Talk{Few, Normal, Full} {
			s := script(c, talk, func(string) bool { return true }, Tokens)
			kind := fmt.Sprint(c.Kind, talk)
			take := all || !kinds[kind]
			for _, clip := range s {
				take = take || Known(clip) && !clips[clip]
			}
			if key := strings.Join(s, "/"); len(s) > 0 && take && !said[key] {
				said[key], kinds[kind] = true, true
				for _, clip := range s {
					clips[clip] = true
				}
				out = append(out, s)
			}
		}
	}
	return out
}

// TestEarAnnouncements: what the program says is recognised word by word. The
// few that bring every kind, level and clip; with WETSIDE_SOAK=1 all of them.
func TestEarAnnouncements(t *testing.T) {
	needEar(t)
	v, err := New(Config{})
	if err != nil {
		t.Fatal(err)
	}
	var pieces [][]float32
	var said []string
	for _, s := range announcements(os.Getenv("WETSIDE_SOAK") != "") {
		pieces = append(pieces, v.Say(s))
		said = append(said, strings.Join(slices.DeleteFunc(slices.Clone(s), func(t string) bool { _, p := pauses[t]; return p }), " "))
	}
	got := listen(t, sayGrammar(), pieces, 0)
	report(t, said, got)
}

func storyCues() []session.Cue {
	var out []session.Cue
	sheet := 0
	kinds := slices.Clone(drawn)
	for _, f := range session.CueFacts {
		if !slices.Contains(kinds, f.Kind) {
			kinds = append(kinds, f.Kind)
		}
	}
	for _, k := range kinds {
		for i, s := range session.Stages {
			sheet = sheet%23 + 1
			c := session.Cue{Kind: k, Num: sheet, Named: i%2 == 0, Stage: s, Next: session.Stages[(i+1)%len(session.Stages)],
				N: 1 + i, For: time.Duration(30+61*i+7*sheet) * time.Second,
				Left: time.Duration(20+47*i+13*sheet) * time.Second,
				Over: time.Duration(5+63*i) * time.Second}
			switch k {
			case session.CueMinutes:
				c.Left = time.Duration(1+i+sheet) * time.Minute
			case session.CueThirty:
				c.Left = 30 * time.Second
			case session.CueTen:
				c.Left = 10 * time.Second
			case session.CueOver:
				c.Over = time.Duration(1+i) * time.Minute
			case session.CueError:
				c.Text = said[i]
			case session.CueRelight:
				if i%2 == 0 {
					c.For = 0 // the light, and not the time
				}
			case session.CueMayGoIn:
				if i%3 == 0 {
					c.Left = 0
				}
			case session.CueMove, session.CueCall:
				if i == len(session.Stages)-1 {
					c.Next = ""
				}
			}
			out = append(out, c)
		}
	}
	for _, text := range said {
		out = append(out, session.Cue{Kind: session.CueSay, Text: text})
	}
	return out
}

// drawn is the order the sample's sheet numbers go by, so that it stays the same
// when the list of cues is put in another order; a new kind comes behind.
var drawn = []session.CueKind{
	session.CueBegin, session.CueRockOn, session.CueRockOff, session.CueRock, session.CueMinutes,
	session.CueThirty, session.CueTen, session.CueAtLeast, session.CueDrain, session.CueMove,
	session.CueCall, session.CueOver, session.CueSeen, session.CueBack, session.CueDone,
	session.CueSpoiled, session.CueWashAnew, session.CueChange, session.CueAlive, session.CueLightOn,
	session.CueHalf, session.CueLightOff, session.CueCovered, session.CueUncovered, session.CueRelight,
	session.CueSafeHalf, session.CueSafeAll, session.CueMayGoIn, session.CueConflict,
	session.CueBathHigh, session.CueBathSpent, session.CueError, session.CueSay,
}

var said = []string{
	"sheet 4: develop, 0:47 left",
	"nothing is running",
	"paper is out; press again to quit",
	"#3: exposure, 1:02:03 left",
	"sound is back", "go on?",
	"in the dark now; look for light; did you see light?",
	"uncover the next step; move the card; 5 s",
	"camera 80; brighter, darker, marked, noted, quit", "yes", "no",
	"camera 1206", "camera 12.5", "camera 360", "camera 71", "camera 99", "camera 0",
	"sheet 17: resumed; still waiting", "next tray; rehearsal", "fixer done", "next sheet may go in now",
	"paper is covered; move on to second fix",
	"safelight", "agitate; rest", "fix", "hold", "covered", "1:00:00 left", "0:01 left", "1:00 left", "18:13 left",
	"2:00:16 left", "sheet 14: wash, 19:12 left", "sheet 15: rinse, hypo clear, stop",
}
