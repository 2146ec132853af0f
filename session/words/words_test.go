package words_test

import (
	"math"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"

	"wetside/session/words"
)

const ms = time.Millisecond

func TestTimes(t *testing.T) {
	for _, c := range []struct {
		d                   time.Duration
		down, up, done, len string
	}{
		{0, "0:00", "0:00", "0:00", "0 s"},
		{1, "0:01", "0:00", "0:00", "1e-09 s"},
		{ms / 2, "0:01", "0:00", "0:00", ""},
		{1 * ms * 2, "0:01", "0:00", "0:00", "0.002 s"},
		{400 * ms, "0:01", "0:00", "0:00.4", "0.4 s"},
		{999 * ms, "0:01", "0:01", "0:01", ""},
		{time.Second, "0:01", "0:01", "0:01", "1 s"},
		{time.Second + ms, "0:01", "0:01", "0:01", ""},
		{time.Second + 2*ms, "0:02", "0:01", "0:01", ""},
		{59949 * ms, "1:00", "0:59", "0:59.9", "1 min"},
		{59951 * ms, "1:00", "0:59", "1:00", "1 min"},
		{89500 * ms, "1:30", "1:29", "1:30", "1 min 30 s"},
		{90 * time.Second, "1:30", "1:30", "1:30", "1 min 30 s"},
		{3599600 * ms, "1:00:00", "59:59", "1:00:00", "1 h"},
		{2*time.Hour + 9*time.Minute + 50*time.Second, "2:09:50", "2:09:50", "2:09:50", "2 h 10 min"},
		{100 * time.Hour, "100:00:00", "100:00:00", "100:00:00", "4.17 days"},
		{-5 * time.Second, "0:00", "0:00", "−0:05", "an unknown time"},
		{-20 * ms, "0:00", "0:00", "0:00", ""},
	} {
		if got := words.Countdown(c.d); got != c.down {
			t.Errorf("%v left: %q, want %q", c.d, got, c.down)
		}
		if got := words.CountUp(c.d); got != c.up {
			t.Errorf("%v counted: %q, want %q", c.d, got, c.up)
		}
		if got := words.Finished(c.d); got != c.done {
			t.Errorf("%v over: %q, want %q", c.d, got, c.done)
		}
		if got := words.Long(c.d.Seconds()); c.len != "" && got != strings.Replace(c.len, "1e-09", "0.000000001", 1) {
			t.Errorf("%v in a sentence: %q, want %q", c.d, got, c.len)
		}
	}
	if got := words.Difference(20 * time.Second); got != "+0:20" {
		t.Errorf("a difference is %q", got)
	}
	if got := words.Difference(20 * ms); got != "0:00" {
		t.Errorf("a difference of nothing is %q", got)
	}
}

func TestATimeInASentence(t *testing.T) {
	for want, s := range map[string]float64{"45 s": 45, "4 min 45 s": 285, "4 min": 240, "2 h 10 min": 7800, "1 h": 3600, "3.5 s": 3.5, "0.25 s": 0.25, "31 h": 31 * 3600, "5 days": 432000, "an unknown time": math.NaN(), "0 s": 0} {
		if got := words.Long(s); got != want {
			t.Errorf("%v s is said as %q, want %q", s, got, want)
		}
	}
}

func TestUnits(t *testing.T) {
	for d, want := range map[time.Duration]string{0: "0s", 90 * time.Second: "1m30s", 30 * time.Minute: "30m", 8 * time.Hour: "8h", 500 * ms: "0.5s",
		time.Hour + time.Second + 1: "1h1.000000001s", -90 * time.Second: "-1m30s", math.MinInt64: "-2562047h47m16.854775808s"} {
		if got := words.Units(d); got != want {
			t.Errorf("%v is written %q, want %q", d, got, want)
		}
		if back, err := time.ParseDuration(words.Units(d)); err != nil || back != d {
			t.Errorf("%q reads back as %v (%v)", words.Units(d), back, err)
		}
	}
}

