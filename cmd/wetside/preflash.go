package main

import (
	"fmt"
	"math"
	"path/filepath"
	"time"

	"wetside/profiles"
	"wetside/session/exposure"
	"wetside/session/notebook"
	"wetside/session/words"
)

// PreflashCmd is the test strip for a pre-flash, what it says, and the flash.
type PreflashCmd struct {
	Strip     PreflashStripCmd     `cmd:"" help:"Plan a test strip in equal ratios."`
	Threshold PreflashThresholdCmd `cmd:"" help:"What a test strip says: the longest flash that leaves no tone."`
	Time      PreflashTimeCmd      `cmd:"" help:"The flash time for a wanted softening."`
}

// StripFlags plan a test strip.
type StripFlags struct {
	First   duration `help:"Light on the first patch." default:"1s" placeholder:"TIME"`
	Step    stops    `help:"Stops from patch to patch." default:"1/2" placeholder:"STOPS"`
	Patches int      `help:"How many patches." default:"8" placeholder:"N"`
}

func (f StripFlags) strip() ([]exposure.Patch, error) {
	return exposure.Strip(time.Duration(f.First).Seconds(), float64(f.Step), f.Patches)
}

// PreflashStripCmd plans the strip.
type PreflashStripCmd struct {
	StripFlags
	JSON bool `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (PreflashStripCmd) Help() string {
	return `Examples:

  wetside preflash strip
  wetside preflash strip --first 0.5s --step 1/3 --patches 10

The whole strip gets the first light; then a card covers one more patch before
each further one. The patch covered first is number 1.`
}

// Run prints it.
func (c *PreflashStripCmd) Run(h *host) error {
	strip, err := c.strip()
	if err != nil {
		return usageError{err}
	}
	if c.JSON {
		type patch struct {
			Number int     `json:"number"`
			Add    float64 `json:"add_s"`
			Total  float64 `json:"total_s"`
		}
		out := words.Each(strip, func(p exposure.Patch) patch { return patch{p.Number, p.Add, p.Total} })
		return h.json(out)
	}
	rows := [][]string{{"patch", "light on for", "in all", ""}}
	for i, p := range strip {
		do := fmt.Sprintf("then cover patch %d", p.Number)
		if i == len(strip)-1 {
			do = "done; develop as always, judge when dry"
		}
		rows = append(rows, []string{fmt.Sprint(p.Number), words.Decimals(p.Add, 1) + " s", words.Decimals(p.Total, 1) + " s", do})
	}
	if err := h.table(rows); err != nil {
		return err
	}
	for _, p := range strip {
		if p.Add < 1 {
			h.say("%s, or begin with --first %s", handCannotSwitch, words.Units(time.Duration(math.Ceil(1/(math.Exp2(float64(c.Step))-1)))*time.Second))
			break
		}
	}
	return nil
}

// handCannotSwitch is said of a lamp that would be on for less than a second.
const handCannotSwitch = "less than a second cannot be switched by hand: use an enlarger's timer, or a dimmer lamp and longer times"

// PreflashThresholdCmd reads the strip.
type PreflashThresholdCmd struct {
	StripFlags
	Unchanged int    `arg:"" help:"The last patch that still looks like unexposed paper."`
	Keep      string `help:"Keep it with this paper of your profiles." placeholder:"PAPER"`
	Light     string `help:"With --keep: the lamp and its place, in words; the time holds for it alone." placeholder:"WORDS"`
	JSON      bool   `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (PreflashThresholdCmd) Help() string {
	return `Examples:

  wetside preflash threshold 4
  wetside preflash threshold 4 --first 0.5s --step 1/3 --patches 10
  wetside preflash threshold 4 --keep direct-positive-fb --light "15 W lamp, 2 m up, one tissue"`
}

// Run reads it.
func (c *PreflashThresholdCmd) Run(h *host) error {
	strip, err := c.strip()
	if err != nil {
		return usageError{err}
	}
	t, more, err := exposure.Threshold(strip, c.Unchanged)
	if err != nil {
		return usageError{err}
	}
	if err := slips(slip{c.Keep != "" && c.Light == "", "the threshold holds for one lamp in one place: say which with --light, in words"},
		slip{c.Keep == "" && c.Light != "", "--light goes with --keep PAPER"}); err != nil {
		return err
	}
	file := ""
	if c.Keep != "" {
		set := h.known()
		if _, err := set.Paper(c.Keep); err != nil {
			return usageError{err}
		}
		// Tenths are what a timer can do, and never more than was seen.
		flash := time.Duration(t * float64(time.Second)).Truncate(100 * time.Millisecond)
		if file, err = h.keepPreflash(set, c.Keep, flash, c.Light); err != nil {
			return err
		}
	}
	if c.JSON {
		return h.json(struct {
			Threshold float64 `json:"threshold_s"`
			More      float64 `json:"at_most_more_stops"`
			Kept      string  `json:"kept_in,omitempty"`
		}{t, more, file})
	}
	h.say("threshold %s s, the longest that left no tone; the true one is at most %s above", words.Decimals(math.Floor(t*10+1e-9)/10, 1), words.StopsOf(more))
	h.about("kept in %s", file)
	return nil
}

// PreflashTimeCmd reckons the flash.
type PreflashTimeCmd struct {
	Soften    stops    `help:"How many stops further down shadows are to show." default:"1" placeholder:"STOPS"`
	Paper     string   `help:"A paper whose threshold is kept." placeholder:"KEY"`
	Threshold duration `help:"In place of a paper: its threshold." placeholder:"TIME"`
	JSON      bool     `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (PreflashTimeCmd) Help() string {
	return `Examples:

  wetside preflash time --threshold 4s --soften 1
  wetside preflash time --paper direct-positive-fb --soften 1/2

The rule: exposures add. A flash of 1 - 2^-s of the threshold lifts a shadow
that lies s stops below it to where tone begins.`
}

// Run reckons it.
func (c *PreflashTimeCmd) Run(h *host) error {
	t, light := time.Duration(c.Threshold), ""
	switch {
	case t > 0 && c.Paper != "":
		return usage("the threshold is that of a --paper or a --threshold given by hand, not both")
	case c.Paper != "":
		p, err := h.known().Paper(c.Paper)
		if err != nil {
			return usageError{err}
		}
		if p.Preflash == nil {
			return usage("no threshold is kept for %s yet: make a strip with wetside preflash strip, then wetside preflash threshold N --keep %s", p.Key, p.Key)
		}
		t, light = time.Duration(p.Preflash.Threshold), p.Preflash.Light
	case t <= 0:
		return usage("say the threshold: --paper KEY, or --threshold 4s")
	}
	flash, err := exposure.Preflash(t.Seconds(), float64(c.Soften))
	if err != nil {
		return usageError{err}
	}
	if c.JSON {
		return h.json(struct {
			Flash     float64 `json:"flash_s"`
			Threshold float64 `json:"threshold_s"`
			Soften    float64 `json:"soften_stops"`
			Light     string  `json:"light,omitempty"`
		}{flash, t.Seconds(), float64(c.Soften), light})
	}
	flash = math.Floor(flash*10+1e-9) / 10 // never above what was reckoned
	h.say("flash %s s: shadows %s below the threshold of %s just show", words.Decimals(flash, 1), words.StopsOf(float64(c.Soften)), words.Units(t))
	if flash < 1 {
		h.say("%s", handCannotSwitch)
	}
	h.about("lamp: %s", light)
	return nil
}

// keepPreflash writes a threshold into the user's own file of the paper, and
// leaves every other line of it as it was.
func (h *host) keepPreflash(set *profiles.Set, paper string, threshold time.Duration, light string) (string, error) {
	return h.editProfile(set, profiles.PaperKind, paper, func(file []byte) ([]byte, error) {
		return profiles.WithPreflash(file, profiles.Preflash{Threshold: profiles.Duration(threshold), Light: light, Found: profiles.Date(h.now())})
	})
}

// editProfile changes one profile of the user's, a copy of the built-in one
// where they have none, and returns the file it is now in.
func (h *host) editProfile(set *profiles.Set, kind profiles.Kind, key string, change func([]byte) ([]byte, error)) (string, error) {
	src, err := set.Source(kind, key)
	if err != nil {
		return "", err
	}
	data, err := change(src.Data)
	if err != nil {
		return "", err
	}
	file := filepath.Join(h.config, "profiles", filepath.FromSlash(src.Path()))
	return file, notebook.Replace(file, data)
}
