//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"wetside/session/sessiontest"
)

// A weekend at the signal box, through the built program: the day is planned, four cameras
// are loaded and one of them almost twice, a test sheet is judged, two pictures are
// exposed by the laptop and one by a card, one is developed led and the rest by hand,
// they dry, are judged in a row, and the new card has other times than the first.
func TestAWeekendAtTheSignalBox(t *testing.T) {
	t.Parallel()
	h := newHome(t)
	ownProcess(t, h, "quick", `develop; target = "2s"`, `stop; target = "2s"`, `fix; target = "2s"`, `wash; target = "2s"`)
	run := func(typed string, status int, args ...string) string {
		t.Helper()
		cmd := exec.CommandContext(t.Context(), binary(t), args...)
		cmd.Env, cmd.Stdin = append(os.Environ(), h.env...), strings.NewReader(typed)
		out, err := cmd.CombinedOutput()
		if got := cmd.ProcessState.ExitCode(); got != status {
			t.Fatalf("wetside %v: status %d, not %d: %v\n%s", args, got, status, err, out)
		}
		return string(out)
	}
	has := func(text, want string) {
		t.Helper()
		if !regexp.MustCompile(want).MatchString(text) {
			t.Fatalf("no %q in\n%s", want, text)
		}
	}
	pause := func(d time.Duration) {
		next := time.Now().Add(d)
		until(t, "the next press", func() bool { return time.Now().After(next) })
	}
	run("", 0, "profiles", "new", "camera", "cake-tin", "--name", "cake tin", "--diameter", "90mm", "--hole", "0.5mm", "--plate", "0.1mm", "--sheet", "13x9cm")
	has(run("", 0, "plan", "--cameras", "tea-caddy,hat-box,biscuit-tin,cake-tin", "--hours", "10:00-16:00", "--day", "tomorrow", "--light", "sun", "--sheets", "4"), `The darkroom begins at 15:`)
	first := run("", 0, "card", "hat-box", "--text")

	// One is loaded by voice, in the room, and the program killed in the midst of it.
	x := pipe(t, h)
	x.press("\t\t\t\t")
	x.press("l")
	x.press("1")
	walk := func(n int) {
		for range n {
			pause(1200 * time.Millisecond)
			x.press(" ")
		}
	}
	walk(3)
	x.stands("fresh")
	x.kill()
	x = pipe(t, h)
	x.press("\t\t\t") // it begins in the field: a sheet waits for its light
	x.press("l")
	x.press("1")
	walk(6)
	until(t, "it is loaded", func() bool { return strings.Contains(h.wetside(t, "where"), "in its camera") })
	pause(1200 * time.Millisecond)
	x.kill()
	loaded := run("", 0, "loaded")
	tin := strings.Fields(strings.Split(loaded, "\n")[1])[0]
	has(loaded, `(?m)^biscuit-tin +1 .*not exposed$`)

	// The others by hand; a second sheet into the same tin is caught.
	for _, cam := range []string{"cake-tin", "hat-box", "tea-caddy"} {
		has(run("", 0, "loaded", cam, "--process", "quick"), "is in "+cam)
	}
	has(run("", 2, "loaded", "hat-box"), "hat-box holds sheet 3 already")

	// A test sheet, by a watch, developed by hand, and judged: the picture's time at once.
	var strips struct {
		Test []struct {
			Total float64 `json:"total_s"`
		} `json:"test"`
	}
	if err := json.Unmarshal([]byte(run("", 0, "exposure", "sun", "--camera", tin, "--test", "--json")), &strips); err != nil || len(strips.Test) != 5 {
		t.Fatal(err, strips)
	}
	has(run("", 0, "exposed", tin, "sun", fmt.Sprint(strips.Test[4].Total, "s"), "--at", "10:10", "--day", "yesterday", "--with", "test"), "sheet 1 written down")
	run("", 0, "developed", "1")
	has(run("", 0, "judge", "1", "strip 3"), "next time in this light")

	// Two pictures by the laptop, one by a card.
	x = pipe(t, h)
	for i, n := range []string{"2", "3"} {
		x.press(n)
		x.press("e")
		x.press([]string{"EV 18 3s\r", "EV 20 4s\r"}[i]) // about what they want
		pause(1200 * time.Millisecond)
		x.press(" ")
		x.stands([]string{"finished, expose, fresh, fresh", "finished, exposed, expose, fresh"}[i])
		pause(2500 * time.Millisecond)
		x.press(" ")
		x.stands([]string{"finished, exposed, fresh, fresh", "finished, exposed, exposed, fresh"}[i])
	}
	x.kill()
	has(run("lever frame\nsun\n11:10\n11:12\n\n\n\n", 0, "card", "tea-caddy", "--enter", "--day", "yesterday"), "sheet 4 written down: lever frame, open 2:00")
	has(run("", 2, "exposed", "tea-caddy", "sun", "2m", "--at", "12:10", "--day", "yesterday"), "holds sheet 4, which is exposed")

	// One developed led, the rest by hand.
	x = pipe(t, h, "lead")
	pause(1200 * time.Millisecond)
	x.press("2 ")
	x.stands("finished, wash, exposed, exposed")
	pause(3 * time.Second)
	x.press(" ")
	x.stands("finished, finished, exposed, exposed")
	x.kill()
	run("", 0, "developed", "3")
	run("", 0, "developed", "4")
	has(run("", 0, "loaded"), "no camera holds a sheet")

	// Dry, judged in a row, and a new card.
	has(run("", 0, "dry"), `(?s)drying:.*hat-box`)
	has(run("", 0, "dry", "all"), `on its back: 4, `)
	has(run("5\n1\n1\n", 0, "judge"), `(?s)1 of 3: .*2 of 3: .*3 of 3: `)
	has(run("", 0, "judge"), "no dry sheet waits")
	if card := run("", 0, "card", "hat-box", "--text"); card == first || !strings.Contains(card, "judged sheets taught") {
		t.Errorf("the new card has the old times:\n%s", card)
	}
}

