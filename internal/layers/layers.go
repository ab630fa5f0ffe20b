// Package layers holds who may import whom, as a table to read, how long files and
// functions may be, and the tests that enforce both. They parse sources and run
// nothing: a test that asked the go command would be served stale from the test
// cache.
//
// There is nothing to call. To change an arrow, change the table in the same
// commit and say why. A folder gets its row with its first code, and an arrow that
// nothing needs any more goes.
package layers

// arrows has a row for every folder with Go code. After the colon comes what
// its code may import besides the standard library; after the bar, what only
// its tests may import in addition to what every test may (see everyTest).
// A folder below a folder with a row of its own needs none. "*" is every
// folder but cmd and testkit.
const arrows = `
theory:            |
pitch:             gonum                                    | go-dsp
exercise:          pitch theory                             |
exercise/grade:    exercise theory                          |
exercise/compose:  exercise theory                          |
exercise/practice: exercise exercise/compose theory fsrs    | gonum
calib:             pitch theory gonum go-dsp                | internal/synth
internal/audio:                                             |
internal/codec:    internal/audio flac vorbis opus go-mp3         |
internal/plain:                                              |
internal/fold:                                               |
internal/newfile:                                            |
internal/keys:     exercise internal/keys/strike gomidi      |
internal/keys/strike: exercise                               |
internal/device:   internal/audio internal/plain portaudio   |
internal/synth:    theory internal/audio                    | go-dsp pitch
internal/help:                                              |
internal/engrave: theory                                     | exercise/compose internal/notation
internal/notation: theory internal/engrave internal/plain gomidi | exercise/compose
internal/listen:   pitch theory exercise exercise/grade internal/audio | internal/synth
internal/takedown: theory exercise/grade                     | internal/audio internal/listen internal/synth
internal/takedown/words: theory internal/report internal/takedown | exercise/grade
internal/review:   pitch theory exercise/grade internal/audio internal/codec internal/listen internal/notation internal/plain internal/newfile | internal/synth internal/report
internal/choir:    theory exercise exercise/grade internal/audio internal/engrave internal/notation internal/report internal/session internal/synth | internal/listen internal/newfile
internal/session:  pitch theory exercise exercise/grade exercise/compose exercise/practice calib internal/audio internal/listen internal/synth |
internal/tomlfile: go-toml                                  |
internal/kept:     theory exercise exercise/compose exercise/practice calib internal/tomlfile go-toml |
internal/store:    exercise/practice calib internal/kept internal/sqlfile | exercise pitch
internal/sqlfile:  sqlite                                   |
internal/class:    theory exercise exercise/grade exercise/practice internal/report internal/tomlfile go-toml x-text |
internal/classfile: theory exercise exercise/grade exercise/practice internal/class internal/kept internal/sqlfile |
internal/desk:     theory exercise exercise/grade exercise/practice pitch internal/audio internal/class internal/classfile internal/codec internal/drill internal/kept internal/newfile internal/notation internal/plain internal/report internal/review internal/sheet internal/synth internal/tomlfile |
internal/report:   pitch theory exercise exercise/grade exercise/compose exercise/practice calib internal/plain |
internal/sheet:    theory exercise/grade internal/class internal/engrave internal/plain internal/report | internal/notation
internal/chart:    internal/report internal/plain plot       | exercise/practice theory
internal/calibrate: theory pitch exercise calib internal/audio internal/session internal/synth internal/report internal/plain |
internal/doctor:   pitch calib internal/audio internal/device internal/listen | 
internal/course:   theory exercise exercise/compose exercise/practice internal/plain internal/tomlfile go-toml |
internal/tui:      theory exercise exercise/compose internal/session internal/drill internal/engrave internal/notation internal/report internal/plain bubbletea lipgloss |
internal/drill:    theory exercise exercise/grade exercise/compose exercise/practice calib internal/audio internal/listen internal/session internal/synth internal/plain internal/report | internal/course internal/kept
internal/xapi:     exercise internal/kept                     | exercise/practice
internal/handin:   internal/plain icholy-digest x-text        | x-net
internal/page:     calib internal/handin internal/help internal/kept internal/store internal/newfile | internal/audio internal/synth theory chromedp x-net
internal/page/teacher: internal/audio internal/class internal/classfile internal/desk internal/newfile | theory calib exercise/grade internal/synth internal/page chromedp
internal/page/engine: theory pitch exercise exercise/grade exercise/compose exercise/practice calib internal/audio internal/session internal/synth internal/drill internal/calibrate internal/course internal/engrave internal/kept internal/keys/strike internal/listen internal/plain internal/report |
internal/page/engine/wasm: internal/page/engine |
internal/page/lean:                                          |
internal/cli:      * cobra x-term                           | x-net
cmd/singback:      internal/cli                             |
internal/release/papers: internal/cli                           |
internal/testkit:  * internal/testkit chromedp              |
internal/layers:                                            |
`

// everyTest is what the tests of every folder may import.
const everyTest = "internal/testkit rapid testscript"

// modules are the third-party modules, by the names used above. A module that
// is not here may be imported by nobody.
var modules = map[string]string{
	"gonum":      "gonum.org/v1/gonum",
	"flac":       "github.com/mewkiz/flac",
	"vorbis":     "github.com/jfreymuth/vorbis",
	"opus":       "github.com/pion/opus",
	"go-mp3":     "github.com/hajimehoshi/go-mp3",
	"plot":       "gonum.org/v1/plot",
	"go-dsp":     "github.com/mjibson/go-dsp",
	"portaudio":  "github.com/gordonklaus/portaudio",
	"cobra":      "github.com/spf13/cobra",
	"bubbletea":  "charm.land/bubbletea/v2",
	"lipgloss":   "charm.land/lipgloss/v2",
	"gomidi":     "gitlab.com/gomidi/midi/v2",
	"go-toml":    "github.com/pelletier/go-toml/v2",
	"x-term":     "golang.org/x/term",
	"x-text":     "golang.org/x/text",
	"fsrs":       "github.com/open-spaced-repetition/go-fsrs",
	"sqlite":     "modernc.org/sqlite",
	"chromedp":   "github.com/chromedp",
	"rapid":      "pgregory.net/rapid",
	"testscript": "github.com/rogpeppe/go-internal",

	"icholy-digest": "github.com/icholy/digest",
	"x-net":         "golang.org/x/net",
}

// pure are the packages that do no I/O, read no clock and use no global
// randomness, whose code (tests may) imports none of impure and calls none of
// clock and of the functions of math/rand/v2 but seeded.
const (
	pure   = "pitch theory exercise exercise/grade exercise/compose exercise/practice calib internal/class"
	impure = "os net net/http math/rand crypto/rand syscall os/exec os/signal log log/slog io/ioutil net/netip net/url C"
	clock  = "Now Since Until Sleep After AfterFunc Tick NewTimer NewTicker"
	today  = "Now Since Until Local" // what no test reads
	seeded = "New NewPCG NewChaCha8 NewZipf"
)

// topLevel is everything that may lie in the project's root: what
// belongs to the project, and what git and make put there.
const topLevel = `
cmd pitch theory exercise calib testdata internal
go.mod go.sum README.md DEVELOPERS.md CHANGELOG.md LICENSE Makefile .gitattributes .gitignore .ci
.git bin
`
