// Wetside leads a sheet of photographic paper from the pinhole camera to the
// wash: by ear, in red, written down. Without a command it opens the program
// itself; the commands beside it compute, list, export and check.
//
// Rules of this command line. Flags come before the environment, the environment
// before the settings file. What a command prints for people goes to
// standard output as plain text, and as JSON with --json. Bad arguments end
// with one line that says what to do, and status 2; anything else that went
// wrong ends with one line and status 1. Nothing but the program itself
// touches the terminal's colours, and it goes through the red guard; while paper
// is out so does what any command prints on a terminal, without --json.
package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/adrg/xdg"
	"github.com/alecthomas/kong"

	"wetside/session/words"
	"wetside/sound"
	"wetside/tui/lamps"
)

// A host is what the commands know of the machine: nothing reaches past it.
type host struct {
	in       io.Reader
	out, err io.Writer
	getenv   func(string) string
	args     []string
	self     string // this executable
	data     string // folder of the notebook and its logs
	config   string // folder of settings, profiles, voices
	state    string // folder of locks and lamp values; takes events when data refuses
	runtime  string // folder that takes them when state does too
	ctx      context.Context
	now      func() time.Time
	terminal func() (in, out *os.File, ok bool)
	lights   func() lamps.Lamps                         // nil: those of this machine
	find     func(name string) (path string, err error) // a program to speak with; nil: exec.LookPath
	boot     func() (reading time.Duration, id string)  // nil: this machine's clock that goes on in its sleep
	sleep    func(time.Duration)                        // for the disk's clock; nil: time.Sleep
	into     sound.Taker                                // in a loudspeaker's place; nil: a loudspeaker
}

// CLI is the whole command line.
type CLI struct {
	Data   string `help:"Folder of the notebook and the day's logs." placeholder:"DIR" type:"path"`
	Config string `help:"Folder of settings, profiles and voices." placeholder:"DIR" type:"path"`

	ShowVersion versionFlag `name:"version" help:"Which wetside this is."`

	Run        RunCmd        `cmd:"" group:"The timer" default:"withargs" help:"The program itself (what wetside does without a command)."`
	Rehearse   RehearseCmd   `cmd:"" group:"The timer" help:"The program with a blank sheet, in real time or faster; kept out of the statistics."`
	Lead       LeadCmd       `cmd:"" group:"The timer" help:"The program leads: one press for a whole sheet."`
	Time       TimeCmd       `cmd:"" group:"The timer" help:"A plain timer: a process or times, and space starts."`
	Where      WhereCmd      `cmd:"" group:"The timer" help:"Where each sheet of the running session stands."`
	Loaded     LoadedCmd     `cmd:"" group:"The timer" help:"Which camera holds what; and one that was loaded or emptied without the program."`
	Check      CheckCmd      `cmd:"" group:"The timer" help:"The checklist before paper is opened, and what the program found out of it."`
	Sounds     SoundsCmd     `cmd:"" group:"The timer" help:"Play every sound and name it; or a quiz."`
	Keys       KeysCmd       `cmd:"" group:"The timer" help:"Which key does what; try a pedal or a clicker."`
	Exposure   ExposureCmd   `cmd:"" group:"Before a sheet" help:"Work out the time from the light, with a bracket."`
	Pinhole    PinholeCmd    `cmd:"" group:"Before a sheet" help:"A pinhole: f-number, sharpest hole, angle, fall-off; or measure one."`
	Preflash   PreflashCmd   `cmd:"" group:"Before a sheet" help:"Work out a pre-flash: its test strip and its time."`
	Cues       CuesCmd       `cmd:"" group:"Before a sheet" help:"Print a crib sheet: every cue of a process with its time."`
	Card       CardCmd       `cmd:"" group:"Before a sheet" help:"Print a card for a camera in the field, without a laptop; or read in what was pencilled on it."`
	Plan       PlanCmd       `cmd:"" group:"Before a sheet" help:"Plan an evening's sheets: which goes into which tray when, and when all is done."`
	Mix        MixCmd        `cmd:"" group:"Before a sheet" help:"Mix a bath: how much stock and how much water."`
	Washes     WashesCmd     `cmd:"" group:"Before a sheet" help:"Work out how many changes of water a wash takes."`
	Profiles   ProfilesCmd   `cmd:"" group:"Before a sheet" help:"List, check and make papers, processes and cameras."`
	Sheets     SheetsCmd     `cmd:"" group:"The notebook" help:"List the sheets."`
	Sheet      SheetCmd      `cmd:"" group:"The notebook" help:"Show one sheet, stage by stage."`
	Exposed    ExposedCmd    `cmd:"" group:"The notebook" help:"Write down an exposure that was timed by a watch."`
	Developed  DevelopedCmd  `cmd:"" group:"The notebook" help:"Write down that a sheet was developed without the program."`
	Dry        DryCmd        `cmd:"" group:"The notebook" help:"After the wash: what is drying, what is to be flattened or judged."`
	Judge      JudgeCmd      `cmd:"" group:"The notebook" help:"Say what a finished sheet should have had; alone, those that wait, in a row."`
	Learn      LearnCmd      `cmd:"" group:"The notebook" help:"Show what the judged sheets have taught."`
	Scan       ScanCmd       `cmd:"" group:"The notebook" help:"Say where the scan of a sheet lies."`
	Export     ExportCmd     `cmd:"" group:"The notebook" help:"Write the notebook as CSV, JSON or a page to print."`
	Import     ImportCmd     `cmd:"" group:"The notebook" help:"Take in another notebook."`
	Backup     BackupCmd     `cmd:"" group:"The notebook" help:"Copy the notebook, also while it is in use."`
	Paths      PathsCmd      `cmd:"" group:"The program" help:"Print where the files lie."`
	Licences   LicencesCmd   `cmd:"" group:"The program" help:"The licences of wetside and of all that is linked into it."`
	Completion CompletionCmd `cmd:"" group:"The program" help:"What bash, zsh or fish read to complete a command line."`
	Version    VersionCmd    `cmd:"" group:"The program" help:"Print the version."`
	Help       HelpCmd       `cmd:"" group:"The program" help:"Show how a command is used."`
	Complete   CompleteCmd   `cmd:"" hidden:"" help:"The candidates for a shell."`
	Reference  ReferenceCmd  `cmd:"" hidden:"" help:"The manual page in Markdown."`
	Notify     NotifyCmd     `cmd:"" hidden:"" help:"A pop-up on the desktop."`
}