func TestSpoken(t *testing.T) {
	for d, want := range map[time.Duration]string{0: "no seconds", time.Second: "one second", 46500 * ms: "forty-seven seconds",
		90 * time.Second: "one minute thirty seconds", 59*time.Minute + 59500*ms: "one hour", time.Hour + time.Second: "one hour one minute",
		2*time.Hour + 5*time.Minute: "two hours five minutes"} {
		if got := words.Spoken(d); got != want {
			t.Errorf("%v is spoken %q, want %q", d, got, want)
		}
	}
}

func TestStops(t *testing.T) {
	for _, c := range []struct {
		v            float64
		signed, said string
	}{
		{0, "0", "0 stops"}, {math.Copysign(0, -1), "0", "0 stops"}, {-0.004, "0", "0 stops"}, {0.03, "0", "0 stops"},
		{1.0 / 3, "+1/3", "1/3 stop"}, {-0.5, "-1/2", "1/2 stop"}, {2.0 / 3, "+2/3", "2/3 stop"}, {0.7, "+0.7", "0.7 stop"},
		{1, "+1", "1 stop"}, {-1.5, "-1 1/2", "1 1/2 stops"}, {4.0 / 3, "+1 1/3", "1 1/3 stops"}, {0.96, "+1", "1 stop"}, {1.04, "+1", "1 stop"},
		{-1.1, "-1.1", "1.1 stops"}, {2, "+2", "2 stops"}, {4.0 / 3, "+1 1/3", "1 1/3 stops"}, {0.4, "+0.4", "0.4 stop"}, {1e-9, "0", "0 stops"}, {math.NaN(), "unknown", "unknown stops"}, {math.Inf(-1), "-unknown", "unknown stops"},
	} {
		if got := words.Stops(c.v); got != c.signed && !math.IsInf(c.v, 0) {
			t.Errorf("%v stops: %q, want %q", c.v, got, c.signed)
		}
		if got := words.StopsBy(c.v); strings.TrimLeft(got, "+-") != c.said || got[0] != c.signed[0] && !math.IsInf(c.v, 0) {
			t.Errorf("%v stops with sign: %q", c.v, got)
		}
		if got := words.StopsOf(c.v); got != c.said {
			t.Errorf("%v stops said: %q, want %q", c.v, got, c.said)
		}
	}
}

