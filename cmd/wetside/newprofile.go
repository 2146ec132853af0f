package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"unicode"

	"github.com/charmbracelet/x/term"

	"wetside/profiles"
	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
	"wetside/tui"
)

// ProfilesNewCmd makes a file to begin with.
type ProfilesNewCmd struct {
	Camera  NewCameraCmd  `cmd:"" help:"Write the file of a new camera."`
	Paper   NewPaperCmd   `cmd:"" help:"Write the file of a new paper."`
	Process NewProcessCmd `cmd:"" help:"Write the file of a new process, after one that is there."`
}

// Named is what each kind of profile has.
type Named struct {
	Key  string `arg:"" optional:"" help:"The word by which commands call it: small letters, digits and dashes."`
	Name string `help:"What you call it." placeholder:"WORDS"`
}

// NewCameraCmd writes a camera.
type NewCameraCmd struct {
	Named
	Focal    string `help:"Flat back: from the hole to the paper, like 75mm." placeholder:"LENGTH" xor:"back"`
	Diameter string `help:"A tin with the hole in its wall: inside diameter, like \"2 7/8 in\"." placeholder:"LENGTH" xor:"back"`
	Hole     string `help:"Diameter of the hole, like 0.5mm." placeholder:"LENGTH"`
	Plate    string `help:"Thickness of the plate that the hole is in, like 0.1mm." placeholder:"LENGTH"`
	Sheet    string `help:"The paper it takes, width first, like 12x9cm." placeholder:"SIZE"`
}

// Help shows how it is used.
func (NewCameraCmd) Help() string {
	return `Examples:

  wetside profiles new camera
  wetside profiles new camera cake-tin --diameter 90mm --hole 0.5mm --sheet 13x9cm
  wetside profiles new camera cigar-box --focal "2 7/8 in" --hole 0.4mm --plate 0.1mm --sheet "4x5 in"

What no flag says is asked. The file lies in the folder of your profiles, with
every line explained; its path is printed.`
}

// Run writes it.
func (c *NewCameraCmd) Run(h *host) error {
	a := h.asker()
	if err := c.ask(h, a, profiles.CameraKind, "cake-tin"); err != nil {
		return err
	}
	if c.Focal == "" && c.Diameter == "" {
		shape := ""
		if err := a.ask(&shape, "a round tin, or a flat back?", "round or flat; --diameter or --focal say it as flags", "", func(s string) error {
			return among(map[string]bool{"round": true, "flat": true}, s, "it is round or flat")
		}); err != nil {
			return err
		}
		to, label := &c.Focal, "from the hole to the paper"
		if shape == "round" {
			to, label = &c.Diameter, "inside diameter"
		}
		if err := a.ask(to, label, "75 mm or 2 7/8 in", "", isLength); err != nil {
			return err
		}
	}
	if err := a.ask(&c.Hole, "diameter of the hole", "0.5 mm; wetside pinhole measures it; --hole", "", isLength); err != nil {
		return err
	}
	const thin = "not known" // then an infinitely thin one is reckoned with, and that is said
	if err := a.ask(&c.Plate, "thickness of the plate that the hole is in", "0.1 mm; enter alone: not known; --plate", thin, func(s string) error {
		if s == thin {
			return nil
		}
		return isLength(s)
	}); err != nil {
		return err
	}
	if c.Plate == thin {
		c.Plate = ""
	}
	if err := a.ask(&c.Sheet, "sheet it takes, width first", "12x9 cm; --sheet", "", isSize); err != nil {
		return err
	}
	data, err := profiles.New(profiles.CameraKind, profiles.Blank{Key: c.Key, Name: c.Name, Diameter: inMM(c.Diameter), Focal: inMM(c.Focal), Pinhole: inMM(c.Hole), Plate: inMM(c.Plate), Sheet: c.Sheet})
	return h.keepNew(profiles.CameraKind, c.Key, data, err)
}

