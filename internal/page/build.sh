#!/bin/sh
#
# build.sh          puts the engine of the page, and its loader, into internal/page/built.
#                   Never fails for want of xz: then it says so, and there is no page
# build.sh weigh    does so, and weighs what the first visit takes over the wire: fails
#                   where that is too much, and without xz if SINGBACK_REQUIRE_TOOLS is 1

set -eu

cd "$(dirname "$0")/../.."
weigh=${1-}
built=internal/page/built

if [ "$(internal/device/setup.sh page)" = 0 ]; then
	rm -f "$built"/engine.* "$built/wasm_exec.js" # no page rather than an old one
	[ -n "$weigh" ] && [ "${SINGBACK_REQUIRE_TOOLS-}" = 1 ] && exit 1
	exit 0
fi

internal/page/build-engine "$built/engine.wasm.xz"
loader="$(go env GOROOT)/lib/wasm/wasm_exec.js"
cmp -s "$loader" "$built/wasm_exec.js" || cp "$loader" "$built/wasm_exec.js"

if [ -n "$weigh" ]; then
	said=$(go test -count=1 -v -run '^TestWeight$' ./internal/page) || {
		echo "$said" >&2
		exit 1
	}
	echo "$said" | sed -n 's/^.*: \(the page: \)/\1/p'
fi
