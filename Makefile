# make run and make test install what is missing first: see internal/device/setup.sh.

setup       = internal/device/setup.sh
virtual_mic = internal/device/virtualmic/with-virtual-mic
FUZZPACKAGES = ./...
FUZZTIME    = 10s
RACE        = -race
# What a fuzz target may take: Go frees memory from half a GiB on, and at 4 GiB
# (in KiB) it dies, so that a few bytes that ask for much are a finding.
FUZZLIMIT   = export GOMEMLIMIT=512MiB && ulimit -v 4194304

# Every recipe that compiles starts with this: with cgo if PortAudio is, or
# can be, here, and without it otherwise.
cgo = CGO_ENABLED=$$($(setup) build) && export CGO_ENABLED

# What a page in a browser is to run: builds for js/wasm. The limits, in bytes, are
# a tenth above what a drill weighed when they were set.
DRILL       = ./pitch ./theory ./exercise/... ./calib ./internal/audio ./internal/synth ./internal/listen \
	./internal/session ./internal/drill ./internal/report ./internal/course ./internal/notation ./internal/review \
	./internal/kept ./internal/engrave ./internal/page/engine
WASM_RAW    = 7790000
WASM_GZIP   = 2150000

.PHONY: run page build test check race wasm-check check-long bench fuzz evaluate evaluate-jury evaluate-marks hymns weights virtual-mic-test setup wav pictures clean

run: build
	@bin/singback sing

# Builds, and opens the page in the browser.
page: build
	@bin/singback page

build:
	@internal/page/build.sh
	@$(cgo) && go build -buildvcs=auto -trimpath -o bin/singback ./cmd/singback

test:
	@$(cgo) && echo "go test -timeout 40m ./...   (CGO_ENABLED=$$CGO_ENABLED)" && go test -timeout 40m ./...

# Through the real PortAudio and a sound server of its own; fails, never skips.
# Not with -race: the binding passes stream numbers as pointers, which the
# checks that come with -race refuse. One package at a time: they share the
# microphone.
virtual-mic-test:
	@$(setup) sound
	@$(cgo) && $(virtual_mic) go test -count=1 -p 1 -run VirtualMic ./internal/device/ ./internal/cli/

# The drill for HOURS through the virtual microphone, in real time, with a singer in it:
# what grows, what is lost, and whether samples and clock part. KILL=5m kills the sound
# server so often, and starts it again. soak-simulated is HOURS of sound with the simulated
# singer, as fast as the machine can: eight hours take some four minutes of a processor.
HOURS = 1
KILL  = 0
.PHONY: soak soak-simulated
soak:
	@$(setup) sound
	@$(cgo) && go build -o bin/soak ./internal/testkit/soak && $(virtual_mic) bin/soak -hours $(HOURS) -kill $(KILL) -results "$(RESULTS)"

soak-simulated:
	@$(cgo) && go run ./internal/testkit/soak -simulated -hours $(HOURS)

check: lint
	@$(cgo) && set -x && go test $(RACE) -timeout 40m ./...

# What check does without running the tests.
.PHONY: lint
lint:
	@files=$$(gofmt -l .) && if [ -n "$$files" ]; then echo "gofmt -w is needed on:"; echo "$$files"; exit 1; fi
	go mod verify
	go mod tidy -diff
	@$(cgo) && set -x && go vet ./... && go tool staticcheck ./...
	CGO_ENABLED=0 go build -o /dev/null ./cmd/singback
	CGO_ENABLED=0 go vet ./...
	CGO_ENABLED=0 GOOS=windows go vet ./...
	CGO_ENABLED=0 GOOS=darwin go vet ./...
	@$(MAKE) --no-print-directory wasm-check

# The drill for js/wasm: it builds, weighs what it may, and hears there what it
# hears here; and the page weighs what it may.
wasm-check:
	@internal/testkit/wasmdrill/check $(WASM_RAW) $(WASM_GZIP) $(DRILL)
	@internal/page/build.sh weigh

# The packages in which things happen at the same time, under the race detector: with
# all others, as make check has it, it takes several times as long.
RACED = ./internal/audio ./internal/device ./internal/session ./internal/drill ./internal/calibrate ./internal/review ./internal/page ./internal/page/teacher ./internal/page/engine ./internal/keys ./internal/tui
race:
	@$(cgo) && set -x && go test -race -timeout 40m $(RACED)

bench:
	@$(cgo) && go test -run '^$$' -bench . -benchmem ./...

# Before a release: check, and every fuzz target for a minute.
check-long: check
	@$(MAKE) --no-print-directory fuzz FUZZTIME=60s

fuzz:
	@$(cgo) && $(FUZZLIMIT) && for package in $$(go list $(FUZZPACKAGES)); do \
		for target in $$(go test -list '^Fuzz' $$package | grep '^Fuzz'); do \
			echo "$$package $$target" && \
			go test -run '^$$' -fuzz "^$$target\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 1x $$package || exit 1; \
		done; \
	done