// newCamera keeps a camera of the bench's three answers: "cake tin, round, 100 mm",
// "0.5 mm" (or a scan, "2400, 47"), "12x9 cm". With fewer it only says what is wrong
// with them.
func (h *host) newCamera(answers ...string) (c tui.Choice, err error) {
	var b profiles.Blank
	parts := strings.Split(answers[0], ",")
	if len(parts) != 3 {
		return c, errors.New("name, round or flat, and size, with commas between: cake tin, round, 100 mm")
	}
	b.Name = strings.TrimSpace(parts[0])
	b.Key = strings.Trim(notInKeys.ReplaceAllString(strings.ToLower(b.Name), "-"), "-")
	size := inMM(strings.TrimSpace(strings.NewReplacer("across", "", "deep", "", "inside", "").Replace(parts[2])))
	to, known := map[string]*string{"round": &b.Diameter, "flat": &b.Focal}[strings.ToLower(strings.TrimSpace(parts[1]))]
	if !known {
		return c, fmt.Errorf("it is round or flat, not %q", strings.TrimSpace(parts[1]))
	}
	*to = size
	if b.Key == "" {
		return c, errors.New("give it a name, like cake tin")
	}
	if _, err := h.known().Source(profiles.CameraKind, b.Key); err == nil {
		return c, fmt.Errorf("there is a camera %q already: give it another name", b.Key)
	}
	// What is not answered yet is taken as fitting, so that a fault is told with its question.
	var box profiles.Length
	if err := box.UnmarshalText([]byte(size)); err != nil {
		return c, err
	}
	b.Pinhole, b.Sheet = words.Decimals(max(box.MM()/100, 0.01), 3)+" mm", "1x1 mm"
	if len(answers) < 2 {
		_, err := profiles.New(profiles.CameraKind, b)
		return c, err
	}
	if b.Pinhole, err = holeOf(answers[1]); err != nil {
		return c, err
	}
	if len(answers) < 3 {
		_, err := profiles.New(profiles.CameraKind, b)
		return c, err
	}
	b.Sheet = answers[2]
	if err := isSize(b.Sheet); err != nil {
		return c, err
	}
	data, err := profiles.New(profiles.CameraKind, b)
	if err != nil {
		return c, err
	}
	_, err = h.keepProfile(profiles.CameraKind, b.Key, data)
	return tui.Choice{Key: b.Key, Name: b.Name}, err
}

// notInKeys is what a profile's key has not.
var notInKeys = regexp.MustCompile(`[^a-z0-9]+`)

// NewPaperCmd writes a paper.
type NewPaperCmd struct {
	Named
	Base     string `help:"FB, fibre base, or RC, resin coated." placeholder:"BASE" complete:"base"`
	Response string `help:"What more exposure does: lighter (a direct positive) or denser (a negative)." placeholder:"HOW" complete:"response"`
	ISO      string `help:"Its speed, like 3." name:"iso" placeholder:"N"`
	Size     string `help:"Of one sheet, like 9x12cm." placeholder:"SIZE"`
	P        string `help:"Schwarzschild's exponent of its reciprocity failure, like 0.86; without it: none." name:"p" placeholder:"P"`
}

// Help shows how it is used.
func (NewPaperCmd) Help() string {
	return `Examples:

  wetside profiles new paper
  wetside profiles new paper box-b --base RC --response denser --iso 6 --size 9x12cm --p 0.86

What no flag says is asked. Put in what the data sheet of the paper says.`
}

// Run writes it.
func (c *NewPaperCmd) Run(h *host) error {
	a := h.asker()
	if err := c.ask(h, a, profiles.PaperKind, "box-b"); err != nil {
		return err
	}
	for _, q := range []struct {
		to             *string
		label, example string
		check          func(string) error
	}{
		{&c.Base, "base", "FB or RC; --base", func(s string) error {
			return among(map[string]bool{"FB": true, "RC": true}, strings.ToUpper(s), "the base is FB or RC")
		}},
		{&c.Response, "what does more exposure do?", "lighter or denser; --response", func(s string) error {
			return among(map[string]bool{"lighter": true, "denser": true}, s, "more exposure makes it lighter or denser")
		}},
		{&c.ISO, "speed, ISO", "3; --iso", isNumber},
		{&c.Size, "size of a sheet", "9x12 cm; --size", isSize},
	} {
		if err := a.ask(q.to, q.label, q.example, "", q.check); err != nil {
			return err
		}
	}
	if c.P != "" {
		if err := isNumber(c.P); err != nil {
			return usage("--p %w", err)
		}
	}
	data, err := profiles.New(profiles.PaperKind, profiles.Blank{Key: c.Key, Name: c.Name, Base: strings.ToUpper(c.Base), Response: c.Response,
		ISO: point(c.ISO), Sheet: c.Size, P: point(c.P)})
	return h.keepNew(profiles.PaperKind, c.Key, data, err)
}

// NewProcessCmd writes a process.
type NewProcessCmd struct {
	Named
	Like    string `help:"The process it is made after." placeholder:"KEY" complete:"process"`
	Develop string `help:"Time in the developer: \"1m30s to 3m\" where the eye ends it, else one time." placeholder:"TIME"`
	Stop    string `help:"Time in the stop bath." placeholder:"TIME"`
	Fix     string `help:"Time in the fixer." placeholder:"TIME"`
	Wash    string `help:"Time in the wash." placeholder:"TIME"`
}

// Help shows how it is used.
func (NewProcessCmd) Help() string {
	return `Examples:

  wetside profiles new process
  wetside profiles new process kitchen --like three-trays --develop "1m to 2m" --fix 90s

The baths and the steps are those of the process it is made after, with their
comments; times that are not said stay. Change the rest in the file.`
}

