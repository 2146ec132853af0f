package exposure

import (
	"fmt"
	"math"
	"time"

	"wetside/session/words"
)

// A Panel is the laptop's screen as a lamp: what it gives where it is black. A
// liquid crystal lets through a little of the white light behind it, whatever is
// drawn, so its backlight decides and not the text.
type Panel struct {
	Kind      PanelKind
	Diagonal  float64 // inches
	Luminance float64 // of white at full backlight, cd/m2
	Contrast  float64 // white to black, say 1000 for 1000:1
	Share     float64 // of the full backlight that is on, 0 to 1
	Distance  float64 // from the screen to the paper, m
	Angle     float64 // between the screen's normal and the line to the paper, degrees; 0 faces it
	Film      float64 // share of white light that a film over the screen lets through to the paper; 1: no film
}

// PanelKind is how a panel makes its light.
type PanelKind string

// The kinds.
const (
	LCD  PanelKind = "lcd"
	oled PanelKind = "oled" // black is off
)

// UnknownPanel is what a panel nobody described is reckoned as: a common laptop
// at its brightest, facing the tray. The figures are common practice, no source.
func UnknownPanel() Panel {
	return Panel{Kind: LCD, Diagonal: 14, Luminance: 300, Contrast: 1000, Share: 1, Distance: 1.5, Film: 1}
}

// Check says what is wrong with the figures.
func (p Panel) Check() error {
	if p.Kind != LCD && p.Kind != oled {
		return fmt.Errorf(`a panel is "lcd" or "oled", not %q`, p.Kind)
	}
	for _, f := range []struct {
		name      string
		v, lo, hi float64
		unit      string
	}{
		{"a panel's diagonal", p.Diagonal, 3, 100, "inches"},
		{"a panel's luminance", p.Luminance, 10, 10000, "cd/m2"},
		{"a panel's contrast", p.Contrast, 10, 1e7, "to 1"},
		{"the backlight", p.Share, 0, 1, "of its most"},
		{"the distance from screen to paper", p.Distance, 0.2, 20, "m"},
		{"the angle of the screen", p.Angle, 0, 90, "degrees"},
		{"what a film lets through", p.Film, 0, 1, "of white light"},
	} {
		if err := check(f.name, f.v, f.lo, f.hi, f.unit); err != nil {
			return err
		}
	}
	return nil
}

// size gives width and height in metres; panels of laptops are 16 to 9 or
// nearly so.
func (p Panel) size() (width, height float64) {
	d := p.Diagonal * 0.0254
	return d * 16 / math.Hypot(16, 9), d * 9 / math.Hypot(16, 9)
}

// Lux is the illuminance that the panel's black gives on paper that looks
// straight at it: luminance times area times the cosine of the screen's angle
// over the distance squared. This is the law of a small source; from 1 m on it is
// within 3 % of the sum over a 14 inch panel.
func (p Panel) Lux() float64 {
	if p.Kind == oled {
		return 0
	}
	w, h := p.size()
	black := p.Luminance * p.Share / p.Contrast * p.Film
	return black * w * h * math.Cos(p.Angle*math.Pi/180) / (p.Distance * p.Distance)
}

// firstToneBelow is how many stops below a metered grey a paper begins to show
// tone: half of the range of a normal grade, which ISO 6846 gives as R 100, that
// is ten to the power of 1 or 3.3 stops (from memory).
var firstToneBelow = math.Log2(10) / 2

// FirstTone is the light, in lx s, that leaves a first tone on paper of this speed.
// A meter exposes its grey with 10 lx s over the ISO speed (ISO 2721, from memory).
func FirstTone(iso float64) float64 { return 10 / iso * math.Exp2(-firstToneBelow) }

// firstTone is how long the panel may shine on paper of this speed before that;
// forever is the longest time there is.
func (p Panel) firstTone(iso float64) time.Duration {
	seconds := FirstTone(iso) / p.Lux()
	if seconds > MaxSeconds {
		return forever
	}
	return time.Duration(seconds * float64(time.Second))
}

// forever is longer than anybody waits.
const forever = time.Duration(math.MaxInt64)

// Words tell what the panel's black does to paper of this speed, in one line.
func (p Panel) Words(iso float64) string {
	if p.Kind == oled {
		return "off, and gives no light"
	}
	facing := "facing the tray"
	if p.Angle > 0 {
		facing = "turned away by " + words.Num(p.Angle) + " degrees"
	}
	within := "more than a day"
	if t := p.firstTone(iso); t < forever {
		within = "about " + words.Long(round(t).Seconds())
	}
	return fmt.Sprintf("at %s of its backlight, %s at %s m: %s to a first tone on paper of ISO %s",
		words.Percent(p.Share), facing, words.Num(p.Distance), within, words.Num(iso))
}

// round leaves of a time what an estimate is worth.
func round(t time.Duration) time.Duration {
	for _, to := range []time.Duration{time.Hour, 10 * time.Minute, time.Minute, 10 * time.Second} {
		if t >= 5*to {
			return t.Round(to)
		}
	}
	return t.Round(time.Second)
}
