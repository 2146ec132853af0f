package ember

import (
	"os"
	"testing"

	"wetside/session/sessiontest"
)

// The kernel is asked, not the environment: its own console is one, the
// terminal of an emulator is none, and neither is a file.
func TestOnConsole(t *testing.T) {
	none := map[string]string{"an emulator's terminal": "/dev/ptmx", "no terminal": os.DevNull}
	for what, name := range none {
		f, err := os.OpenFile(name, os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		if OnConsole(f) {
			t.Errorf("%s was taken for the console", what)
		}
		f.Close()
	}
	if OnConsole(nil) {
		t.Error("nothing was taken for the console")
	}
	console, err := os.OpenFile("/dev/tty1", os.O_WRONLY, 0)
	if err != nil {
		sessiontest.Skip(t, "there is no Linux console to ask: "+err.Error(), "run it as root on a machine that has /dev/tty1")
	}
	defer console.Close()
	if !OnConsole(console) {
		t.Error("the console was not known for one")
	}
}
