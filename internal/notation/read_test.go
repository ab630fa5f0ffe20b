package notation

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"singback/internal/engrave"
	"singback/theory"
)

// show writes a line shortly: pitches and lengths.
func show(s theory.Score) string {
	var out []string
	at, over := zero, s.Symbols
	for _, n := range s.Notes {
		text := n.Pitch.ASCII()
		if n.Rest {
			text = "z"
		}
		end := at.Plus(n.Length)
		for ; len(over) > 0 && over[0].At.Less(end); over = over[1:] {
			if at.Less(over[0].At) {
				text += "+" + over[0].At.Minus(at).String()
			}
			text += "[" + over[0].ASCII() + "]"
		}
		at = end
		text += ":" + n.Length.String()
		if n.Slur {
			text += "("
		}
		if n.Words != "" {
			text += " " + n.Words
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// Read by hand from the ABC standard, version 2.1 (abcnotation.com), chapters 3
// to 5 and 7: lengths, accidentals to the end of the bar, broken rhythm, tuplets,
// ties, repeats and endings, words.
func TestReadABC(t *testing.T) {
	for _, c := range []struct {
		name, body, want, warning string
	}{
		{"lengths", "L:1/4\nK:C\nC c' C, C2 C/ C// C3/2 C/4|", "C4:1, C6:1, C3:1, C4:2, C4:1/2, C4:1/4, C4:3/2, C4:1/4", ""},
		{"default length", "M:2/4\nK:C\nCCCC CCCC|", "C4:1/4, C4:1/4, C4:1/4, C4:1/4, C4:1/4, C4:1/4, C4:1/4, C4:1/4", ""},
		{"signature and bar-wide accidentals, all octaves", "L:1/4\nM:4/4\nK:D\nF =F f F|F4|", "F#4:1, F4:1, F5:1, F4:1, F#4:4", ""},
		{"accidentals of one octave", "%%propagate-accidentals octave\nL:1/4\nM:4/4\nK:D\nF =F f F|", "F#4:1, F4:1, F#5:1, F4:1", ""},
		{"double signs", "L:1/4\nK:C\n^^F __B ^F _e", "F##4:1, Bbb4:1, F#4:1, Eb5:1", ""},
		{"broken rhythm", "L:1/4\nK:C\nA>B A<B A>>B", "A4:3/2, B4:1/2, A4:1/2, B4:3/2, A4:7/4, B4:1/4", ""},
		{"triplet", "L:1/8\nM:2/4\nK:C\n(3CDE C2|", "C4:1/3, D4:1/3, E4:1/3, C4:1", ""},
		{"tuplet with numbers", "L:1/8\nM:6/8\nK:C\n(2CD (3:2:2G4c2|", "C4:3/4, D4:3/4, G4:4/3, C5:2/3", "lasts"},
		{"ties over the bar line keep the accidental", "L:1/4\nM:2/4\nK:C\nC ^F-|F F|", "C4:1, F#4:2, F4:1", ""},
		{"slur", "L:1/4\nK:C\n(CDE) F", "C4:1(, D4:1(, E4:1, F4:1", ""},
		{"rests", "L:1/4\nM:2/4\nK:C\nC z|Z2|x C|", "C4:1, z:6, C4:1", ""},
		{"repeat", "L:1/4\nM:2/4\nK:C\nC D:|E F|", "C4:1, D4:1, C4:1, D4:1, E4:1, F4:1", ""},
		{"repeat from a sign", "L:1/4\nM:1/4\nK:C\nC|:D:|E::F:|", "C4:1, D4:1, D4:1, E4:1, E4:1, F4:1, F4:1", ""},
		{"endings", "L:1/4\nM:1/4\nK:C\n|:C|1 D:|2 E|]F|", "C4:1, D4:1, C4:1, E4:1, F4:1", ""},
		{"endings with two bars", "L:1/4\nM:1/4\nK:C\n|:C|1 D|D:|2 E|E|]", "C4:1, D4:1, D4:1, C4:1, E4:1, E4:1", ""},
		{"words", "L:1/4\nK:C\nCDEF\nw:A-ve Ma~ri *", "C4:1 A-, D4:1 ve, E4:1 Ma ri, F4:1", ""},
		{"key and meter inside", "L:1/4\nM:2/4\nK:C\nF2|[K:G][M:3/4]F3|", "F4:2, F#4:3", ""},
		{"decorations and chord symbols", "L:1/4\nK:C\n\"Am\"!f!.A ~B", "A4[Am]:1, B4:1", ""},
		// Chord symbols (4.18): before their note, within a chord of notes; annotations (4.19) are no chord symbols.
		{"chord symbols", "L:1/4\nM:4/4\nK:C\n\"Gm7/Bb\"G \"A7\"A2 \"Bb\"z|\"F\"[\"C\"FA]4|", "G4[Gm7/Bb]:1, A4[A7]:2, z[Bb]:1, A4[F]:4", "of a chord only its highest note"},
		{"chord symbols over a held note", "L:1/4\nM:4/4\nK:C\n\"C\"c2-\"G7/B\"c2-|\"Am\"c>\"F\"d c2|", "C5[C]+2[G7/B]+4[Am]:11/2, D5[F]:1/2, C5:2", ""},
		{"a chord symbol before the bar line", "L:1/4\nM:2/4\nK:C\nC2\"G\"|D2|", "C4:2, D4[G]:2", ""},
		{"chord symbols in repeats", "L:1/4\nM:1/4\nK:C\n|:\"C\"C|1 \"G\"D:|2 \"F\"E|]", "C4[C]:1, D4[G]:1, C4[C]:1, E4[F]:1", ""},
		{"chord symbols of a pickup joined at a repeat", "L:1/4\nM:3/4\nK:C\n\"G\"G|\"C\"C2\"F\":|", "G4[G]:1, C4[C]:2, G4[G]:1, C4[C]:2", `the chord symbol "F" behind the last note was left out`},
		{"a chord symbol that is none", "L:1/4\nK:C\n\"N.C.\"C \"H7\"D \"H7\"E", "C4[N.C.]:1, D4[H7]:1, E4[H7]:1", `line 4: the chord symbol "H7" is not understood: it is kept as text`},
		{"a chord symbol behind the end", "L:1/4\nK:C\nC \"G\"|]", "C4:1", `the chord symbol "G" behind the last note`},
		{"annotations", "L:1/4\nK:C\n\"^slow\"C \"_C\"D \"<(\"E", "C4:1, D4:1, E4:1", `line 4: words above and below the notes, like "^slow"`},
		{"a chord", "L:1/4\nK:C\n[CEG]2 [^G,B,]", "G4:2, B3:1", "line 4: of a chord only its highest note"},
		{"grace notes", "L:1/4\nK:C\n{g}A", "A4:1", "grace notes"},
		{"two voices", "L:1/4\nK:C\nV:1\nCD\nV:2\nEF", "C4:1, D4:1", "of 2 voices"},
		{"comments", "L:1/4\nK:C % major\nC % no D\n%E\nF", "C4:1, F4:1", ""},
		{"minor mode", "L:1/4\nK:Ador\nF c", "F#4:1, C5:1", ""},
		// Variant endings (4.9, 4.10): as many passes as the endings name, each with its own.
		{"endings with lists", "L:1/4\nM:1/4\nK:C\n|:C|1,3 G:|2 A:|4 B|]", "C4:1, G4:1, C4:1, A4:1, C4:1, G4:1, C4:1, B4:1", ""},
		{"endings with ranges", "L:1/4\nM:1/4\nK:C\n|:C|[1-3 G:|[4 A|]B|", "C4:1, G4:1, C4:1, G4:1, C4:1, G4:1, C4:1, A4:1, B4:1", ""},
		{"endings out of order", "L:1/4\nM:1/4\nK:C\n|:C|2,4 G:|1,3 A:|]B|", "C4:1, A4:1, C4:1, G4:1, C4:1, A4:1, C4:1, G4:1, B4:1", ""},
		{"an ending alone", "L:1/4\nM:1/4\nK:C\n|:C|1 G:|A|", "C4:1, G4:1, C4:1, A4:1", ""},
		{"a sign after the last ending too", "L:1/4\nM:1/4\nK:C\n|:C|1 G:|2 A:|B|", "C4:1, G4:1, C4:1, A4:1, B4:1", ""},
		{"endings in words", "L:1/4\nM:1/4\nK:C\nC[\"1\" G:|[\"2\"A|]", "C4:1, G4:1, C4:1, A4:1", ""},
		{"endings in words with points and lists", "L:1/4\nM:1/4\nK:C\nC[\"1.,3.\" G:|[\"2nd time\"A:|[\"last\" B|]", "C4:1, G4:1, C4:1, A4:1, C4:1, G4:1, C4:1, B4:1", `line 5: the ending "last" is read as the one of pass 4`},
		{"an ending within a bar", "L:1/4\nM:3/4\nK:C\nE3|:^C D [1 C:|[2 C|]", "E4:3, C#4:1, D4:1, C#4:1, C#4:1, D4:1, C4:1", ""},
		{"an ending that is missing", "L:1/4\nM:1/4\nK:C\nC|1 G:|3 A|]", "C4:1, G4:1, C4:1, C4:1, A4:1", "no ending is for pass 2 of 3"},
		{"three times", "L:1/4\nM:1/4\nK:C\n|::C::|D|", "C4:1, C4:1, C4:1, D4:1", ""},
		{"a chord with its symbol within", "L:1/4\nK:C\n[\"Am\"CE] [!f!CE]", "E4[Am]:1, E4:1", "of a chord only"},
		// A repeat without a start goes back to the latest double bar or end of a repeat (4.8).
		{"from a double bar", "L:1/4\nM:1/4\nK:C\nC||D:|E:|", "C4:1, D4:1, D4:1, E4:1, E4:1", ""},
		{"from a sign before a double bar", "L:1/4\nM:1/4\nK:C\nA|:C||D:|", "A4:1, C4:1, D4:1, C4:1, D4:1", ""},
		{"a line that is no field", "L:1/4\nM:1/4\nK:C\n|:C|1 D|\nG:|2 A|]", "C4:1, D4:1, G4:1, C4:1, A4:1", ""},
		// Symbols (4.16): what a program does not know it ignores; so the reserved signs (8.1).
		{"a symbol that is not defined", "L:1/4\nK:C\nkC D hE", "C4:1, D4:1, E4:1", `line 4: the symbol 'k'`},
		{"a symbol that is", "U: k = !wedge!\nL:1/4\nK:C\nkC kD", "C4:1, D4:1", ""},
		{"a symbol that means nothing", "U:k=\nL:1/4\nK:C\nkC kD", "C4:1, D4:1", `line 2: U: "k=" defines no symbol`},
		{"a symbol for a jump", "U:k=!D.C.!\nL:1/4\nK:C\nC kD", "C4:1, D4:1", `line 5: "D.C." is not followed`},
		{"all symbols", "L:1/4\nK:C\nHC IC JC KC LC MC NC PC QC RC TC UC VC WC hC iC jC lC mC nC oC pC qC rC sC tC uC vC wC ~C", strings.TrimSuffix(strings.Repeat("C4:1, ", 30), ", "), `'I'`},
		{"a tick within a slur", "L:1/4\nK:C\n('C D) ,E", "C4:1(, D4:1, E4:1", `line 4: '\'' without a note`},
		{"reserved signs", "L:1/4\nK:C\n#C *D ;E ?F @G", "C4:1, D4:1, E4:1, F4:1, G4:1", `'#' means nothing`},
		{"space", "L:1/4\nK:C\nC y D y2 E", "C4:1, D4:1, E4:1", ""},
		{"a slur that was not begun", "L:1/4\nK:C\nC) D", "C4:1, D4:1", "line 4: a slur ends"},
		{"a sign of an old line break", "L:1/4\nK:C\nC D!\nE", "C4:1, D4:1, E4:1", "line 4: '!'"},
		{"a clef alone", "L:1/4\nK:G\nF [K:clef=bass] F [K:none] F", "F#4:1, F#4:1, F4:1", "the key changes within a bar"},
		{"text between", "L:1/4\nK:C\nC\n%%begintext\nSome words\n%%endtext\nD", "C4:1, D4:1", ""},
		{"a transposing voice", "L:1/4\nK:C\nV:1 octave=-1\nC", "C4:1", "octave="},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, warnings, err := Parse("x.abc", []byte("X:1\n"+c.body+"\n"), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if got := show(s); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
			if c.warning == "" && len(warnings) > 0 || c.warning != "" && (len(warnings) == 0 || !strings.Contains(string(warnings[0]), c.warning)) {
				t.Errorf("warnings %v, want %q", warnings, c.warning)
			}
		})
	}
	s, _, err := Parse("x.abc", []byte("X:1\nT:Tune\nM:6/8\nL:1/8\nQ:3/8=40\nK:Em\nV:low\nE,3|\nV:high\nB|e3 e2f|"), Options{Voice: "high"})
	if err != nil || show(s) != "B4:1/2, E5:3/2, E5:1, F#5:1/2" || s.Tempo != 40 || s.Title != "Tune" || s.Start != theory.NewFraction(1, 2) || s.Key.String() != "E minor" {
		t.Errorf("%v %v", s, err)
	}
}

// By the ABC standard, version 2.1, 4.14, and as they are printed (common
// practice): whatever sends the player elsewhere is said, with its line.
func TestJumpsAreNamed(t *testing.T) {
	for _, mark := range []string{"!D.C.!", "!D.S.!", "!D.C.alfine!", "!D.C.alcoda!", "!D.S.alfine!", "!D.S.alcoda!", "!dacapo!", "!dacoda!", "!fine!", "!segno!", "!coda!", "!FINE!", "!D.C. al fine!",
		"+D.C.+", "+fine+", `"D.C."`, `"^D.C. al Fine"`, `"_Fine"`, `"@0,5 Dal Segno al Coda"`, `"To Coda"`, `"DS al coda"`, `"^𝄋"`, "S", "O"} {
		_, warnings, err := Parse("x.abc", []byte("X:1\nL:1/4\nK:C\nC D\nE "+mark+"F|\n"), Options{})
		if err != nil || len(warnings) != 1 || !strings.HasPrefix(string(warnings[0]), "line 5: ") || !strings.Contains(string(warnings[0]), "is not followed") {
			t.Errorf("%s: %v %v", mark, warnings, err)
		}
	}
	for _, mark := range []string{"!f!", "!fermata!", "!trill!", "!dacc!", `"^finely"`, `"D"`, `"Dsus4"`, `"^decoda"`} {
		if _, warnings, _ := Parse("x.abc", []byte("X:1\nL:1/4\nK:C\nC D\nE "+mark+"F|\n"), Options{}); len(warnings) > 0 && strings.Contains(string(warnings[0]), "not followed") {
			t.Errorf("%s: %v", mark, warnings)
		}
	}
}

const musicXMLHead = `<?xml version="1.0"?><!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">
<score-partwise version="3.1"><part-list><score-part id="P1"><part-name>Alto</part-name></score-part><score-part id="P2"><part-name>Bass</part-name></score-part></part-list>`

// By the MusicXML 4.0 tutorial and reference (W3C): the "hello world" score,
// backup and forward, voices, chords, repeats.
func TestReadMusicXML(t *testing.T) {
	attributes := `<attributes><divisions>2</divisions><key><fifths>2</fifths></key><time><beats>2</beats><beat-type>4</beat-type></time></attributes>`
	n := func(step string, duration, voice, more string) string {
		return `<note><pitch><step>` + step + `</step><octave>4</octave></pitch><duration>` + duration + `</duration><voice>` + voice + `</voice>` + more + `</note>`
	}
	bar := func(number, content string) string {
		return `<measure number="` + number + `">` + content + `</measure>`
	}
	for _, c := range []struct {
		name, parts, voice, want, warning string
	}{
		{"hello world", `<part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time>
<clef><sign>G</sign><line>2</line></clef></attributes><note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note></measure></part>`, "", "C4:4", ""},
		{"a second voice", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")+`<backup><duration>4</duration></backup>`+n("E", "2", "2", "")+n("F", "2", "2", "")) + `</part>`, "", "C4:2", "of 2 voices with notes (1, 2)"},
		{"the second voice", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")+`<backup><duration>4</duration></backup><forward><duration>1</duration></forward>`+n("E", "1", "2", "")+n("F", "2", "2", "")) + `</part>`, "P1:2", "z:1/2, E4:1/2, F4:1", ""},
		{"the second part", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")) + `</part><part id="P2">` + bar("1", attributes+n("D", "4", "1", "")) + `</part>`, "bass", "D4:2", ""},
		{"a chord", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")+`<note><chord/><pitch><step>G</step><octave>4</octave></pitch><duration>4</duration></note>`) + `</part>`, "", "G4:2", "bar 1: of a chord"},
		{"tie, words, slur", `<part id="P1">` + bar("1", attributes+n("C", "2", "1", `<notations><slur type="start"/></notations><lyric><syllabic>begin</syllabic><text>A</text></lyric>`)+n("D", "2", "1", `<tie type="start"/>`)) +
			bar("2", n("D", "2", "1", `<tie type="stop"/><notations><slur type="stop"/></notations>`)+`<note><rest/><duration>2</duration></note>`) + `</part>`, "", "C4:1( A-, D4:2, z:1", ""},
		{"repeat with endings", `<part id="P1">` + bar("1", attributes+`<barline location="left"><repeat direction="forward"/></barline>`+n("C", "4", "1", "")) +
			bar("2", `<barline location="left"><ending number="1" type="start"/></barline>`+n("D", "4", "1", "")+`<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>`) +
			bar("3", `<barline location="left"><ending number="2" type="start"/></barline>`+n("E", "4", "1", "")+`<barline location="right"><ending number="2" type="discontinue"/></barline>`) + bar("4", n("F", "4", "1", "")) + `</part>`,
			"", "C4:2, D4:2, C4:2, E4:2, F4:2", ""},
		{"endings with lists, four times", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")) +
			bar("2", `<barline location="left"><ending number="1, 3" type="start"/></barline>`+n("D", "4", "1", "")+`<barline location="right"><ending number="1, 3" type="stop"/><repeat direction="backward"/></barline>`) +
			bar("3", `<barline location="left"><ending number="2" type="start"/></barline>`+n("E", "4", "1", "")+`<barline location="right"><ending number="2" type="stop"/><repeat direction="backward"/></barline>`) +
			bar("4", `<barline location="left"><ending number="4" type="start"/></barline>`+n("F", "4", "1", "")+`<barline location="right"><ending number="4" type="stop"/></barline>`) + bar("5", n("G", "4", "1", "")) + `</part>`,
			"", "C4:2, D4:2, C4:2, E4:2, C4:2, D4:2, C4:2, F4:2, G4:2", ""},
		{"chord symbols", `<part id="P1">` + bar("1", attributes+`<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>`+n("C", "4", "1", "")+`<harmony><root><root-step>F</root-step></root><kind>major</kind></harmony>`) + `</part>`, "", "C4[C]:2", `the chord symbol "F" behind the last note`},
		{"Fine in words", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")+`<direction><direction-type><words>Fine</words></direction-type></direction>`) + `</part>`, "", "C4:2", `bar 1: "Fine" is not followed`},
		{"D.C. in words and sound", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")+`<direction><direction-type><words>D.C. al Fine</words></direction-type><sound dacapo="yes"/></direction>`) + `</part>`, "", "C4:2", `bar 1: "D.C. al Fine" is not followed`},
		{"dal segno", `<part id="P1">` + bar("1", attributes+`<sound dalsegno="1"/>`+n("C", "4", "1", "")) + `</part>`, "", "C4:2", `bar 1: dalsegno is not followed`},
		{"a sign of segno", `<part id="P1">` + bar("1", attributes+`<direction><direction-type><segno/></direction-type></direction>`+n("C", "4", "1", "")) + `</part>`, "", "C4:2", `bar 1: segno is not followed`},
		{"a coda at the bar line", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")+`<barline><coda/></barline>`) + `</part>`, "", "C4:2", `bar 1: coda is not followed`},
		{"words that are no jump", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")+`<direction><direction-type><words>dolce</words></direction-type></direction>`) + `</part>`, "", "C4:2", ""},
		{"bars of rest before", `<part id="P1">` + bar("1", attributes+`<note><rest measure="yes"/><duration>4</duration></note>`) + bar("2", `<forward><duration>4</duration></forward>`) + bar("3", n("C", "4", "1", "")) + `</part>`, "", "z:4, C4:2", ""},
		{"an empty bar before", `<part id="P1">` + bar("1", attributes) + bar("2", n("C", "4", "1", "")) + `</part>`, "", "z:2, C4:2", "bar 1: it is empty: read as a bar of rest"},
		{"the first voice rests before", `<part id="P1">` + bar("1", attributes+`<note><rest/><duration>4</duration><voice>1</voice></note><backup><duration>4</duration></backup>`+n("C", "4", "5", "")) +
			bar("2", n("D", "4", "1", "")+`<backup><duration>4</duration></backup>`+n("E", "4", "5", "")) + `</part>`, "", "z:2, D4:2", "of 2 voices with notes (1, 5)"},
		{"a voice of rests alone", `<part id="P1">` + bar("1", attributes+`<note><rest/><duration>4</duration><voice>1</voice></note><backup><duration>4</duration></backup>`+n("C", "4", "5", "")) + `</part>`, "", "C4:2", ""},
		{"the second part with notes", `<part id="P1">` + bar("1", attributes+n("C", "4", "1", "")) + `</part><part id="P9">` + bar("1", attributes+`<note><rest/><duration>4</duration></note>`) + `</part><part id="P2">` + bar("1", attributes+n("D", "4", "1", "")) + `</part>`, "2", "D4:2", ""},
		{"grace note", `<part id="P1">` + bar("1", attributes+`<note><grace/><pitch><step>E</step><octave>4</octave></pitch></note>`+n("C", "4", "1", "")) + `</part>`, "", "C4:2", "bar 1: grace notes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := musicXMLHead + c.parts + "</score-partwise>"
			for _, data := range [][]byte{[]byte(text), zipped(t, map[string]string{"META-INF/container.xml": `<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>`, "a.xml": text})} {
				s, warnings, err := Parse("x", data, Options{Voice: c.voice})
				if err != nil {
					t.Fatal(err)
				}
				if got := show(s); got != c.want {
					t.Errorf("got  %s\nwant %s", got, c.want)
				}
				if c.warning == "" && len(warnings) > 0 || c.warning != "" && (len(warnings) != 1 || !strings.Contains(string(warnings[0]), c.warning)) {
					t.Errorf("warnings %v, want %q", warnings, c.warning)
				}
			}
		})
	}
}

// Parts, voices and tracks are counted where they have notes; an id or a name
// goes before a number, and a message lists what there is.
func TestVoices(t *testing.T) {
	abc := "X:1\nL:1/4\nK:C\nV:S name=\"High\"\nC|\nV:T\nz|\nV:3 nm=Low\nE|\n"
	for voice, want := range map[string]string{"": "C4:1", "1": "C4:1", "2": "E4:1", "3": "E4:1", "s": "C4:1", "high": "C4:1", "low": "E4:1",
		"T": `the voice "T" has no notes; those with notes are 1 ("S", "High"), 3 ("Low")`, "4": `there is no voice "4"; those with notes are 1`, "0": "there is no voice"} {
		s, _, err := Parse("x.abc", []byte(abc), Options{Voice: voice})
		if got := show(s); err == nil && got != want || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %s, %v; want %s", voice, got, err, want)
		}
	}
}

// XML says its character set, by a mark or in words (XML 1.0, 4.3.3 and appendix
// F); text of other kinds has a mark or none.
func TestCharacterSets(t *testing.T) {
	score := func(charset string) string {
		return `<?xml version="1.0" encoding="` + charset + `"?><score-partwise><work><work-title>É ‘𝄞</work-title></work><part-list/><part id="P1"><measure number="1"><note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note></measure></part></score-partwise>`
	}
	wide := func(s string, order binary.AppendByteOrder, mark bool) string {
		var b []byte
		if mark {
			b = order.AppendUint16(b, 0xfeff)
		}
		for _, u := range utf16.Encode([]rune(s)) {
			b = order.AppendUint16(b, u)
		}
		return string(b)
	}
	bytewise := func(s string) string { // É and ‘ in Windows-1252
		return strings.NewReplacer("É", "\xc9", "‘", "\x91", "𝄞", "").Replace(s)
	}
	abc := "X:1\nT:É ‘𝄞\nL:1/4\nK:C\nC\n"
	for name, c := range map[string]struct{ data, title string }{
		"UTF-8":                        {score("UTF-8"), "É ‘𝄞"},
		"UTF-8 with a mark":            {"\ufeff" + score("utf-8"), "É ‘𝄞"},
		"UTF-16, little end first":     {wide(score("UTF-16"), binary.LittleEndian, true), "É ‘𝄞"},
		"UTF-16, big end first":        {wide(score("utf-16"), binary.BigEndian, true), "É ‘𝄞"},
		"UTF-16LE in words too":        {wide(score("UTF-16LE"), binary.LittleEndian, true), "É ‘𝄞"},
		"UTF-16 without a mark":        {wide(score("UTF-16"), binary.LittleEndian, false), "É ‘𝄞"},
		"UTF-16BE without a mark":      {wide(score("UTF-16BE"), binary.BigEndian, false), "É ‘𝄞"},
		"ISO-8859-1":                   {bytewise(score("ISO-8859-1")), "É ‘"},
		"Windows-1252":                 {bytewise(score("windows-1252")), "É ‘"},
		"zipped":                       {string(zipped(t, map[string]string{"META-INF/container.xml": `<container><rootfiles><rootfile full-path="a"/></rootfiles></container>`, "a": wide(score("UTF-16"), binary.LittleEndian, true)})), "É ‘𝄞"},
		"ABC in UTF-8":                 {abc, "É ‘𝄞"},
		"ABC in UTF-8 with a mark":     {"\ufeff" + abc, "É ‘𝄞"},
		"ABC in UTF-16":                {wide(abc, binary.LittleEndian, true), "É ‘𝄞"},
		"ABC in UTF-16, big end first": {wide(abc, binary.BigEndian, true), "É ‘𝄞"},
		"ABC in Windows-1252":          {bytewise(abc), "É ‘"},
	} {
		s, _, err := Parse("x", []byte(c.data), Options{})
		if err != nil || s.Title != c.title || show(s) != "C4:1" {
			t.Errorf("%s: %q, %s, %v; want %q", name, s.Title, show(s), err, c.title)
		}
	}
	for name, c := range map[string]struct{ data, want string }{
		"another one":        {score("UTF-7"), `character set "utf-7"; want UTF-8`},
		"UTF-16 in words":    {score("UTF-16"), `character set "utf-16"`},
		"half a character":   {wide(score("UTF-16"), binary.LittleEndian, true) + "<", "in the middle of a character"},
		"half of a pair":     {"\xff\xfe<\x00\x34\xd8a\x00", "half a character"},
		"UTF-8 that is none": {strings.Replace(score("UTF-8"), "É", "\xc9", 1), "line 1: invalid UTF-8"},
	} {
		if _, _, err := Parse("x", []byte(c.data), Options{}); !errors.Is(err, ErrNotation) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; want %q", name, err, c.want)
		}
	}
}

func zipped(t testing.TB, files map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range files {
		w, err := z.Create(name)
		if err == nil {
			_, err = w.Write([]byte(text))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What cannot be read is refused with a line that says where.
func TestRefusals(t *testing.T) {
	container := func(path string) string {
		return `<container><rootfiles><rootfile full-path="` + path + `"/></rootfiles></container>`
	}
	bomb := strings.Repeat(" ", MaxFile+10)
	for _, c := range []struct {
		name, data, want string
	}{
		{"empty", "", "no notes"},
		{"not a name", "do re lu", "column 7"},
		{"ABC without a key", "X:1\nT:x\n", "no K: field"},
		{"ABC, a stray sign", "X:1\nL:1/4\nK:C\nC D 4\n", "line 4, column 5"},
		{"ABC, a bad key", "X:1\nK:H\n", `line 2: K:"H" is no key`},
		{"ABC, a bad meter", "X:1\nM:4/3\nK:C\nC", "line 2: M:"},
		{"ABC, an unfinished field", "X:1\nK:C\nC[K:G", "is missing"},
		{"ABC, a quarter tone", "X:1\nK:C\n^/C", "quarter tones"},
		{"ABC, a seventh of a beat", "X:1\nK:C\n(7CDEFGAB", "only halves, thirds and fifths"},
		{"ABC, no such length", "X:1\nK:C\nC/0", "divided by"},
		{"XML that ends early", musicXMLHead + "<part id='P1'><measure number='1'>", "line 2"},
		{"XML with an entity", `<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><score-partwise><part-list/><part id="P1"><measure number="1">&b;</measure></part></score-partwise>`, "invalid character entity"},
		{"other XML", "<html></html>", "no score-partwise"},
		{"timewise", "<score-timewise></score-timewise>", "score-timewise"},
		{"a note without end", musicXMLHead + `<part id="P1"><measure number="7"><note><pitch><step>C</step><octave>4</octave></pitch><duration>99999999999</duration></note></measure></part></score-partwise>`, `bar 7: a duration of`},
		{"going back too far", musicXMLHead + `<part id="P1"><measure number="2"><backup><duration>4</duration></backup><note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note></measure></part></score-partwise>`, "bar 2: it goes back"},
		{"no zip", "PK\x03\x04aaaa", "is none"},
		{"zip without a container", string(zipped(t, map[string]string{"a": "b"})), "META-INF/container.xml"},
		{"zip without its score", string(zipped(t, map[string]string{"META-INF/container.xml": container("../../etc/passwd")})), "etc/passwd"},
		{"zip of much nothing", string(zipped(t, map[string]string{"META-INF/container.xml": container("a"), "a": bomb})), "more than 8 MiB"},
		{"MIDI cut short", "MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0MTrk\x7f\xff\xff\xff\x00", "cut short"},
		{"MIDI of nothing", "MThd", "MIDI"},
	} {
		s, _, err := Parse("x", []byte(c.data), Options{})
		if !errors.Is(err, ErrNotation) || !strings.Contains(err.Error(), c.want) || len(err.Error()) > 400 || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, %v; want a line with %q", c.name, s, err, c.want)
		}
	}
	for _, c := range []struct{ data, voice string }{
		{"X:1\nK:C\nC", "alto"}, {musicXMLHead + "<part id='P1'><measure><note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note></measure></part></score-partwise>", "P7"},
	} {
		if _, _, err := Parse("x", []byte(c.data), Options{Voice: c.voice}); err == nil || !strings.Contains(err.Error(), c.voice) {
			t.Errorf("voice %s: %v", c.voice, err)
		}
	}
}

// Everything that is read is written and read back as the same.
// odd reports whether a chord symbol is text that ABC has another meaning for.
func odd(s theory.Score) bool {
	return slices.ContainsFunc(s.Symbols, func(c theory.ChordSymbol) bool { return c.Text != "" })
}

func FuzzRead(f *testing.F) {
	for _, s := range append(melodies(f, 1), decorated(f)...) {
		for _, format := range []Format{ABC, MusicXML, MIDI} {
			var b bytes.Buffer
			if err := Write(&b, s, format); err != nil {
				f.Fatal(err)
			}
			f.Add(b.Bytes(), "")
		}
	}
	f.Add([]byte("X:1\nM:6/8\nL:1/8\nK:Ador\n|:\"Am\"(3ABc d>e|1 {g}^f2-f:|2 [CE]z Z2|]\nw:a-b c_*\n"), "1")
	f.Add([]byte(musicXMLHead+`<part id="P1"><measure number="1"><note><rest/><duration>1</duration></note><backup><duration>1</duration></backup></measure></part></score-partwise>`), "P1:2")
	f.Add([]byte("| d :r | m :f | s :- ||"), "")
	f.Add([]byte("X:1\nM:4/4\nL:1/8\nK:C\n\"C\"c4-\"G/B\"c4|(3\"Am\"AB\"F\"c \"N.C.\"z2 \"H7%\"z4|]\nw:a-b c_*\n"), "")
	f.Add([]byte(musicXMLHead+`<part id="P1"><measure number="1"><harmony><root><root-step>F</root-step><root-alter>1</root-alter></root><kind text="7alt">dominant</kind><bass><bass-step>C</bass-step></bass><degree><degree-value>9</degree-value><degree-alter>-1</degree-alter><degree-type>add</degree-type></degree><offset>1</offset></harmony><note><pitch><step>C</step><octave>4</octave></pitch><duration>2</duration></note></measure></part></score-partwise>`), "")
	f.Add([]byte("X:1\nU:k=!fine!\nL:1/4\nK:C clef=bass\nV:1\n|:kC[1,3 \"Am\"G:|[\"2\"A:|[4-5 B||!D.C.!z;h?D:|]\nV:2\nG:|2 [!f!(CE])\n"), "2")
	f.Add([]byte(smfOf("\x00\xff\x03\x05tempo"+endOfTrack, oneNote+"\x00\x90\x3e\x50\x60\x3e\x00\x00\xf0\x01\xf7"+endOfTrack)), "1")
	f.Add([]byte("\xff\xfe<\x00s\x00c\x00o\x00r\x00e\x00-\x00p\x00a\x00r\x00t\x00w\x00i\x00s\x00e\x00/\x00>\x00"), "")
	f.Add([]byte(musicXMLHead+`<part id="P1"><measure><harmony/><forward><duration>1</duration></forward></measure><measure number="2"><barline><ending number="1, 3" type="start"/><repeat direction="forward"/></barline><note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note><barline><ending type="stop"/><repeat direction="backward" times="4"/></barline></measure></part></score-partwise>`), "")
	f.Add(zipped(f, map[string]string{"META-INF/container.xml": `<container><rootfiles><rootfile full-path="a"/></rootfiles></container>`, "a": musicXMLHead}), "")
	f.Fuzz(func(t *testing.T, data []byte, voice string) {
		s, _, err := Parse("x.abc", data, Options{Voice: voice})
		if err != nil {
			if !errors.Is(err, ErrNotation) || len(err.Error()) > 1000 {
				t.Errorf("%d bytes: %v", len(err.Error()), err)
			}
			return
		}
		if _, err := engrave.Text(s, engrave.View{Labels: s.Labels(theory.Movable, false)}); err != nil && !errors.Is(err, ErrNotation) {
			t.Error(err)
		}
		if _, err := engrave.SVG(s, engrave.View{}); err != nil && !errors.Is(err, ErrNotation) {
			t.Error(err)
		}
		for _, format := range []Format{ABC, MusicXML} {
			var b bytes.Buffer
			if err := Write(&b, s, format); err != nil {
				if !errors.Is(err, ErrNotation) {
					t.Error(err)
				}
				continue
			}
			again, _, err := Parse("x", b.Bytes(), Options{})
			if err != nil {
				t.Fatalf("%v: %v\n%s", format, err, b.String())
			}
			if pitches(again) != pitches(s) || again.Length() != s.Length() || len(again.Symbols) != len(s.Symbols) && !odd(s) {
				t.Errorf("%v: %s\nwas %s", format, show(again), show(s))
			}
		}
	})
}
