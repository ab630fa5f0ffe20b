# Reads recordings with aubio: lines of path, buffer and hop on the input; for
# each, three 32-bit floats a hop (hertz, confidence, dBFS) in a file beside it.
import struct, sys, wave
import numpy as np, aubio

method, suffix = sys.argv[1:3]
for line in sys.stdin:
    path, buffer, hop = line.rstrip("\n").split("\t")
    buffer, hop = int(buffer), int(hop)
    with wave.open(path) as w:
        rate = w.getframerate()
        x = np.frombuffer(w.readframes(w.getnframes()), dtype="<i2").astype(np.float32) / 32768
    x = np.append(x, np.zeros(buffer, dtype=np.float32))
    pitch = aubio.pitch(method, buffer, hop, rate)
    pitch.set_unit("Hz")
    pitch.set_silence(-200)
    out = []
    for at in range(0, len(x) - hop + 1, hop):
        block = x[at:at + hop]
        hz = pitch(block)[0]
        level = 10 * np.log10(np.mean(block * block) + 1e-20)
        out += [hz, pitch.get_confidence(), level]
    np.array(out, dtype="<f4").tofile(path + suffix)
