package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"wetside/session/exposure"
	"wetside/session/sessiontest"
)

// Four cards are one page of A4 and one of Letter, and nothing on them is cut or lies
// over something else, whatever the camera is called.
func TestTheFieldCardOnPaper(t *testing.T) {
	t.Parallel()
	sessiontest.Need(t, "chromium")
	x := card{Camera: strings.Repeat("the tall tea caddy with a dented lid ", 5), Paper: strings.Repeat("a direct-positive paper ", 8), FNumber: "f/1000", Date: "2026-05-03",
		Learned: "With what 120 judged sheets taught.", Blanks: cardBlanks, Copies: make([]struct{}, 4), Lines: make([]struct{}, 5)}
	for _, sky := range exposure.Skies {
		x.Rows = append(x.Rows, cardRow{sky.Words, "35 min 30 s", "1 min 25 s to 27 min 15 s"})
	}
	var page bytes.Buffer
	if err := cardTemplate.Execute(&page, x); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	browse := func(html string, args ...string) string {
		t.Helper()
		file := filepath.Join(dir, "card.html")
		if err := os.WriteFile(file, []byte(html), 0o600); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		cmd := exec.CommandContext(ctx, "chromium", append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--user-data-dir=" + filepath.Join(dir, "profile")}, append(args, "file://"+file)...)...)
		cmd.WaitDelay = time.Second
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%v: %v", args, err)
		}
		return string(out)
	}
	// What is longer than its room, names apart, which are cut on purpose.
	const measure = `<script>
let bad = [];
for (const e of document.querySelectorAll("article, td, th"))
  if (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1) bad.push(e.tagName + " " + e.textContent.trim().slice(0, 40));
document.body.dataset.bad = bad.join("; "); document.body.dataset.cells = document.querySelectorAll("td").length;
</script>`
	dom := browse(strings.Replace(page.String(), "</body>", measure+"</body>", 1), "--dump-dom", "--window-size=800,1100")
	got := regexp.MustCompile(`data-bad="([^"]*)" data-cells="(\d+)"`).FindStringSubmatch(dom)
	if len(got) != 3 || got[1] != "" || got[2] != "216" {
		t.Errorf("cut: %q", got)
	}
	// As narrow as A4 and as low as Letter: what fits there fits both.
	pdf := filepath.Join(dir, "card.pdf")
	browse(strings.Replace(page.String(), "@page{", "@page{size:210mm 279mm;", 1), "--no-pdf-header-footer", "--print-to-pdf="+pdf)
	data, err := os.ReadFile(pdf)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(data, -1)); n != 1 {
		t.Errorf("%d pages", n)
	}
}