# Where evaluate and evaluate-jury keep what they found, in files with the date;
# RESULTS= keeps nothing.
RESULTS = internal/testkit/results

# The pitch tracker beside every reference program found here, on the same
# sounds in one run. HALF=dev is the half to develop on. TOOLS=ours takes a
# minute, and is not kept.
HALF  = held-out
TOOLS =
evaluate:
	@go run ./internal/testkit/evaluate -half $(HALF) -reference "$(SINGBACK_REFERENCE)" \
		$(if $(TOOLS),-tools $(TOOLS),-results "$(RESULTS)")

# The grade beside a jury and beside annotators. The folders of their data are
# named by SINGBACK_JURY and SINGBACK_REFERENCE. CODECS=1 instead grades all of the
# jury's takes through codecs, CODECS=10 every tenth.
CODECS =
evaluate-jury:
	@go run ./internal/testkit/jury $(if $(CODECS),-codecs $(CODECS)) -jury "$(SINGBACK_JURY)" -reference "$(SINGBACK_REFERENCE)" -results "$(RESULTS)"

# The marks of rubrics beside the jury, and what the doubt of a mark finds.
evaluate-marks:
	@go run ./internal/testkit/jury -marks -jury "$(SINGBACK_JURY)" -reference "$(SINGBACK_REFERENCE)" -results "$(RESULTS)"

# Every part of every hymn of the reference data, sung twice by the simulated singer and
# graded: half an hour.
hymns:
	@$(cgo) && SINGBACK_HYMNS=all SINGBACK_RESULTS=$(CURDIR)/$(RESULTS) SINGBACK_DAY=$$(date +%F) \
		go test -count=1 -timeout 3h -run HymnsAre ./internal/choir

# Fits all weights of the pitch tracker from zero and writes them to
# pitch/weights*.go: on a clean tree that changes nothing. Takes some minutes.
# pitch/weights_onset.go needs the recordings of SINGBACK_REFERENCE; without them
# it is left as it is, and a line says so.
weights:
	go test ./pitch -count=1 -v -timeout 2h -run '^TestFitWeights$$' -fit

setup:
	@$(setup) build >/dev/null
	@$(setup) sound
	@$(setup) reference

# Makes the recordings in testdata/wav again, to the byte.
wav:
	go run ./internal/testkit/makewav

# Makes the pictures of README.md again, to the byte, and the invented record that
# one of them is made of, and the icons of the page.
pictures:
	@$(cgo) && go run ./internal/testkit/makerecord >testdata/record/anna.csv && go run ./internal/testkit/pictures
	go run ./internal/testkit/pageicons internal/page/web

# The page in Chromium, with the virtual microphone: as users see, hear and use it. One
# test after the other: they share the microphone. PAGE_TEST=-short sings a third of
# the recordings and kills a fifth of the tabs; PAGE_RUN chooses tests by name.
PAGE_TEST =
PAGE_RUN  = Browser
.PHONY: page-test
page-test: build internal/page/node_modules/.at
	@$(setup) sound
	@$(setup) browser
	@$(cgo) && export SINGBACK_BROWSER=1 && $(virtual_mic) go test $(PAGE_TEST) -count=1 -p 1 -parallel 5 -timeout 30m -run '$(PAGE_RUN)' ./internal/page/ ./internal/page/teacher/

# Ten minutes of a drill in Chromium; says what the page takes after the second and the tenth.
.PHONY: page-test-long
page-test-long: build
	@$(setup) sound
	@$(setup) browser
	@$(cgo) && export SINGBACK_BROWSER=1 SINGBACK_BROWSER_LONG=1 && $(virtual_mic) go test -count=1 -v -timeout 30m -run BrowserTenMinutes ./internal/page/

.PHONY: page-types page-shots
# The types of the page's modules, and axe-core for its screens, by npm.
page-types: internal/page/node_modules/.at
	cd internal/page && node_modules/.bin/tsc -p . && node_modules/.bin/tsc -p tsconfig.worker.json

internal/page/node_modules/.at: internal/page/package.json
	cd internal/page && npm install --no-package-lock --no-audit --no-fund && touch node_modules/.at

# A picture of each screen of the page, in every size and both schemes, to be looked at.
SHOTS = /tmp/singback-shots
page-shots: internal/page/node_modules/.at
	go run ./internal/testkit/pageshots -out "$(SHOTS)"

# What is handed out, in bin/release: archives for six systems, packages for Debian, what
# is in each, checksums; the same commit gives the same bytes. VERSION is the tag, and
# the work tree is to be as it was committed. release-check builds twice in different folders,
# compares, and installs the package in a bare Debian 12 and 13: as root, some minutes.
VERSION = $$(git describe --tags --dirty --match 'v[0-9]*')
.PHONY: release release-check
release:
	@$(setup) release
	@internal/release/build "$(VERSION)" bin/release

release-check:
	@$(setup) release
	@internal/release/check "$(VERSION)"

clean:
	rm -rf bin
	rm -f internal/page/built/engine.* internal/page/built/wasm_exec.js
