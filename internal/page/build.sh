#!/bin/sh
#
# build.sh          puts the engine of the page, and its loader, into internal/page/built.
#                   Never fails for want of xz: then it says so, and there is no page
# build.sh LIMIT    does so, and weighs what the first visit takes over the wire: fails
#                   above LIMIT bytes, and without xz if SINGBACK_REQUIRE_TOOLS is 1

set -eu

cd "$(dirname "$0")/../.."
limit=${1-}
web=internal/page/web
built=internal/page/built
engine=./internal/page/engine/wasm

if [ ! -d "$engine" ]; then
	exit 0
fi
if [ "$(internal/device/setup.sh page)" = 0 ]; then
	rm -f "$built"/engine.* "$built/wasm_exec.js" # no page rather than an old one
	[ -n "$limit" ] && [ "${SINGBACK_REQUIRE_TOOLS-}" = 1 ] && exit 1
	exit 0
fi

internal/page/build-engine "$built/engine.wasm.xz"
loader="$(go env GOROOT)/lib/wasm/wasm_exec.js"
cmp -s "$loader" "$built/wasm_exec.js" || cp "$loader" "$built/wasm_exec.js"

if [ -n "$limit" ]; then
	packed_size=$(wc -c <"$built/engine.wasm.xz")
	size=$(find "$web" "$built/engine.wasm.xz" "$built/wasm_exec.js" -type f -exec cat {} + | wc -c)
	echo "the page: its engine $((packed_size)) bytes packed, $((size)) over the wire at the first visit (at most $limit)"
	if [ "$size" -gt "$limit" ]; then
		echo "wasm-check: the page is too heavy; see the files of $web, and go list -deps $engine" >&2
		exit 1
	fi
fi
