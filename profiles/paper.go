package profiles

import (
	"cmp"
	"fmt"
	"time"

	"github.com/pelletier/go-toml/v2"

	"wetside/session"
	"wetside/session/exposure"
	"wetside/session/words"
)

// A Paper is a photographic paper.
type Paper struct {
	Key      string           `toml:"paper"`
	Name     string           `toml:"name"`
	Note     string           `toml:"note,omitempty,multiline"` // for the reader: where the figures come from
	Base     session.Base     `toml:"base"`
	Response session.Response `toml:"response"`
	ISO      float64          `toml:"iso"`
	Size     Size             `toml:"size"`           // of one sheet
	Sees     Length           `toml:"sees,omitempty"` // wavelength it answers to most; 0: not stated
	// Box counts the boxes: paper keeps and is made differently. The first, 1,
	// when not stated.
	Box int `toml:"box,omitempty"`
	// Earlier are the speeds and reciprocities this same box was reckoned with
	// before: "ISO 3, p 0.86 from 1 s".
	Earlier []string `toml:"earlier,omitempty"`

	Reciprocity Reciprocity `toml:"reciprocity"`
	Safelight   Safelight   `toml:"safelight"`
	Preflash    *Preflash   `toml:"preflash,omitempty"` // nil: not yet found by test strip
}

// Model is a way to reckon reciprocity failure.
type Model string

// The models of reciprocity failure.
const (
	noFailure     Model = "none"          // the metered time is the time
	schwarzschild Model = "schwarzschild" // effect goes as I t^P beyond Reference
	table         Model = "table"         // measured against corrected times
)

// Reciprocity is how much longer than metered a paper wants at long times.
//
// With Schwarzschild's exponent P, a metered time t above Reference becomes
// Reference x (t/Reference)^(1/P) (K. Schwarzschild, Astrophysical Journal 11
// (1900), p. 89: equal blackening for equal I t^p, p = 0.86 for his plates).
type Reciprocity struct {
	Model     Model    `toml:"model"`
	P         float64  `toml:"p,omitempty"`
	Reference Duration `toml:"reference,omitempty"` // 1 s when not stated
	Points    []Point  `toml:"table,omitempty"`     // rising
	Source    string   `toml:"source,omitempty"`
}

// A Point of a reciprocity table.
type Point struct {
	Measured  Duration `toml:"measured"`
	Corrected Duration `toml:"corrected"`
}

// Safelight is how long a sheet may lie open under this darkroom's safelight.
type Safelight struct {
	Unexposed Duration       `toml:"unexposed,omitempty"` // 0: no figure at all, or none is safe if tested
	Exposed   Duration       `toml:"exposed,omitempty"`   // paper that has had its picture fogs sooner
	Tested    toml.LocalDate `toml:"tested,omitempty"`    // day of the fog test; zero: a cautious default
	Level     session.Level  `toml:"level,omitempty"`     // of the screen in the fog test; empty: none was made, or it is not known
	Backlight Share          `toml:"backlight,omitempty"` // of the panel in it
	// Before and After are what the halves of the fog test gave, with the light before
	// the exposure and after it. The shorter counts.
	Before Half   `toml:"before,omitempty"`
	After  Half   `toml:"after,omitempty"`
	Source string `toml:"source,omitempty"`
}

// A Half is what half of a fog test gave: the longest time without a visible step.
// Not Done: none was made.
type Half struct {
	Safe Duration
	Done bool
}

// UnmarshalText reads the time.
func (h *Half) UnmarshalText(b []byte) error {
	h.Done = true
	return h.Safe.UnmarshalText(b)
}

// MarshalText writes it.
func (h Half) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// String writes the time as a profile has it; empty for none.
func (h Half) String() string {
	if !h.Done {
		return ""
	}
	return h.Safe.String()
}

// IsTested reports whether the times come from a fog test.
func (s Safelight) IsTested() bool { return s.Tested != (toml.LocalDate{}) }

// Preflash is the result of a pre-flash test strip.
type Preflash struct {
	Threshold Duration       `toml:"threshold"`       // longest flash that leaves no tone by itself
	Light     string         `toml:"light"`           // the lamp and its place, in words: the time holds for it alone
	Found     toml.LocalDate `toml:"found,omitempty"` // day of the test
}

// BoxNo is which box it is, from 1.
func (p Paper) BoxNo() int { return max(1, p.Box) }

// Session is the paper as the session machine wants it.
func (p Paper) Session() session.Paper {
	sp := session.Paper{Key: p.Key, Name: p.Name, Base: p.Base, Response: p.Response, AreaCM2: p.Size.AreaCM2(),
		FirstTone: exposure.FirstTone(p.ISO), Safe: time.Duration(p.Safelight.Unexposed), SafeExp: time.Duration(p.Safelight.Exposed)}
	if p.Safelight.IsTested() {
		sp.Tested, sp.TestedOn = true, p.Safelight.Tested.String()
	}
	return sp
}