// Run writes it.
func (c *NewProcessCmd) Run(h *host) error {
	a := h.asker()
	if err := c.ask(h, a, profiles.ProcessKind, "kitchen"); err != nil {
		return err
	}
	set := h.known()
	if err := a.ask(&c.Like, "made after which process?", "three-trays; --like", "three-trays", func(s string) error {
		_, err := set.Process(s)
		return err
	}); err != nil {
		return err
	}
	src, err := set.Source(profiles.ProcessKind, c.Like)
	if err != nil {
		return usageError{err}
	}
	data, err := profiles.Like(src.Data, c.Key, c.Name, map[session.Stage]string{session.Develop: c.Develop, session.Stop: c.Stop, session.Fix: c.Fix, session.Wash: c.Wash})
	return h.keepNew(profiles.ProcessKind, c.Key, data, err)
}

// ask asks for the key and the name.
func (n *Named) ask(h *host, a *asker, kind profiles.Kind, example string) error {
	set := h.known()
	if err := a.ask(&n.Key, "key of the "+string(kind), example+"; small letters, digits, dashes", "", func(s string) error {
		src, err := set.Source(kind, s)
		switch {
		case err != nil:
			return nil // none yet, as it should be
		case src.Builtin:
			return fmt.Errorf("%s %q is built in: choose another key", kind, s)
		}
		return fmt.Errorf("%s %q is there already, in %s: choose another key", kind, s, filepath.Join(h.profileFolder(), filepath.FromSlash(src.File)))
	}); err != nil {
		return err
	}
	called := []rune(strings.ReplaceAll(n.Key, "-", " "))
	called[0] = unicode.ToUpper(called[0])
	return a.ask(&n.Name, "what you call it", string(called), string(called), func(string) error { return nil })
}

// keepNew writes the file into its folder and prints where.
func (h *host) keepNew(kind profiles.Kind, key string, data []byte, err error) error {
	if err != nil {
		return usageError{err}
	}
	file, err := h.keepProfile(kind, key, data)
	if err == nil {
		h.say("%s", file)
	}
	return err
}

// keepProfile writes the file into its folder, where none is.
func (h *host) keepProfile(kind profiles.Kind, key string, data []byte) (file string, err error) {
	file = filepath.Join(h.profileFolder(), kind.Folder(), key+".toml")
	if _, err := os.Lstat(file); !errors.Is(err, fs.ErrNotExist) {
		return file, usage("%s is there already, and is not the %s %q: move it away, or choose another key", file, kind, key)
	}
	if err := notebook.Replace(file, data); err != nil {
		return file, fmt.Errorf("%s cannot be written: %w", file, err)
	}
	return file, nil
}

// An asker asks on the terminal for what no flag said. Answers may come through
// a pipe as well; then nothing is asked aloud.
type asker struct {
	in    *bufio.Scanner
	aloud func(string)
}

func (h *host) asker() *asker {
	a := &asker{in: bufio.NewScanner(h.in), aloud: func(string) {}}
	if in, _, _ := h.terminal(); in != nil && term.IsTerminal(in.Fd()) {
		a.aloud = func(s string) { fmt.Fprint(h.err, s) }
	}
	return a
}

// ask fills in to where it is empty. An empty answer is otherwise, if there is
// one. A value that check refuses is asked for again, or is an error when it came
// from a flag.
func (a *asker) ask(to *string, label, example, otherwise string, check func(string) error) error {
	if *to != "" {
		if err := check(*to); err != nil {
			return usageError{err}
		}
		return nil
	}
	for {
		a.aloud(fmt.Sprintf("%s (%s): ", label, example))
		if !a.in.Scan() {
			if err := a.in.Err(); err != nil {
				return err
			}
			if otherwise != "" {
				*to = otherwise
				return nil
			}
			a.aloud("\n")
			return usage("say the %s (%s)", strings.TrimSuffix(label, "?"), example)
		}
		s := cmp.Or(strings.TrimSpace(a.in.Text()), otherwise)
		err := errors.New("an answer is needed")
		if s != "" {
			err = check(s)
		}
		if err == nil {
			*to = s
			return nil
		}
		a.aloud(words.Clean(err.Error()) + "\n")
	}
}

func isLength(s string) error {
	var l profiles.Length
	return l.UnmarshalText([]byte(inMM(s)))
}

// holeOf reads the width of a hole, or a scan of it: "2400, 47".
func holeOf(text string) (string, error) {
	v, err := numbers(strings.NewReplacer("dpi", "", "pixels", "", "px", "").Replace(text), 2)
	if err != nil {
		return inMM(text), isLength(text)
	}
	m, err := exposure.FromScan(v[0], v[1])
	return words.Decimals(m.MM, 3) + " mm", err
}

func isSize(s string) error {
	var z profiles.Size
	return z.UnmarshalText([]byte(s))
}

func isNumber(s string) error {
	if _, ok := words.ReadDecimal(s); !ok {
		return fmt.Errorf("wants a number, not %q", s)
	}
	return nil
}

// inMM adds the unit to a length without one, as the other commands do.
func inMM(s string) string {
	if _, ok := words.ReadNumber(s); ok {
		return s + " mm"
	}
	return s
}

// point writes a number as files have it.
func point(s string) string { return strings.Replace(s, ",", ".", 1) }
