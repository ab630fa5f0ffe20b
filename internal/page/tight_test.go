package page

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"singback/internal/testkit"
)

// unpack goes the way of the worker with the page's own files: xz, then the tight form. It
// says how long each takes and how much comes of it, and whether that is a module.
const unpack = `
const fs = require("fs");
const [dir] = process.argv.slice(1);
const { XzReadableStream } = require(dir + "/xz-decompress.js");
const loosen = new Function(fs.readFileSync(dir + "/tight.js", "utf8") + "; return loosen;")();
(async () => {
  const began = performance.now();
  const tight = new Uint8Array(await new Response(new XzReadableStream(new Blob([fs.readFileSync(dir + "/engine")]).stream())).arrayBuffer());
  const unpacked = performance.now();
  const module = loosen(tight);
  const ended = performance.now();
  if (module === tight) throw new Error("the engine is packed as it is");
  if (!WebAssembly.validate(module)) throw new Error("no module");
  console.log("%d bytes packed are %d tight after %d ms, and %d after %d ms more", fs.statSync(dir + "/engine").size, tight.length, unpacked - began, module.length, ended - unpacked);
})();
`

// The engine as it was built, unpacked by the page's own modules, is what its checksum
// says, and a module to the browser's own reader (V8, in Node).
func TestEngineUnpacks(t *testing.T) {
	s, err := Embedded()
	if errors.Is(err, ErrNoEngine) {
		t.Skip("the engine is not built: make build")
	}
	if err != nil {
		t.Fatal(err)
	}
	node := testkit.Tool(t, "node")
	dir := t.TempDir()
	for name, to := range map[string]string{engine: "engine", "tight.js": "tight.js", "xz-decompress.js": "xz-decompress.js"} {
		if err := os.WriteFile(filepath.Join(dir, to), s.files[name].data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	said, err := exec.Command(node, "-e", unpack, dir).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	t.Logf("%s", said)
}
