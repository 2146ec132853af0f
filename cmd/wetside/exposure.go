package main

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"wetside/profiles"
	"wetside/session/exposure"
	"wetside/session/words"
)

// ExposureCmd reckons an exposure from the light.
type ExposureCmd struct {
	Words       []string `arg:"" name:"light" help:"The light: EV 12.5; f/16 1/125 (a meter's pair); 2500 lux; 230 fc (foot-candles); or the sky, like overcast."`
	Camera      string   `help:"A camera of your profiles." placeholder:"KEY"`
	FNumber     fnumber  `help:"In place of a camera: its f-number, like f/150." name:"fnumber" placeholder:"F"`
	Paper       string   `help:"A paper of your profiles." placeholder:"KEY"`
	ISO         number   `help:"In place of the paper's: its speed." name:"iso" placeholder:"N"`
	Reciprocity string   `help:"In place of the paper's: none, p 0.86, or a table of seconds like 1:1 10:15 100:250." placeholder:"HOW"`
	Filter      stops    `help:"Stops a filter takes." placeholder:"STOPS"`
	Preflash    stops    `help:"Stops a pre-flash saves." placeholder:"STOPS"`
	Warm        *stops   `help:"Stops to add for late, warm light." placeholder:"STOPS"`
	Place       string   `help:"Where: latitude and longitude in degrees, north and east positive. The sun's height checks the sky's words." placeholder:"LAT,LON"`
	At          string   `help:"When: 14:30 or 2:30 pm, or with the day before it. Now, if not said." placeholder:"TIME"`
	Bracket     stops    `help:"Half the bracket, in stops." placeholder:"STOPS"`
	Test        bool     `help:"A test sheet first: strips about the time, one of which will be right."`
	Strips      int      `help:"With --test: how many." default:"5" placeholder:"N"`
	Step        stops    `help:"With --test: from one to the next." default:"1" placeholder:"STOPS"`
	Unlearned   bool     `help:"Leave out what judged sheets have taught."`
	Sum         bool     `help:"Show the sum behind the time."`
	JSON        bool     `help:"As JSON." name:"json"`
}

// Help shows how it is used.
func (ExposureCmd) Help() string {
	return `Examples:

  wetside exposure overcast --camera tea-caddy
  wetside exposure f/16 1/125 --camera tea-caddy --paper paper-negative-rc --sum
  wetside exposure EV 12 --fnumber f/150 --iso 3 --reciprocity "p 0.86"
  wetside exposure sun --camera hat-box --place 52.5,13.4 --at 17:30
  wetside exposure 2500 lux --camera biscuit-tin --filter 1 --json
  wetside exposure overcast --camera tea-caddy --test

Sheets you have judged correct the time, and the answer says how sure that is. One test
sheet, judged in the same light, makes it sure to about half a stop: --test plans one in
strips. It may be a whole sheet as well, exposed for the time that is said and judged by how
it looks.`
}

// defaultPaper is what a command means when no paper is named.
const defaultPaper = "direct-positive-fb"

type sunReport struct {
	Holds    bool    `json:"table_holds"`
	Altitude float64 `json:"altitude_deg"`
	Sentence string  `json:"sentence"`
}

type learnedReport struct {
	Stops    float64  `json:"stops"`
	SD       float64  `json:"sd_stops"`
	Low      float64  `json:"low_stops"`
	High     float64  `json:"high_stops"`
	Test     float64  `json:"sd_after_test_stops"` // when one test sheet in this light was judged
	From     []string `json:"from"`
	Sentence string   `json:"sentence"`
}

func learnedOf(c *exposure.Correction) *learnedReport {
	if c == nil {
		return nil
	}
	return &learnedReport{c.Stops, c.SD, c.Low, c.High, c.Test, c.From, c.Sentence()}
}

type bracketReport struct {
	Stops   float64 `json:"stops"`
	Seconds float64 `json:"seconds"`
	Rounded float64 `json:"rounded_s"`
}