func (p *Paper) validate(d *document) {
	d.require(`"FB" or "RC"`, "base")
	d.require(`"lighter" (a direct positive) or "denser" (a negative)`, "response")
	d.require(`"9x12 cm"`, "size")
	d.require("3", "iso")
	d.refuse(p.ISO < 0.01 || p.ISO > 10000, []string{"iso"}, "iso = %s is no paper's: direct-positive paper is near 3, paper negatives near 6", words.Exact(p.ISO))
	d.refuse(p.Sees.NM() < 300 || p.Sees.NM() > 700, []string{"sees"}, `sees = %q is not light: papers see best near "450 nm"`, p.Sees)
	d.refuse(p.Box < 0 || p.Box > 1000 || p.Box == 0 && d.has("box"), []string{"box"}, "box = %d: boxes are counted from 1", p.Box)
	p.Reciprocity.validate(d)
	p.Safelight.validate(d)
	if d.ok("preflash") {
		d.require(`"4s"`, "preflash", "threshold")
		d.require(`"the lamp and where it hangs"`, "preflash", "light")
	}
}

func (s Safelight) validate(d *document) {
	at := func(k string) []string { return []string{"safelight", k} }
	both := d.ok(at("unexposed")...) && d.ok(at("exposed")...)
	d.refuse(both && s.Exposed > s.Unexposed, at("exposed"), "exposed (%s) is above unexposed (%s): exposed paper fogs sooner, never later", s.Exposed, s.Unexposed)
	for i, v := range []Duration{s.Unexposed, s.Exposed} {
		k := []string{"unexposed", "exposed"}[i]
		// Nothing is what a test gives whose first step shows already.
		d.refuse(v < 0 || v == 0 && !d.has(at("tested")...), at(k), `%s = %q: write a time like "4m", or take it out if there is no figure`, k, v)
		d.refuse(v > Duration(7*24*time.Hour), at(k), "%s (%s) is longer than 7 days: no safelight is that safe", k, v)
	}
	d.refuse(!d.has(at("unexposed")...) || !d.has(at("exposed")...), at("tested"), "tested without both times: add what the fog test gave as unexposed and exposed")
}

func (r Reciprocity) validate(d *document) {
	const at = "reciprocity"
	if !d.require(`"none", "schwarzschild" or "table"`, at, "model") {
		return
	}
	if r.Model == schwarzschild {
		d.require("0.86", at, "p")
		d.refuse(r.P < 0.5 || r.P > 1, []string{at, "p"}, "p = %s: Schwarzschild's exponent lies between 0.5 and 1 (1 is no failure)", words.Exact(r.P))
		d.refuse(r.Reference < Duration(time.Millisecond) || r.Reference > Duration(time.Hour), []string{at, "reference"}, `reference = %q: the time up to which the metered time holds, like "1s"`, r.Reference)
	}
	for _, k := range []string{"p", "reference", "table"} {
		model := schwarzschild
		if k == "table" {
			model = table
		}
		if d.has(at, k) && r.Model != model {
			d.fault([]string{at, k}, "%s belongs to model = %q, and this is %q: take one of them out", k, model, r.Model)
		}
	}
	if r.Model == table && !d.bad[pathKey([]string{at, "table"})] {
		r.validateTable(d)
	}
}

func (r Reciprocity) validateTable(d *document) {
	const at = "reciprocity"
	if len(r.Points) < 2 && !d.anyBad([]string{at, "table"}) {
		d.fault([]string{at, "table"}, `a reciprocity table needs two rows or more, like table = [{measured = "10s", corrected = "15s"}, ...]`)
		return
	}
	var last Point
	for i, pt := range r.Points {
		row := []string{at, "table", fmt.Sprint(i)}
		before := last
		switch {
		case d.anyBad(row):
			continue
		case pt.Measured <= 0 || pt.Corrected <= 0:
			d.fault(row, "row %d wants both measured and corrected, above 0", i+1)
		case pt.Measured > Duration(24*time.Hour):
			d.fault(row, "row %d: measured (%s) is longer than a day", i+1, pt.Measured)
		case pt.Corrected < pt.Measured:
			d.fault(row, "row %d: corrected (%s) is below measured (%s); reciprocity failure only lengthens", i+1, pt.Corrected, pt.Measured)
		case pt.Measured <= before.Measured || pt.Corrected <= before.Corrected:
			d.fault(row, "row %d does not rise above the one before (%s, %s): put the times in rising order", i+1, before.Measured, before.Corrected)
		}
		last = pt
	}
}

// TooLittle is how a picture looks that had too little exposure: "too dark" for a
// direct positive, "too thin" for a negative.
func TooLittle(r session.Response) string {
	if r == session.Denser {
		return "too thin"
	}
	return "too dark"
}

// TooMuch is how a picture looks that had too much: "too light" for a direct
// positive, "too dense" for a negative.
func TooMuch(r session.Response) string {
	if r == session.Denser {
		return "too dense"
	}
	return "too light"
}

// Law is the failure as the reckoning takes it.
func (r Reciprocity) Law() exposure.Reciprocity {
	switch r.Model {
	case schwarzschild:
		if law, err := exposure.Schwarzschild(r.P, cmp.Or(max(0, time.Duration(r.Reference).Seconds()), 1)); err == nil {
			return law
		}
	case table:
		pts := words.Each(r.Points, func(x Point) exposure.Pair {
			return exposure.Pair{Measured: time.Duration(x.Measured).Seconds(), Corrected: time.Duration(x.Corrected).Seconds()}
		})
		if law, err := exposure.FromTable(pts); err == nil {
			return law
		}
	}
	return exposure.Reciprocity{}
}
