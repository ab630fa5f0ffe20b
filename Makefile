# make run and make test install what is missing first: see internal/device/setup.sh.

setup       = internal/device/setup.sh
virtual_mic = internal/device/virtualmic/with-virtual-mic
staticcheck = go run honnef.co/go/tools/cmd/staticcheck@v0.8.2
FUZZTIME    = 10s

# Every recipe that compiles starts with this: with cgo if PortAudio is, or
# can be, here, and without it otherwise.
cgo = CGO_ENABLED=$$($(setup) build) && export CGO_ENABLED

.PHONY: run build test check bench fuzz virtual-mic-test setup wav clean

run: build
	@bin/singback sing

build:
	@$(cgo) && go build -trimpath -o bin/singback ./cmd/singback

test:
	@$(cgo) && echo "go test ./...   (CGO_ENABLED=$$CGO_ENABLED)" && go test ./...

# Through the real PortAudio and a sound server of its own; fails, never skips.
# Not with -race: the binding passes stream numbers as pointers, which the
# checks that come with -race refuse. One package at a time: they share the
# microphone.
virtual-mic-test:
	@$(setup) sound
	@$(cgo) && $(virtual_mic) go test -count=1 -p 1 -run VirtualMic ./internal/device/ ./internal/cli/

check:
	@files=$$(gofmt -l .) && if [ -n "$$files" ]; then echo "gofmt -w is needed on:"; echo "$$files"; exit 1; fi
	go mod verify
	go mod tidy -diff
	@$(cgo) && set -x && go vet ./... && $(staticcheck) ./... && go test -race ./...
	CGO_ENABLED=0 go build -o /dev/null ./cmd/singback
	CGO_ENABLED=0 go vet ./...

bench:
	@$(cgo) && go test -run '^$$' -bench . -benchmem ./...

fuzz:
	@$(cgo) && for package in $$(go list ./...); do \
		for target in $$(go test -list '^Fuzz' $$package | grep '^Fuzz'); do \
			echo "$$package $$target" && \
			go test -run '^$$' -fuzz "^$$target\$$" -fuzztime $(FUZZTIME) $$package || exit 1; \
		done; \
	done

setup:
	@$(setup) build >/dev/null
	@$(setup) sound
	@$(setup) reference

# Makes the recordings in testdata/wav again, to the byte.
wav:
	go run ./internal/testkit/makewav

clean:
	rm -rf bin