// Run reckons.
func (c *ExposureCmd) Run(h *host) error {
	ask, err := c.ask()
	if err != nil {
		return usageError{err}
	}
	plan, done, err := h.reckoner()
	if err != nil {
		return err
	}
	defer done()
	if c.Unlearned {
		plan.Judged = nil
	}
	camera, paper, err := c.behind(plan.Set, &ask)
	if err != nil {
		return usageError{err}
	}
	sun, err := c.sun(h, &ask)
	if err != nil {
		return err
	}
	r, learned, err := plan.Reckon(ask, camera, paper)
	if err != nil {
		return usageError{err}
	}
	if learned != nil && learned.Advice() != "" {
		r.Notes = append(r.Notes, learned.Advice())
	}
	if c.ISO > 0 && c.Paper == "" && c.Reciprocity == "" {
		p, _ := plan.Set.Paper(defaultPaper)
		r.Notes = append(r.Notes, "reciprocity as of "+p.Name+": --paper or --reciprocity says another")
	}
	var strips []exposure.Patch
	if c.Test {
		if strips, err = exposure.TestSheet(r.Rounded, float64(c.Step), c.Strips, ask.Reciprocity); err != nil {
			return usageError{err}
		}
	}
	if c.JSON {
		return h.json(exposureReport(ask, r, learned, sun, strips))
	}
	if sun != nil {
		r.Notes = append([]string{sun.Sentence}, r.Notes...)
	}
	return c.told(h, r, strips, plan.Edited(camera, paper))
}

// told prints the answer, the strips of a test, and what else there is to know.
func (c *ExposureCmd) told(h *host, r exposure.Result, strips []exposure.Patch, questions []string) error {
	h.say("%s", r.Sentence())
	if c.Sum {
		for _, l := range r.Working() {
			h.say("  %s", l)
		}
	}
	if c.Test {
		if err := c.strips(h, strips); err != nil {
			return err
		}
	}
	for _, n := range append(r.Notes, questions...) {
		h.say("%s", n)
	}
	return nil
}

// strips prints how a test sheet is exposed, and what to do with it.
func (c *ExposureCmd) strips(h *host, strips []exposure.Patch) error {
	rows := append([][]string{{"strip", "open for", "in all"}}, words.Each(strips, func(s exposure.Patch) []string {
		return []string{strconv.Itoa(s.Number), words.Long(s.Add), words.Long(s.Total)}
	})...)
	if err := h.table(rows, 1, 2); err != nil {
		return err
	}
	with := fmt.Sprintf("test %d by %s", c.Strips, words.Sig(float64(c.Step), 4))
	if c.Strips == 5 && c.Step == 1 {
		with = "test"
	}
	h.say("After each time cover the pinhole, and in the dark draw a card over one more strip of the")
	h.say("sheet (common practice, no source). With \"%s\" in the line with of the bench, or --with of", with)
	h.say("wetside exposed, the field counts it. When it is dry: wetside judge SHEET \"strip 3\".")
	return nil
}

// behind fills in the pinhole and the paper, and returns the keys of those whose
// judged sheets count.
func (c *ExposureCmd) behind(set *profiles.Set, ask *exposure.Ask) (camera, paper string, err error) {
	camera, paper = c.Camera, cmp.Or(c.Paper, defaultPaper)
	if camera != "" {
		cam, err := set.Camera(camera)
		if err != nil {
			return "", "", err
		}
		if ask.FNumber == 0 {
			ask.FNumber = cam.FNumber()
		} else {
			camera = "" // another hole: what was learned of the camera is not of it
		}
	}
	if ask.FNumber == 0 {
		return "", "", errors.New("a light gives a time only behind a pinhole: add --camera KEY or --fnumber f/150")
	}
	p, err := set.Paper(paper)
	if err != nil {
		return "", "", err
	}
	if c.Reciprocity == "" {
		ask.Reciprocity = p.Reciprocity.Law()
	}
	switch ask.ISO {
	case 0:
		ask.ISO = p.ISO
	case p.ISO:
	default:
		paper = "" // another speed: what was learned of the paper is not of it
	}
	return camera, paper, nil
}

