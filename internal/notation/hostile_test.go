package notation

import (
	"encoding/binary"
	"errors"
	"runtime"
	"strings"
	"testing"
)

// smfOf makes a Standard MIDI File of 96 ticks a quarter note from tracks.
func smfOf(tracks ...string) string {
	b := binary.BigEndian.AppendUint16([]byte("MThd\x00\x00\x00\x06\x00\x01"), uint16(len(tracks)))
	b = append(b, 0, 96)
	for _, t := range tracks {
		b = append(b, "MTrk"...)
		b = append(binary.BigEndian.AppendUint32(b, uint32(len(t))), t...)
	}
	return string(b)
}

const (
	oneNote    = "\x00\x90\x3c\x50\x60\x80\x3c\x40"
	endOfTrack = "\x00\xff\x2f\x00"
)

// allocated is how much Parse sets aside for a file, in bytes, all together.
func allocated(t *testing.T, data string) (uint64, error) {
	t.Helper()
	var before, after runtime.MemStats
	b := []byte(data)
	runtime.ReadMemStats(&before)
	_, _, err := Parse("x", b, Options{})
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc, err
}

// Few bytes that ask for much are refused before so much is set aside: the
// library that reads MIDI events believed 4 GiB of 31 bytes.
func TestLengthsAreNotBelieved(t *testing.T) {
	for name, c := range map[string]struct{ data, want string }{
		"text of 4 GiB, by a number of five bytes": {smfOf("\x00\xff\x03\x8f\xff\xff\xff\x7fx"), "event at byte 0: its length"},
		"text of 256 MiB":                          {smfOf("\x00\xff\x03\xff\xff\xff\x7fx"), "a length of 268435455 bytes where 1 are left"},
		"tempo of 200 MiB":                         {smfOf(oneNote + "\x00\xff\x51\xe3\xfd\xfd\x03\r"), "event at byte 8: a length"},
		"system exclusive of 256 MiB":              {smfOf("\x00\xf0\xff\xff\xff\x7fx"), "a length of 268435455"},
		"escape of 256 MiB":                        {smfOf("\x00\xf7\xff\xff\xff\x7fx"), "a length of 268435455"},
		"in the second track":                      {smfOf(oneNote+endOfTrack, "\x00\xff\x03\xff\xff\xff\x7fx"), "track 2"},
		"behind the end of a track":                {smfOf(oneNote + endOfTrack + "MTrk\x00\x00\x00\x08\x00\xff\x03\xff\xff\xff\x7fx"), ""},
		"chunk of 2 GiB":                           {"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk\x7f\xff\xff\xff\x00", "cut short"},
		"65535 tracks":                             {"MThd\x00\x00\x00\x06\x00\x01\xff\xff\x00\x60", "65535 tracks"},
	} {
		n, err := allocated(t, c.data)
		if n > 1<<20 {
			t.Errorf("%s: %d bytes were set aside", name, n)
		}
		if c.want == "" && err != nil || c.want != "" && (!errors.Is(err, ErrNotation) || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v; want %q", name, err, c.want)
		}
	}
}

