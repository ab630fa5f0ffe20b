package theory

// The rows of gospel are judgement: nothing was counted. They put in numbers what
// teachers of church piano name as usual: I and V with the third in the bass, IV
// inside I, sevenths on most chords, roots falling by fifths with a dominant
// before any of them, diminished sevenths that lead up to II, V and VI and down to
// II, I over V after ♯iv°7, V7sus4 (which is also IV over V), the back door iv to
// ♭VII7 to I, ♭VI to ♭VII to I, ♭II7 for V7 (Mulholland and Hojnacki 2013;
// Terefenko 2014).
var gospelRows = [2]counted{
	Major: {
		bass: `do 28: I 45, Imaj7 20, I7 15, IV64 12, io7 3
			ra 2: #io7 45, VI65 30, bII7 12, VI6 8
			re 10: ii7 60, II7 15, ii 12, V43 5
			me 2: biiio7 70, bIII 12
			mi 10: I6 40, iii7 25, III7 20, iii 5
			fa 16: IV 50, IVmaj7 18, iv 10, iv7 5, ii65 5, IV7 4
			fi 3: #ivo7 70, II65 12, #ivø7 10
			sol 16: V7 30, V7sus4 25, I64 20, V 15
			le 3: bVI 35, III65 30, #vo7 20, bVI7 5
			la 10: vi7 45, vi 20, VI7 20, IV6 8
			te 3: bVII 35, bVII7 30, I42 25
			ti 4: V6 55, V65 15, viiø7 12, VII7 5`,
		next: `I: IV 40, VI 15, V 14, II 10, III 8, bVII 3
			bII: II 75, I 20
			II: V 75, I 8, III 6
			bIII: II 60, I 20, III 15
			III: VI 70, IV 10, II 8
			IV: I 45, V 20, #IV 10, bVII 6, II 6
			#IV: I 45, V 35, IV 8
			V: I 72, VI 12, III 4
			bVI: bVII 45, VI 25, V 20
			VI: II 55, IV 15, V 8, III 4
			bVII: I 65, IV 10
			VII: III 45, I 20, VI 20`,
		stay: 15,
	},
	Minor: {
		bass: `do 34: i 45, i7 40, I7 5
			ra 1: bII7 50, bIImaj7 20
			re 6: iiø7 55, ii7 12, II7 8, V43 5
			me 6: bIII 45, bIIImaj7 20, i6 20
			mi 2: I65 55, #iiio7 20
			fa 14: iv7 45, iv 25, IV7 12, iiø65 6
			fi 2: #ivo7 55, II65 20, #ivø7 12
			sol 14: V7 55, V 10, V7sus4 10, v7 8, i64 8
			le 9: bVImaj7 40, bVI 30, bVI7 15, iv6 6
			la 2: viø7 35, IV6 25, IV65 20
			te 7: bVII 40, bVII7 30, v6 10, i42 6
			ti 3: viio7 45, V65 25, V6 15`,
		next: `I: IV 35, bVI 15, II 12, V 12, bVII 10
			bII: I 70, V 10
			II: V 80
			bIII: IV 30, bVI 30, II 10
			IV: V 30, I 25, bVII 20, II 6
			#IV: V 65, I 25
			V: I 75, bVI 12
			bVI: V 35, bVII 25, II 18
			VI: II 50, IV 10
			bVII: bIII 45, I 25, bVI 12
			VII: I 80`,
		stay: 15,
	},
}