// exposureReport is the answer as JSON.
func exposureReport(ask exposure.Ask, r exposure.Result, learned *exposure.Correction, sun *sunReport, strips []exposure.Patch) any {
	bracket := words.Each(r.Bracket, func(b exposure.Bracketed) bracketReport { return bracketReport{b.Stops, b.Seconds, b.Rounded} })
	return struct {
		Sentence string          `json:"sentence"`
		EV       float64         `json:"ev100"`
		Doubt    float64         `json:"ev_plus_minus"`
		From     string          `json:"light_from"`
		FNumber  float64         `json:"f_number"`
		ISO      float64         `json:"iso"`
		Seconds  float64         `json:"seconds"`
		Rounded  float64         `json:"rounded_s"`
		Metered  float64         `json:"metered_s"`
		Base     float64         `json:"unlearned_s"`
		Stops    float64         `json:"corrections_stops"`
		Bracket  []bracketReport `json:"bracket"`
		Beyond   bool            `json:"extrapolated"`
		Learned  *learnedReport  `json:"learned,omitempty"`
		Sun      *sunReport      `json:"sun,omitempty"`
		Test     []testStrip     `json:"test,omitempty"`
		Notes    []string        `json:"notes,omitempty"`
		Working  []string        `json:"working"`
	}{r.Sentence(), ask.Light.EV, ask.Light.PlusMinus, ask.Light.From, ask.FNumber, ask.ISO, r.Seconds, r.Rounded, r.Metered, r.Base,
		r.Stops, bracket, r.Beyond, learnedOf(learned), sun, testStrips(strips), r.Notes, r.Working()}
}

// A testStrip is one of a test sheet.
type testStrip struct {
	Strip int     `json:"strip"`
	Open  float64 `json:"open_s"`
	Total float64 `json:"total_s"`
}

func testStrips(strips []exposure.Patch) []testStrip {
	return words.Each(strips, func(s exposure.Patch) testStrip { return testStrip{s.Number, s.Add, s.Total} })
}

// ask is all of the arguments but camera and paper.
func (c *ExposureCmd) ask() (exposure.Ask, error) {
	light, err := exposure.ParseLight(plainMinus(strings.Join(c.Words, " ")))
	if err != nil {
		return exposure.Ask{}, err
	}
	a := exposure.Ask{Light: light, FNumber: float64(c.FNumber), ISO: float64(c.ISO), Filter: float64(c.Filter), Preflash: float64(c.Preflash), Spread: float64(c.Bracket)}
	for _, x := range []struct {
		flag string
		v    float64
	}{{"--filter", a.Filter}, {"--preflash", a.Preflash}, {"--bracket", a.Spread}} {
		if x.v < 0 {
			return a, fmt.Errorf("%s is a number of stops, not below 0", x.flag)
		}
	}
	if c.ISO < 0 || math.IsNaN(float64(c.ISO)) {
		return a, fmt.Errorf("--iso is a speed such as 3, not %g", c.ISO)
	}
	if c.Warm != nil {
		a.Warm = float64(*c.Warm)
	}
	if c.Reciprocity != "" {
		if a.Reciprocity, err = exposure.ParseReciprocity(c.Reciprocity); err != nil {
			return a, err
		}
	}
	if c.At != "" && c.Place == "" {
		return a, errors.New("--at tells the sun's height only with a place: add --place LAT,LON")
	}
	return a, nil
}

// sun checks the light against the sun's height, and adds the allowance for
// warm light where it has a meaning and the user gave none: a meter, and the
// table's direct sun, tell nothing of the colour.
func (c *ExposureCmd) sun(h *host, a *exposure.Ask) (*sunReport, error) {
	if c.Place == "" {
		return nil, nil
	}
	place, err := placeOf(c.Place)
	if err != nil {
		return nil, err
	}
	at, err := h.timeOr(c.At, h.now())
	if err != nil {
		return nil, err
	}
	s, err := exposure.SunAt(place, at)
	if err != nil {
		return nil, usageError{err}
	}
	holds, sentence, err := exposure.SunHolds(place, at)
	if err != nil {
		return nil, usageError{err}
	}
	metered := strings.ContainsAny(strings.Join(c.Words, ""), "0123456789")
	if c.Warm == nil && s > -0.3 && (metered || a.Light.Sun) {
		a.Warm = exposure.LowSunAllowance(s)
	}
	return &sunReport{holds, s, sentence}, nil
}

// placeOf reads where on the earth it is.
func placeOf(text string) (p exposure.Place, err error) {
	degrees, err := numbers(text, 2)
	if err != nil {
		return p, usage("--place is latitude and longitude in degrees, like 52.5,13.4, not %q", plainMinus(text))
	}
	p = exposure.Place{Latitude: degrees[0], Longitude: degrees[1]}
	if err := p.Check(); err != nil {
		return p, usageError{err}
	}
	return p, nil
}