// By the Standard MIDI Files specification 1.0: chunks of other kinds and a
// longer header are passed over, events after one with the same status leave it
// out, and a track goes to the end of its chunk. A MIDI file may lie in a RIFF
// one (RP-29).
func TestReadMIDI(t *testing.T) {
	long := strings.Replace(smfOf(oneNote+endOfTrack), "\x00\x00\x00\x06\x00\x01\x00\x01\x00\x60", "\x00\x00\x00\x08\x00\x01\x00\x01\x00\x60\x00\x00", 1)
	for name, c := range map[string]struct{ data, voice, want string }{
		"plain":              {smfOf(oneNote + endOfTrack), "", "C4:1"},
		"without its end":    {smfOf(oneNote), "", "C4:1"},
		"running status":     {smfOf("\x00\x90\x3c\x50\x60\x3c\x00\x00\x3e\x50\x60\x3e\x00" + endOfTrack), "", "C4:1, D4:1"},
		"a longer header":    {long, "", "C4:1"},
		"another chunk":      {strings.Replace(smfOf(oneNote+endOfTrack), "MTrk", "XFIH\x00\x00\x00\x02abMTrk", 1), "", "C4:1"},
		"in RIFF":            {"RIFF\x00\x00\x00\x00RMIDdata\x00\x00\x00\x00" + smfOf(oneNote+endOfTrack), "", "C4:1"},
		"rest before":        {smfOf("\x81\x40\x90\x3c\x50\x60\x80\x3c\x40" + endOfTrack), "", "z:2, C4:1"},
		"a track of no note": {smfOf(endOfTrack, oneNote+endOfTrack), "", "C4:1"},
		"the second with notes": {smfOf("\x00\xff\x03\x05tempo"+endOfTrack, oneNote+endOfTrack, "\x00\xff\x03\x03low"+strings.ReplaceAll(oneNote, "\x3c", "\x30")+endOfTrack),
			"2", "C3:1"},
		"by name": {smfOf(oneNote+endOfTrack, "\x00\xff\x03\x03low"+strings.ReplaceAll(oneNote, "\x3c", "\x30")+endOfTrack), "Low", "C3:1"},
	} {
		s, _, err := Parse("x.mid", []byte(c.data), Options{Voice: c.voice})
		if got := show(s); err != nil || got != c.want {
			t.Errorf("%s: got %s, %v; want %s", name, got, err, c.want)
		}
	}
	for name, c := range map[string]struct{ data, want string }{
		"no status":        {smfOf("\x00\x3c\x50"), "event at byte 0: 0x3c where a status"},
		"a wrong status":   {smfOf(oneNote + "\x00\xf4\x00"), "event at byte 8: a status of 0xf4"},
		"a value too high": {smfOf("\x00\x90\x3c\xd0"), "a value of 208"},
		"a track too few":  {strings.Replace(smfOf(oneNote), "\x00\x01\x00\x60", "\x00\x02\x00\x60", 1), "says that it has 2 tracks, and 1"},
		"time code":        {strings.Replace(smfOf(oneNote), "\x00\x60", "\xe7\x28", 1), "time code"},
	} {
		if _, _, err := Parse("x.mid", []byte(c.data), Options{}); !errors.Is(err, ErrNotation) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; want %q", name, err, c.want)
		}
	}
}

