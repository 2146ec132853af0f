package notebook

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// demo is a page with a bit of everything: a long note, a hostile note, a
// spoiled sheet, a rehearsal, late and short stages, a plot.
func demo(t testing.TB) []byte {
	b := open(t, config(t))
	s, m := sitting(t, b, 4, eventAt(0))
	fs, fm, sh := fullSheet(t)
	uses := Uses(fm, sh)
	for i := range uses {
		uses[i].Share = .25
	}
	if err := b.SaveSheet(fs, sh, fm.Now(), uses); err != nil {
		t.Fatal(err)
	}
	id := b.cfg.NewID()
	live(t, b, s, m, []session.Event{
		{Kind: session.SheetAdded, At: at(9 * time.Hour), Sheet: id, Spec: &session.SheetSpec{Name: "<img src=http://192.0.2.1/x.png>", Maker: "Bo", Camera: "hat-box", Paper: papers[0], Process: process, Celsius: 19.5}},
		{Kind: session.ExposureBegun, At: at(9*time.Hour + time.Minute), Sheet: id, Planned: 5 * time.Minute},
		{Kind: session.Noted, At: at(9*time.Hour + 2*time.Minute), Sheet: id, Note: "<script>document.title='owned';new Image().src='http://192.0.2.1/'</script>"},
		{Kind: session.Spoiled, At: at(9*time.Hour + 3*time.Minute), Sheet: id, Note: "the tripod fell over"},
	})
	sitting(t, b, 1, session.Event{At: at(30 * time.Hour), Rehearsal: true, Pace: 20})
	return export(t, b, HTML, Options{Title: "A weekend at the signal box", Plot: &Plot{Title: "tea-caddy on <paper>",
		Points: []PlotPoint{{2 * time.Minute, 1.5, "sheet 1"}, {4 * time.Minute, .5, "sheet 2"}, {7 * time.Minute, -.25, "</title><script>x</script>"}, {0, 1, "no time"}},
		Line:   []PlotPoint{{time.Minute, 2.4, ""}, {10 * time.Minute, -.8, ""}},
		Band:   []PlotBand{{time.Minute, 1.6, 3.2}, {4 * time.Minute, .2, .9}, {10 * time.Minute, -1.6, 0}},
	}})
}

// The page opens in a browser without a network, shows hostile text as text,
// and asks nobody for anything. The browser's own log of its network side says
// which requests come from a page (those that are kept apart under its origin,
// file:) and which are the browser's own business.
func TestThePageInABrowser(t *testing.T) {
	bin := ""
	for _, name := range []string{"chromium", "chromium-browser"} {
		if p, err := exec.LookPath(name); err == nil {
			bin = p
			break
		}
	}
	need(t, bin != "", "install chromium")
	dir := t.TempDir()
	path := filepath.Join(dir, "sheets.html")
	if err := os.WriteFile(path, demo(t), 0o600); err != nil {
		t.Fatal(err)
	}
	// browse returns what the browser printed, and what the page asked for.
	browse := func(args ...string) (string, []string) {
		t.Helper()
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		log := filepath.Join(dir, "net.json")
		cmd := exec.CommandContext(ctx, bin, append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
			"--user-data-dir=" + filepath.Join(dir, "profile"), "--host-resolver-rules=MAP * ~NOTFOUND", "--log-net-log=" + log}, args...)...)
		cmd.WaitDelay = time.Second
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%v: %v", args, err)
		}
		raw, err := os.ReadFile(log)
		if err != nil {
			t.Fatal(err)
		}
		var asked []string
		for _, l := range strings.Split(string(raw), "\n") {
			var e struct {
				Params struct {
					Key string `json:"network_isolation_key"`
					URL string `json:"url"`
				} `json:"params"`
			}
			if json.Unmarshal([]byte(strings.TrimSuffix(l, ",")), &e) == nil && strings.HasPrefix(e.Params.Key, "file:") {
				asked = append(asked, e.Params.URL)
			}
		}
		return string(out), asked
	}
	shot := filepath.Join(dir, "page.png")
	if to := os.Getenv("WETSIDE_SHOT"); to != "" {
		shot = to
	}
	_, asked := browse("--window-size=900,2900", "--screenshot="+shot, "file://"+path)
	if fi, err := os.Stat(shot); err != nil || fi.Size() < 20000 {
		t.Error("no picture was made:", err)
	}
	if len(asked) != 0 {
		t.Error("the page asked for", asked)
	}
	dom, _ := browse("--dump-dom", "file://"+path)
	if strings.Contains(dom, "<script") || strings.Contains(dom, "<img") || !strings.Contains(dom, "&lt;script&gt;document.title='owned'") ||
		!strings.Contains(dom, "<title>A weekend at the signal box</title>") || !strings.Contains(dom, "<h2>tea-caddy on &lt;paper&gt;</h2>") {
		t.Error("markup in a note or a name became part of the page")
	}
	if n := strings.Count(dom, "<article>"); n != 7 {
		t.Error(n, "cards")
	}
	// A page that does ask is noticed; else the count above says nothing.
	leak := filepath.Join(dir, "leak.html")
	if err := os.WriteFile(leak, []byte(`<img src="http://192.0.2.1/x.png">`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, asked = browse("--dump-dom", "file://"+leak); len(asked) == 0 {
		t.Error("a page that asks was not noticed")
	}
}