// usageError is a mistake in the arguments: status 2.
type usageError struct{ error }

func (u usageError) Unwrap() error { return u.error }

// advised is one that says itself what to try.
type advised struct{ error }

func usage(format string, a ...any) error { return usageError{fmt.Errorf(format, a...)} }

// A slip is what does not go together on a command line, and what to say then.
type slip struct {
	is  bool
	say string
}

// slips is the first there is, as an error.
func slips(all ...slip) error {
	for _, s := range all {
		if s.is {
			return usage("%s", s.say)
		}
	}
	return nil
}

func advise(format string, a ...any) error { return usageError{advised{fmt.Errorf(format, a...)}} }

func main() {
	keepPrivate()
	os.Exit(run(realHost()))
}

func realHost() *host {
	self, err := os.Executable()
	if err != nil {
		self = os.Args[0]
	}
	return &host{
		in: os.Stdin, out: os.Stdout, err: os.Stderr, getenv: os.Getenv, args: os.Args[1:], self: self,
		data:   filepath.Join(xdg.DataHome, "wetside"),
		config: filepath.Join(xdg.ConfigHome, "wetside"),
		state:  filepath.Join(xdg.StateHome, "wetside"), runtime: filepath.Join(xdg.RuntimeDir, "wetside"),
		ctx: context.Background(), now: time.Now, terminal: terminal,
	}
}

// run parses and runs; it returns the exit status. What could not be printed
// was not done.
func run(h *host) int {
	own := *h
	defer own.inRed()()
	out := &sink{Writer: own.out}
	own.out = out
	status, err := own.run()
	if out.err != nil && (status == 0 || errors.Is(err, out.err)) {
		fmt.Fprintf(own.err, "wetside: standard output cannot be written: %s\n", oneLine(out.err))
		return 1
	}
	if err != nil {
		text := oneLine(err)
		if see := (seeHelp{}); errors.As(err, &see) {
			text += "; try: " + see.command
		}
		fmt.Fprintf(own.err, "wetside: %s\n", text)
	}
	return status
}

// grammar reads a command line into cli.
func grammar(cli *CLI, more ...kong.Option) (*kong.Kong, error) {
	return kong.New(cli, append([]kong.Option{kong.Name("wetside"), kong.Description(description), kong.Vars{"formats": formats()},
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}), kong.ValueFormatter(withVariable), kong.Help(printHelp)}, more...)...)
}

// run is the same, and returns what there is still to say.
func (h *host) run() (int, error) {
	var cli CLI
	status := -1
	parser, err := grammar(&cli, kong.Writers(h.out, h.err), kong.Exit(func(n int) { status = n; panic(exit{}) }))
	if err != nil {
		return 1, err
	}
	kctx, err := parse(parser, negatives(h.args))
	if status >= 0 {
		return status, nil // --help was asked for
	}
	if err != nil {
		return 2, misread(parser, err)
	}
	h.data, h.config = cmp.Or(cli.Data, h.data), cmp.Or(cli.Config, h.config)
	err = kctx.Run(h)
	var code codeError
	switch {
	case err == nil:
		return 0, nil
	case errors.As(err, &code):
		return int(code), nil // what there is to say has been said
	case errors.As(err, new(usageError)):
		return 2, tryHelp(err, kctx.Selected())
	}
	return 1, err
}

// parse reads the words; both are nil where the parser has ended the program.
func parse(parser *kong.Kong, args []string) (kctx *kong.Context, err error) {
	defer func() {
		if r := recover(); r != nil && r != any(exit{}) {
			panic(r)
		}
	}()
	return parser.Parse(args)
}

type exit struct{}

// codeError ends the program with a status that was decided elsewhere.
type codeError int

func (c codeError) Error() string { return fmt.Sprintf("ended with status %d", int(c)) }

// typed is how the parser of the command line tells of a word that is no number.
var typed = regexp.MustCompile(`: expected a (valid \d+ bit int|float) but got ("(?:[^"\\]|\\.)*")(?: \(string\))?`)

// wants says it in words of whoever typed it.
func wants(s string) string {
	m := typed.FindStringSubmatchIndex(s)
	if m == nil {
		return s
	}
	what, got := "a number", s[m[4]:m[5]]
	if s[m[2]:m[3]] != "float" {
		what = "a whole number"
	}
	if strings.HasPrefix(got, `"`+minus) {
		what += " that is not negative"
	}
	return s[:m[0]] + " wants " + what + ", not " + got + s[m[1]:]
}

// oneLine says an error on one line, whatever is echoed in it.
func oneLine(err error) string { return strings.Join(strings.Fields(words.Clean(err.Error())), " ") }