// Every page that is printed is whole on A4 and on Letter: nothing is cut, and nothing lies
// over something else, with names as long as they come.
func TestPrintedPagesOnPaper(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "chromium")
	h := newHome(t)
	dir := t.TempDir()
	long := "the signal arm at the end of the long platform, seen from the lamp room"
	h.wetside(t, "exposed", "tea-caddy", "overcast", "5m", "--at", "14:10", "--day", "yesterday", "--name", long, "--note", strings.Repeat("wind got up ", 20))
	h.wetside(t, "developed", "1")
	h.wetside(t, "judge", "1", "1/2 too dark")
	pages := map[string][]string{
		"plan.html":     {"plan", "--cameras", "tea-caddy,hat-box,biscuit-tin", "--hours", "6:00-22:00", "--day", "tomorrow", "--light", "sun", "--sheets", "24", "--place", "52.5,13.4"},
		"card.html":     {"card", "tea-caddy"},
		"notebook.html": {"export", "--title", long},
	}
	for name, args := range pages {
		file := filepath.Join(dir, name)
		h.wetside(t, append(args, "-o", file)...)
		page, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		margin := 10.0 // mm, what a browser leaves where the page does not say
		if m := regexp.MustCompile(`@page\s*\{\s*margin:\s*([\d.]+)mm`).FindSubmatch(page); m != nil {
			fmt.Sscan(string(m[1]), &margin)
		}
		// What is printed is as wide as the paper without its margins.
		for paper, mm := range map[string]float64{"A4": 210, "Letter": 215.9} {
			wide := mm - 2*margin
			const measure = `<script>
let bad = [];
const all = [...document.querySelectorAll("h1, h2, h3, p, td, th, li")].filter(e => e.offsetParent && e.textContent.trim());
for (const e of all) {
  if (e.tagName != "H1" && (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1) && getComputedStyle(e).display != "inline") bad.push("cut " + e.textContent.trim().slice(0, 40));
  if (e.getBoundingClientRect().right > innerWidth + 1) bad.push("out " + e.textContent.trim().slice(0, 40));
}
const leaves = all.filter(e => !all.some(o => o != e && e.contains(o))).map(e => [e, e.getBoundingClientRect()]);
for (let i = 0; i < leaves.length; i++) for (let j = i + 1; j < leaves.length; j++) {
  const [a, b] = [leaves[i][1], leaves[j][1]];
  if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1) bad.push("over " + leaves[i][0].textContent.trim().slice(0, 30) + " / " + leaves[j][0].textContent.trim().slice(0, 30));
}
document.body.dataset.bad = bad.slice(0, 5).join("; "); document.body.dataset.n = leaves.length;
</script>`
			at := filepath.Join(dir, paper+"-"+name)
			html := bytes.Replace(page, []byte("</body>"), []byte(measure+"</body>"), 1)
			html = regexp.MustCompile(`(?i)<meta[^>]*content-security-policy[^>]*>`).ReplaceAll(html, nil) // else nothing could measure
			html = bytes.ReplaceAll(html, []byte("@media print"), []byte("@media all"))
			html = regexp.MustCompile(`<html([^>]*)>`).ReplaceAll(html, fmt.Appendf(nil, `<html$1 style="width:%gmm">`, wide))
			if err := os.WriteFile(at, html, 0o600); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			cmd := exec.CommandContext(ctx, "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--user-data-dir="+filepath.Join(dir, "profile"),
				"--dump-dom", fmt.Sprintf("--window-size=%d,1000", int(math.Ceil(wide/25.4*96))), "file://"+at)
			cmd.WaitDelay = time.Second
			dom, err := cmd.Output()
			if err != nil {
				t.Fatalf("%s on %s: %v", name, paper, err)
			}
			got := regexp.MustCompile(`data-bad="([^"]*)" data-n="(\d+)"`).FindSubmatch(dom)
			if got == nil || len(got[1]) > 0 || len(got[2]) < 2 {
				t.Errorf("%s on %s: %q", name, paper, got)
			}
		}
	}
}