func TestNumbers(t *testing.T) {
	minus := math.Copysign(0, -1)
	for _, c := range []struct{ got, want string }{
		{words.Num(1.0 / 3), "0.333"}, {words.Num(100), "100"}, {words.Num(minus), "0"}, {words.Num(-0.0004), "0"}, {words.Num(0.00001), "1e-05"}, {words.Num(2e7), "2e+07"},
		{words.Exact(0.1), "0.1"}, {words.Exact(minus), "0"}, {words.Exact(1e9), "1000000000"}, {words.Decimals(-0.04, 1), "0"}, {words.Decimals(-0.06, 1), "-0.1"}, {words.Decimals(12.30, 2), "12.3"}, {words.Decimals(-0.4, 0), "0"},
		{words.Signed(0.72, 1), "+0.7"}, {words.Signed(-0.02, 1), "0"}, {words.Signed(-0.3, 1), "-0.3"},
		{words.Sig(0.012345, 2), "0.012"}, {words.Sig(1234.5, 2), "1234"}, {words.Sig(minus, 3), "0"},
		{words.Percent(0.624), "62%"}, {words.Percent(0.9999), "99%"}, {words.Percent(1), "100%"}, {words.Percent(0.999999), "100%"}, {words.Percent(1.2), "120%"}, {words.Percent(-0.001), "0%"},
		{words.Part(0.001), "1/1000"}, {words.Part(1.0 / 12345), "1/12300"}, {words.Part(0.3), "1/3.3"},
		{words.Millilitres(450), "450"}, {words.Millilitres(12.345), "12.3"}, {words.Millilitres(1.234), "1.23"},
		{words.Count(1, "sheet"), "1 sheet"}, {words.Count(0, "sheet"), "0 sheets"}, {words.Count(12, "move"), "12 moves"},
		{words.Spelled(0), "no"}, {words.Spelled(35), "thirty-five"}, {words.Spelled(100), "100"}, {strings.Join(words.Cardinal(2105), " "), "two thousand one hundred five"}, {strings.Join(words.Cardinal(-12), " "), "one two"}, {strings.Join(words.Cardinal(0), " "), "zero"},
		{words.CountSpelled(3, "sheet"), "three sheets"},
		{words.List(nil), ""}, {words.List([]string{"a"}), "a"}, {words.List([]string{"a", "b", "c"}), "a, b and c"}, {words.Or([]string{"a", "b"}), "a or b"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestClean(t *testing.T) {
	for _, c := range []struct{ in, clean, cell string }{
		{"tea caddy", "tea caddy", "tea caddy"},
		{"a\nb\tc", "a b c", "a b c"},
		{"\x1b[32mgreen\x1b[0m\a", "green", "green"},
		{"\u202egnorw\u2066", "gnorw", "gnorw"},
		{"soft\u00adhyphen", "softhyphen", "softhyphen"},
		{"नी\u200dला", "नी\u200dला", "नी\u200dला"},
		{"Grüße \xff", "Grüße ", "Grüße "},
		{"=1+1", "=1+1", "'=1+1"},
		{"  ＋1", "  ＋1", "'  ＋1"},
		{"\tx", " x", "' x"},
		{"-1/2", "-1/2", "'-1/2"},
		{"Çiğdem, Łódź, 光", "Çiğdem, Łódź, 光", "Çiğdem, Łódź, 光"},
		{"a\x1b[31mred\x07", "ared", "ared"},
		{"\u009b2J", "2J", "2J"},
		{"two\r\nlines\tand", "two  lines and", "two  lines and"},
		{"\u202egnp.exe", "gnp.exe", "gnp.exe"},
		{"=1+1", "=1+1", "'=1+1"},
		{"+1 stop", "+1 stop", "'+1 stop"},
		{"-1 stop", "-1 stop", "'-1 stop"},
		{"@SUM(A1)", "@SUM(A1)", "'@SUM(A1)"},
		{"\t=1", " =1", "' =1"},
		{"\r=1", " =1", "' =1"},
		{"  =1", "  =1", "'  =1"},
		{"\x00=1", "=1", "'=1"},
		{"＝1", "＝1", "'＝1"},
		{"a=1", "a=1", "a=1"},
		{"", "", ""},
		{"bad\xff", "bad", "bad"},
	} {
		if got := words.Clean(c.in); got != c.clean {
			t.Errorf("Clean(%q) = %q, want %q", c.in, got, c.clean)
		}
		if got := words.Cell(c.in); got != c.cell {
			t.Errorf("Cell(%q) = %q, want %q", c.in, got, c.cell)
		}
	}
	if got := words.Clip(strings.Repeat("ä ", 50)); utf8.RuneCountInString(got) != 40 || !strings.HasSuffix(got, "...") {
		t.Errorf("clipped: %q", got)
	}
}

// Whatever comes in, what goes out is valid, shows no control and stays as it is
// when it is cleaned again.
func FuzzClean(f *testing.F) {
	for _, s := range []string{"", "a\x1b]0;x\ab", "\x9b31m", "\xf0\x9f\x8d\xb5", "\x1b\x1b[[31mx", "\u2028"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got := words.Clean(s)
		if !utf8.ValidString(got) || strings.ContainsFunc(got, func(r rune) bool { return unicode.IsControl(r) || words.Unseen(r) }) {
			t.Errorf("Clean(%q) = %q", s, got)
		}
		if again := words.Clean(got); again != got {
			t.Errorf("Clean(%q) = %q, and again %q", s, got, again)
		}
	})
}

func TestNoTextBecomesAControlOrAFormula(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "s")
		if rapid.Bool().Draw(t, "raw") {
			s = string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		}
		c := words.Cell(s)
		for _, r := range c {
			if r < 0x20 || (r >= 0x7f && r < 0xa0) {
				t.Fatalf("%q", c)
			}
		}
		if x := strings.TrimSpace(c); x != "" && strings.ContainsAny(x[:1], "=+-@") {
			t.Fatalf("%q", c)
		}
	})
}
