package theory

// Which chord follows which in 96 congregational hymns of the Open Hymnal
// Project, all in the public domain: 84 in major, 12 in minor. They were read off
// the four parts at every note that the bass begins. What sounds then is a chord
// where it is all notes of a triad or seventh chord, or all but the fifth of a
// seventh chord, or of a triad that stands on its root; else the line is cut
// there, and begins and ends. A chord that stays is one, and a hymn is taken in
// its last bass note's key. The tests count them again.
const (
	hymnsInMajor = `I: end 162, IV 100, I6 97, V 94, vi 66, IV64 60, V6 45, IV6 27, V7 23, ii6 23, ii42 16, I64 15, iii 11, Imaj42 10, V43 8, ii 8, ii65 7, V64 6, viio6 6, viio6/V 6, V/V 5, V42/IV 5, io 5, V65 4, ii7 4, V/vi 3, iii43 3, iii6 3, IVmaj7 2, V42 2, V7/V 2, vi6 2, vii 2, viio/IV 2, viio43/V 2, IVmaj43 1, Imaj65 1, V65/IV 1, V65/V 1, V65/ii 1, V7/IV 1, v/o42 1, vii/o43/V 1
V: I 212, vi 50, I6 32, end 24, IV 17, V42 15, ii 14, I64 7, V65 7, iii 7, IV6 5, V6 5, V7 5, ii6 3, vi42 3, iii6 2, iii64 2, vi6 2, V+ 1, V/ii 1, V6/V 1, V64/V 1, V65/V 1, V7/IV 1, iii42 1, iii7 1, vi65 1, vi7 1, vii/o43 1, viio64 1, vo 1
begin: I 166, V 42, IV 24, V7 24, I6 20, I64 15, ii6 13, vi 8, IV6 6, IV64 4, V/V 4, V64 4, V65 4, iii6 4, IVmaj7 3, V/vi 3, ii 3, iii 2, iii65 2, iii7 2, viio43/V 2, V/ii 1, V43/V 1, V7/V 1, ii42 1, ii7 1, iii64 1, vii/o43 1, vii/o65 1, viio7/V 1
IV: I 80, I6 34, end 30, I64 27, V 23, IV6 18, ii 10, vi 8, viio6 8, V42 7, ii7 6, IV64 4, IVmaj42 3, V43 3, ii6 3, ii64 3, iii6 3, V/V 2, V/vi 2, V43/ii 2, V7/V 2, ivo 2, IVmaj7 1, V7/ii 1, ii65 1, iii 1, v 1, vi43 1, vii/o43 1, viio7/V 1
I6: IV 68, I 37, V 28, end 20, vi 17, ii 15, ii6 13, ii65 9, I64 7, viio6 7, Imaj65 6, V64 6, V43 5, V7 4, ii7 3, vi65 3, III+ 2, IV6 2, Imaj7 2, V6 2, iii 2, IVmaj7 1, V6/V 1, V7/ii 1, vi6 1, vii/o65/V 1, vii65 1
vi: V 59, ii6 22, IV 20, iii 18, end 17, ii 14, V6 12, I64 11, I6 7, ii65 7, I 6, vi6 6, V/vi 5, ii43 5, V/V 4, V7/V 3, ii7 3, vi42 3, viio6 3, IV64 2, V43/V 2, V64 2, iii64 2, vi64 2, Imaj43 1, V42/ii 1, V7 1, vii 1
I64: V 42, V7 39, end 20, I 9, V42 7, I6 5, iii6 3, IV 2, vi 2, V43/V 1, ii 1, ii6 1, ii65 1, vi7 1
V7: I 79, end 19, vi 18, I64 6, iii6 4, V 3, vi7 2, V6/vi 1, ii42 1
ii6: I64 18, V 17, IV 11, vi 7, V7 6, I6 5, end 5, iii 5, V/vi 4, I 3, biio6 3, vi64 2, vii/o7/V 2, IV6 1, IVmaj7 1, V43/ii 1, iii6 1, iii65 1, vi43 1, vi6 1
V6: I 45, vi 10, end 5, V 4, V/V 4, V7 4, iii6 4, vi6 3, V43/V 2, V65 2, ii64 2, iii 2, vi7 2, I6 1, IV6 1, V64 1, V64/V 1, viio6/V 1
ii: I 19, V 12, I6 9, V6 9, I64 6, iii 6, ii6 5, vi 5, V/vi 4, V7 4, IV 3, end 3, biio6 2, IV64 1, V/ii 1, V64/ii 1, ii7 1, vi64 1
IV64: I 62, V 2, V7/IV 2, end 2, ii7 2, I6 1, I64 1, V6 1, V65 1, V7 1
IV6: I 22, V 11, V6 10, V65 6, I64 4, I6 3, IV64 3, end 3, vii/o7 3, IV 2, V6/vi 1, viio6/IV 1
iii: end 16, IV 11, vi 8, ii 4, ii6 4, vi65 4, I 3, V43 2, iii6 2, vi6 2, vi7 2, #iv7 1, I6 1, V64 1, V7/IV 1, iii42 1, viio6/V 1
V/V: V 30, V6/V 2, V7 2, end 2, iii 2, V6/iii 1, V65/V 1
V42: I6 32, end 1
V65: I 31
iii6: V7 11, vi 6, I 5, IV6 4, V/V 1, V6/vi 1, iii 1
V/vi: vi 10, IV 4, vi6 4, I 2, I6 2, V65/vi 2, V7/vi 2, ii 1
ii65: V 11, I64 4, end 3, IV 2, IVmaj7 2, V7 2, iii6 1, vi64 1
viio6: I 13, I6 4, vi64 2, IV 1, V7 1, end 1, iii7 1, vi 1, viio42/V 1
vi6: V/V 4, V64 3, end 3, ii 3, V6/ii 2, V7/V 2, vi 2, V6 1, V64/vi 1, vii 1, vii/o65 1, viio6 1
V64: V/V 6, I 5, V7/V 4, end 4, V 2, I6 1, V43 1
ii7: V 4, ii 4, I64 3, V7 3, iii 3, I 2, I6 1, bVII6 1, iii6 1
ii42: I 14, V65 4, vii7 2, V6 1
V43: I 11, I6 5, end 2, V 1
V7/V: V 12, V/V 1, iii 1
vi7: end 4, V65 3, V6 2, vi 2
IVmaj7: V 2, V/vi 2, end 2, I 1, I64 1, V7 1, ii65 1
Imaj42: vi 6, IV6 2, vii/o65/V 2
vi64: V/vi 3, vi7 3, V42/vi 2, ii7 1
V43/V: V 3, end 3, I64 2
vi65: V/V 6, ii42 2
viio6/V: V 7, V6 1
Imaj65: IV 6, ii6 1
V6/V: V 5, V42 1
vi42: IV 2, V7 2, V 1, ii6 1
V/ii: ii 3, V7/ii 1, vi 1
V42/IV: V43/V 2, IV6 1, V/ii 1, end 1
V7/IV: IV 3, end 2
V7/vi: vi 3, viio43 2
biio6: ii 3, ii6 2
ii43: V 3, I64 2
ii64: I64 2, V6 2, V/ii 1
iii64: Imaj7 2, V/iii 1, end 1, viio7 1
io: I 2, vio6 2, IV64 1
Imaj7: IV 2, vii/o65 2
iii7: V6/V 2, IV 1, vi 1
vii: I 2, V 1, vi 1
vii/o65: I6 2, III+ 1, iii 1
viio43/V: I 4
III+: V7/vi 2, IV 1
IVmaj42: ii 3
V43/ii: V/V 2, ii 1
V6/vi: V65/vi 1, V7/vi 1, vi 1
V65/V: I64 1, V42 1, end 1
V65/vi: vi 3
V7/ii: ii 2, end 1
iii43: vi 2, IV6 1
iii65: end 2, ii6 1
vii/o43: I 1, I6 1, vi64 1
vii/o65/V: V6 2, end 1
vii/o7: I 3
viio64: IV 2, I6 1
V42/vi: vi6 2
V6/ii: ii 2
V64/V: V 1, V6 1
iii42: I 1, V 1
ivo: viio64 2
vi43: ii 1, ii7 1
vii/o7/V: V 2
vii7: end 2
viio/IV: IV 2
viio43: IV 2
viio7/V: I64 2
vio6: I 2
#iv7: iii6 1
IVmaj43: ii42 1
Imaj43: IV 1
V+: I 1
V/iii: iii 1
V42/ii: ii6 1
V6/iii: iii 1
V64/ii: ii6 1
V64/vi: vi 1
V65/IV: end 1
V65/ii: V/V 1
bVII6: biio7 1
biio7: end 1
v: IV6 1
v/o42: ii6 1
vii/o43/V: I 1
vii43: V 1
vii65: vii43 1
viio42/V: V/vi 1
viio6/IV: IV 1
viio7: vi6 1
vo: V 1`

	hymnsInMinor = `i: end 17, iv 10, VII 8, III 7, V 7, VI 6, v 4, III64 3, i6 3, iio6 3, v6 3, IIImaj43 2, V6 2, ii/o7 2, iv6 2, ii/o42 1, ii42 1, iv7 1
begin: i 21, V 10, i6 6, iv 6, III 4, VII 4, III6 1, V65 1, V7 1, i42 1, i64 1
III: VI 9, i 7, iv 7, v 5, III6 4, VII 4, VII6 3, VI64 2, i6 2, iio6 2, VII65 1, end 1, iv6 1, iv65 1, iv7 1
V: i 24, VI 8, end 3, i6 2, V/iv 1
VI: III6 7, iv 7, III 6, end 3, ii/o65 3, iio6 3, III64 2, v 2, bII 1, i6 1, iv7 1
iv: end 5, i 5, v 5, III 3, V7 3, i64 3, III6 2, VII6 2, VImaj42 2, i6 2, V/iv 1, bII 1, iv6 1
VII: III 19, i 3, III6 2, end 2, iv6 1
i6: end 9, V 5, VI 2, VII 2, ii/o7 2, iv6 2, iv7 2
III6: end 5, VI 3, III 2, i 2, iio6 2, iv 2, VII7 1, iv6 1, iv7 1, vi/o7 1
v: i 6, III 3, VI 3, III6 2, end 2, i6 2
iv6: V 3, i6 2, iv7 2, v 2, III6 1, IV65 1, VII 1, end 1, iv65 1
iio6: i64 3, III 2, V 2, III6 1, i 1, i6 1
i64: V 4, end 2, ii/o65 2, i 1
iv7: VII 3, i64 2, III64 1, end 1, i6 1
III64: VII 3, end 2, iv6 1
VII6: VI6 2, i 2, III 1
ii/o65: V 5
V6: i 4
V7: i 3, VI 1
ii/o7: V 2, i6 2
iv65: VII 1, ii/o43 1, iv 1
v6: iv6 2, VI 1
IIImaj43: VI 2
V/iv: end 1, iv 1
VI6: V6 2
VI64: III 2
VImaj42: iv6 2
bII: bvii 2
bvii: VI 1, iv 1
IV65: end 1
V65: v65 1
VII65: III 1
VII7: i 1
i42: iv65 1
ii/o42: end 1
ii/o43: iv6 1
ii42: iv64 1
iv64: i 1
v65: i 1
vi/o7: VII 1`
)
