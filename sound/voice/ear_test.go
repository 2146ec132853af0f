package voice

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"maps"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"wetside/session"
	"wetside/session/say"
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
	for _, c := range say.Clips() {
		for _, w := range strings.Fields(heard(c) + " " + heard(twin(c))) {
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
		if err := os.WriteFile(filepath.Join(dir, name+".raw"), raw16k(p, rush), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "ctl"), []byte(ctl.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	// Two at a time, for that is where the time goes.
	var lines []string
	half := (len(pieces) + 1) / 2
	var two errgroup.Group
	for k := range 2 {
		two.Go(func() error { return recognise(dir, dict, gram, k*half, min(half, len(pieces)-k*half)) })
	}
	if err := two.Wait(); err != nil {
		t.Fatal(err)
	}
	for k := range 2 {
		b, err := os.ReadFile(filepath.Join(dir, fmt.Sprint("hyp", k*half)))
		if err != nil {
			t.Fatal(err)
		}
		if text := strings.TrimSpace(string(b)); text != "" {
			lines = append(lines, strings.Split(text, "\n")...)
		}
	}
	if len(lines) != len(pieces) {
		t.Fatalf("%d pieces spoken, %d written down", len(pieces), len(lines))
	}
	for i, l := range lines {
		lines[i] = strings.TrimSpace(l[:strings.LastIndex(l, "(")])
	}
	return lines
}

// recognise has the recogniser write down n pieces of the list.
func recognise(dir, dict, gram string, from, n int) error {
	cmd := exec.Command("pocketsphinx_batch", "-ctloffset", fmt.Sprint(from), "-ctlcount", fmt.Sprint(n), "-hmm", filepath.Join(model, "en-us"), "-dict", dict,
		"-jsgf", gram, "-adcin", "yes", "-cepdir", dir, "-cepext", ".raw", "-ctl", filepath.Join(dir, "ctl"), "-hyp", filepath.Join(dir, fmt.Sprint("hyp", from)),
		// Noise that is subtracted is learnt from the pieces before: each is to stand for itself.
		"-remove_noise", "no", "-bestpath", "no", "-beam", "1e-48", "-pbeam", "1e-48", "-wbeam", "1e-40")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("pocketsphinx_batch: %w\n%s", err, out)
	}
	return nil
}

// raw16k is a piece as the recogniser takes it, with a moment before and after.
func raw16k(s []float32, rush float64) []byte {
	s = resample(s, Rate, 16000)
	const quiet = 16000 * 3 / 10
	all := append(append(make([]float32, quiet), s...), make([]float32, quiet)...)
	noise := 0.0005 // a room's own hiss: digital silence is no sound at all
	if rush != 0 {
		noise = pow10((Level + rush) / 20)
	}
	r := rand.New(rand.NewSource(1))
	b := make([]byte, 2*len(all))
	for i, x := range all {
		v := float64(x) + noise*r.NormFloat64()
		binary.LittleEndian.PutUint16(b[2*i:], uint16(int16(min(max(v, -1), 1)*32767)))
	}
	return b
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

// twin is a phrase with its negation turned round.
func twin(phrase string) string {
	w := strings.Fields(heard(phrase))
	for i, x := range w {
		if x == "not" || x == "no" {
			return strings.Join(slices.Delete(w, i, i+1), " ")
		}
	}
	for i, x := range w {
		if x == "is" || x == "may" || x == "will" {
			return strings.Join(slices.Insert(w, i+1, "not"), " ")
		}
	}
	return "not " + strings.Join(w, " ")
}

// negated reports whether a part has a negation in it.
func negated(p say.Part) bool {
	return len(strings.Fields(twin(p.Phrase))) < len(strings.Fields(heard(p.Phrase)))
}

// addressed reports whether lines of a template may be addressed to sheets: not
// those that name one themselves, or tell of a key or a place.
func addressed(parts []say.Part) bool {
	switch parts[0].Slot {
	case "", "in", "into", "soon", "onto", "time":
		return !slices.ContainsFunc(parts, func(p say.Part) bool { return p.Slot == "sheet" })
	}
	return false
}

// grammar is the closed language: every template, each with its negated twin,
// for any sheets, with any values in its slots.
func grammar() string {
	var b strings.Builder
	// Templates with the same slots in the same places are one rule, for the
	// recogniser writes every rule out at every place it is used: any of their
	// phrases may stand at each place, so that it has more to choose from and not
	// less.
	shapes := map[string][]map[string]bool{}
	var order []string
	for _, parts := range say.Templates {
		n := slices.IndexFunc(parts, negated)
		if n < 0 {
			n = slices.IndexFunc(parts, func(p say.Part) bool { return p.Phrase != "" })
		}
		shape := ""
		if addressed(parts) {
			shape = "+"
		}
		var at []map[string]bool
		for k, p := range parts {
			if p.Phrase == "" {
				shape += "<" + p.Slot + ">"
				at = append(at, nil)
				continue
			}
			shape += "."
			at = append(at, map[string]bool{heard(p.Phrase): true})
			if k == n {
				at[k][twin(p.Phrase)] = true
			}
		}
		if have := shapes[shape]; have != nil {
			for k := range at {
				maps.Copy(have[k], at[k])
			}
			continue
		}
		shapes[shape] = at
		order = append(order, shape)
	}
	var all, to []string
	for i, shape := range order {
		rest, ok := strings.CutPrefix(shape, "+")
		fmt.Fprintf(&b, "<t%d> = [not]", i)
		for _, phrases := range shapes[shape] {
			if phrases != nil {
				fmt.Fprintf(&b, " (%s)", strings.Join(slices.Sorted(maps.Keys(phrases)), " | "))
				rest = rest[1:]
				continue
			}
			slot, _, _ := strings.Cut(rest, ">")
			b.WriteString(" " + slot + ">")
			rest = rest[len(slot)+1:]
		}
		b.WriteString(";\n")
		if t := fmt.Sprintf("<t%d>", i); ok {
			to = append(to, t)
		} else {
			all = append(all, t)
		}
	}
	// A slot of these kinds is one clip: which, the examples tell.
	spoken := map[string]map[string]bool{}
	at := -1 // the examples are in the order of the templates
	var before say.Line
	for _, l := range say.Examples {
		if !l.Is(before) {
			at, before = at+1, l
		}
		parts := say.Templates[at]
		c := slices.DeleteFunc(l.Clips(none), func(x string) bool { _, pause := pauses[x]; return pause })
		for k, p := range parts {
			if p.Slot != "" && len(c) == len(parts) {
				if spoken[p.Slot] == nil {
					spoken[p.Slot] = map[string]bool{}
				}
				spoken[p.Slot][heard(c[k])] = true
			}
		}
	}
	values := func(kind string) string { return strings.Join(slices.Sorted(maps.Keys(spoken[kind])), " | ") }
	// Nothing here repeats: the recogniser leaves such a rule by any other's end, and
	// puts sheets before lines that are addressed to none.
	fmt.Fprintf(&b, "public <say> = <called> | %s;\n<called> = [<to>] (%s);\n", strings.Join(all, " | "), strings.Join(to, " | "))
	b.WriteString(`<to> = <hundred> [<hundred> [<hundred>]];
<sheet> = sheet <n>;
<time> = one (second | minute [<sixty>] | hour [<sixty> minutes | one minute])
 | (zero | <few> | <teen> | <ten> [<one>]) (seconds | minutes [<sixty>] | hours [<sixty> minutes | one minute]);
<few> = ` + strings.Join(ones[2:10], " | ") + `;
<one> = one | <few>;
<teen> = ` + strings.Join(ones[10:], " | ") + `;
<ten> = ` + strings.Join(tens[2:], " | ") + `;
<sixty> = <one> | <teen> | (twenty | thirty | forty | fifty) [<one>];
<hundred> = <one> | <teen> | <ten> [<one>];
<n> = zero | <hundred> | <one> hundred [<hundred>] | <one> thousand [<one> hundred] [<hundred>];
<number> = [minus] <n>;
<decimal> = [minus] <n> [point (zero | <one>) [zero | <one>]];
<percent> = <n> percent;
<fraction> = one half | one third | two thirds;
<stops> = no change | (plus | minus) (<n> (stop | stops) | <fraction> (stop | stops) | <n> and <fraction> (stop | stops) | <n> point (zero | <one>) (stop | stops));
<name> = <bath> | <sheet> | number <n>;
`)
	for _, kind := range []string{"in", "into", "soon", "onto", "what", "bath", "key", "state", "where", "field", "room", "deed", "confirmed"} {
		fmt.Fprintf(&b, "<%s> = %s;\n", kind, values(kind))
	}
	for _, parts := range say.Templates {
		for _, p := range parts {
			if p.Slot != "" && !strings.Contains(b.String(), "\n<"+p.Slot+"> =") {
				panic("the grammar has no rule for " + p.Slot)
			}
		}
	}
	return b.String()
}

// lines are what the recogniser is asked: every template with its slots at their
// extremes, and calls to one sheet and to several.
func lines(all bool) (out []say.Line) {
	clips := map[string]bool{}
	var before say.Line
	more := 0
	calls := true // they stand first
	at := -1
	for i, l := range say.Examples {
		first := !l.Is(before)
		calls = calls && !l.Is(say.AndMore.Of(0))
		before = l
		if first {
			at++
		}
		parts := say.Templates[at]
		if !all && !calls && !slices.ContainsFunc(parts, negated) {
			continue
		}
		to := calls && addressed(parts)
		fresh := false
		for _, c := range l.Clips(none) {
			fresh = fresh || !clips[c]
			clips[c] = true
		}
		if fresh && !first {
			more++
		}
		if all || first || fresh && more%4 == 0 {
			out = append(out, l)
		}
		if to && (all || first && len(out)%3 == 0) {
			out = append(out, l.To(say.Num(1+i%24)))
		}
		if to && first && len(out)%7 == 0 {
			out = append(out, l.To(say.Num(2)|say.Num(3)|say.Num(5+i%20)))
		}
	}
	return out
}

func none(string) bool { return false }

// TestEarLines: whatever the program says is heard for what it is, target,
// number, sign, unit and negation, everything else that it can say and the
// contrary of each being as likely; with the clips of the binary and no voice
// of the system's. The calls and whatever has a negation, and of the clips in their
// slots each fourth; with WETSIDE_SOAK=1 every template, with every extreme of every slot,
// a hundred at a time, so that one can be run again by itself.
func TestEarLines(t *testing.T) {
	needEar(t)
	v, err := New(Config{})
	if err != nil {
		t.Fatal(err)
	}
	var pieces [][]float32
	var said []string
	for _, l := range lines(os.Getenv("WETSIDE_SOAK") != "") {
		c := l.Clips(none)
		for _, x := range c {
			if _, pause := pauses[x]; !pause && !Known(x) {
				t.Fatalf("%s: no clip %q: go generate ./sound/voice", l, x)
			}
		}
		pieces = append(pieces, v.Say(c))
		said = append(said, heard(c...))
	}
	if os.Getenv("WETSIDE_SOAK") == "" {
		report(t, said, listen(t, grammar(), pieces, 0))
		return
	}
	const some = 100
	for i := 0; i < len(said); i += some {
		j := min(i+some, len(said))
		t.Run(fmt.Sprintf("%d-%d", i, j-1), func(t *testing.T) { report(t, said[i:j], listen(t, grammar(), pieces[i:j], 0)) })
	}
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
		if c := (session.Cue{Kind: k}); k == session.CueSay || k == session.CueTell || k == session.CueError || k == session.CueHello {
			continue // the desk has their lines
		} else if c.Ticks() && k != session.CuePip {
			continue
		}
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

// Vocabulary lists the names of all clips.
func Vocabulary() []string {
	p, err := openPack()
	if err != nil {
		return nil
	}
	return p.Names()
}

// Known reports whether a token is a clip of the vocabulary.
func Known(token string) bool {
	p, err := openPack()
	return err == nil && p.Has(token)
}