// Whatever a file holds, also where it is packed into few bytes, takes a bounded
// part of memory: no more than 128 times its length, all that was given back
// counted in.
func TestHostileFilesAreBounded(t *testing.T) {
	const tune = "X:1\nM:4/4\nL:1/4\nK:C\n"
	const size = 1 << 20
	full := func(before, part, after string) string {
		return before + strings.Repeat(part, (size-len(before)-len(after))/len(part)) + after
	}
	pack := func(s string) string {
		return string(zipped(t, map[string]string{"META-INF/container.xml": `<container><rootfiles><rootfile full-path="a"/></rootfiles></container>`, "a": s}))
	}
	head := musicXMLHead + `<part id="P1"><measure number="1">`
	notesXML := `<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>`
	for name, c := range map[string]struct{ data, want string }{
		"ABC of empty lines":       {full("", "\n", ""), ""},
		"ABC, lines after a tune":  {full(tune+"C\n\n", "\n", ""), ""},
		"ABC of rests":             {full(tune, "z", "C"), "more than 100000 notes and rests"},
		"ABC, bars of rests":       {full(tune+"C|", "z|", ""), "more than 10000 bars"},
		"ABC, bars of many voices": {full(tune+"C|", "[V:1]C|[V:2]C|[V:3]C|[V:4]C|[V:5]C|[V:6]C|[V:7]C|[V:8]C|[V:9]C|[V:10]C|[V:11]C|", ""), "more than"},
		"ABC, words below":         {full(tune+strings.Repeat("CDEF|", 4000)+"\n", "w:a\n", ""), ""},
		"ABC, a line of words":     {full(tune+"C\nw:", "a ", ""), ""},
		"ABC, lines with words":    {full(tune, "C\nw:a\n", ""), "more than"},
		"ABC, repeats":             {tune + strings.Repeat("CDEF|", 5000) + "C ::::::::::::::::::::|", "more than"},
		"ABC, colons":              {tune + "C" + strings.Repeat(":", 1000) + "|", "want at most 99"},
		"ABC, endings":             {full(tune+"C|", "1-99 z:|", ""), "more than"},
		"ABC, passes of an ending": {tune + "C|" + strings.Repeat("1-99,", 1000) + "1C:|", "an ending for"},
		"ABC, decorations":         {full(tune+"C", "!D.C.!", ""), ""},
		"ABC, open decorations":    {full(tune+"C", "!x ", ""), ""},
		"ABC, text endings":        {full(tune+"C", "[\"x\" z", ""), "an ending for pass 100"},
		"XML, deep":                {full("<score-partwise>", "<a>", ""), "more than 100 elements within each other"},
		"XML, deep in a bar":       {full(head, "<a>", ""), "more than 100 elements within each other"},
		"XML, a bar of elements":   {full(head+notesXML, "<a/>", "</measure></part></score-partwise>"), "more than 50000"},
		"XML, empty parts":         {full(musicXMLHead, "<part/>", "</score-partwise>"), "more than 1024 parts"},
		"XML, a name of elements":  {full("<score-partwise><part-list><score-part>", "<a/>", ""), "more than 50000"},
		"XML, empty bars":          {full(head+notesXML+"</measure>", "<measure/>", "</part></score-partwise>"), "more than 10000 bars"},
		"XML, notes":               {full(head, notesXML, "</measure></part></score-partwise>"), ""},
		"XML, voices":              {full(head+notesXML, "<note/>", "</measure></part></score-partwise>"), "more than 50000"},
		"XML, attributes":          {full("<score-partwise ", `a="" `, ">"), "line 1: an element with more than 64 KiB"},
		"XML, one text":            {full(head+"<harmony>", "a", "</harmony></measure></part></score-partwise>"), "no notes"},
		"XML, an entity":           {full(head+"<words>", "&#x1d10b;", "</words></measure></part></score-partwise>"), "no notes"},
		"MXL, deep":                {pack(full("<score-partwise>", "<a>", "")), "more than 100 elements"},
		"MXL, a bar of elements":   {pack(full(head+notesXML, "<a/>", "</measure></part></score-partwise>")), "more than 50000"},
		"MXL, deep container":      {string(zipped(t, map[string]string{"META-INF/container.xml": full("", "<a>", "")})), "more than 100 elements"},
		"MIDI of notes":            {smfOf("\x00\x90\x3c\x50" + strings.Repeat("\x00\x3c\x50", 100_000)), "more than 20000 notes"},
		"MIDI of key signatures":   {smfOf(oneNote + strings.Repeat("\x00\xff\x59\x02\x01\x00\x00\xff\x59\x02\x00\x00", 60_000)), ""},
		"MIDI of tracks":           {smfOf(strings.Split(strings.Repeat(oneNote+"!", 1000), "!")...), ""},
		"MIDI of texts":            {smfOf(oneNote + strings.Repeat("\x00\xff\x05\x01a", 160_000)), ""},
		"names":                    {full("", "do ", ""), "more than 256 KiB"},
		"names, 256 KiB":           {strings.Repeat("do ", maxNames/3), "more than 20000"},
		"bridges":                  {strings.Repeat("|do/sol |sol/do ", 9500), ""},
		"pulses":                   {strings.Repeat("|", maxNames-8) + "do", ""},
	} {
		t.Run(name, func(t *testing.T) {
			n, err := allocated(t, c.data)
			t.Logf("%d MiB: %v", n>>20, err)
			if n > 128*size {
				t.Errorf("%d MiB were set aside", n>>20)
			}
			if c.want != "" && (!errors.Is(err, ErrNotation) || !strings.Contains(err.Error(), c.want)) {
				t.Errorf("%v; want %q", err, c.want)
			}
		})
	}
}
