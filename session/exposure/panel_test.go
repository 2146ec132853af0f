package exposure

import (
	"math"
	"testing"
	"time"
)

// Summed over the panel in small pieces, each with the inverse square and the two
// cosines (Lambert's law): what a photometer at the paper would read.
func summed(p Panel) float64 {
	const n = 400
	w, h := p.size()
	sin, cos := math.Sincos(p.Angle * math.Pi / 180)
	area, sum := w*h/(n*n), 0.0
	for i := range n {
		for j := range n {
			// The panel is turned about its upright middle; the paper looks at it along z.
			u, y := (float64(i)+0.5)/n*w-w/2, (float64(j)+0.5)/n*h-h/2
			x, z := u*cos, p.Distance+u*sin
			d2 := x*x + y*y + z*z
			d := math.Sqrt(d2)
			atPanel := (-sin*-x + cos*z) / d // its normal is (-sin, 0, cos) seen from the paper
			sum += atPanel * z / d / d2
		}
	}
	return p.Luminance * p.Share / p.Contrast * p.Film * area * sum
}

func TestPanelIsTheSumOfItsPieces(t *testing.T) {
	for _, c := range []struct{ inches, metres, angle, within float64 }{
		{14, 1.5, 0, 0.02}, {14, 1, 0, 0.03}, {14, 3, 0, 0.01}, {14, 1.5, 60, 0.03}, {17, 1.5, 30, 0.03}, {10, 0.7, 0, 0.04},
	} {
		p := UnknownPanel()
		p.Diagonal, p.Distance, p.Angle = c.inches, c.metres, c.angle
		if got, want := p.Lux(), summed(p); math.Abs(got/want-1) > c.within {
			t.Errorf("%+v: %.5f lx, the sum over its pieces is %.5f", c, got, want)
		}
	}
}

// The black of a common panel at its brightest gives 0.007 lx at 1.5 m: 0.3 cd/m2
// on 0.054 m2, by hand; and tones paper of ISO 3 within two to three minutes, at
// the lowest step of a hundred and fifty within six hours.
func TestPanelInMinutes(t *testing.T) {
	p := UnknownPanel()
	if got := p.Lux(); got < 0.0068 || got > 0.0075 {
		t.Errorf("%v lx", got)
	}
	if got := p.firstTone(3); got < 2*time.Minute || got > 3*time.Minute {
		t.Errorf("a first tone after %v", got)
	}
	const want = "at 100% of its backlight, facing the tray at 1.5 m: about 2 min 30 s to a first tone on paper of ISO 3"
	if got := p.Words(3); got != want {
		t.Errorf("%q", got)
	}
	p.Share = 1.0 / 150
	if got := p.firstTone(3); got < 5*time.Hour || got > 7*time.Hour {
		t.Errorf("at the lowest step a first tone after %v", got)
	}
	p.Share = 0
	if got := p.firstTone(3); got != forever {
		t.Errorf("with its backlight off a first tone after %v", got)
	}
	p = UnknownPanel()
	p.Kind = oled
	if p.Lux() != 0 || p.firstTone(3) != forever {
		t.Error("the black of an OLED shines")
	}
}

func TestPanelsThatCannotBe(t *testing.T) {
	for _, wrong := range []func(*Panel){
		func(p *Panel) { p.Kind = "paper" }, func(p *Panel) { p.Diagonal = math.NaN() }, func(p *Panel) { p.Contrast = 0 },
		func(p *Panel) { p.Share = 1.1 }, func(p *Panel) { p.Distance = 0 }, func(p *Panel) { p.Angle = 120 }, func(p *Panel) { p.Film = -1 },
	} {
		p := UnknownPanel()
		if wrong(&p); p.Check() == nil {
			t.Errorf("%+v is taken for a panel", p)
		}
	}
}
