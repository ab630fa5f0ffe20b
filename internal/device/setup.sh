#!/bin/sh
#
# setup.sh build        what a build with PortAudio needs. Never fails: prints 1 if
#                       the build can use cgo and 0 if not, for CGO_ENABLED
# setup.sh page         what packs the engine of the page: xz. Never fails: prints 1
#                       if it is here and 0 if not
# setup.sh sound        what the tests on the virtual microphone need
# setup.sh reference    the programs that tests compare with
# setup.sh release      what makes archives and packages (make release)
#
# Looks first, and installs only what is missing: with apt-get on Debian and
# Ubuntu, with brew on macOS. Uses sudo only if it installs and is not root.
# Messages go to standard error; nothing is said when there is nothing to do.
# sound, reference and release fail if something is still missing in the end.

set -eu

log=$(mktemp)
trap 'rm -f "$log"' EXIT

say() { echo "setup: $*" >&2; }

# have_NAME tells whether everything of that set works here.

have_build() {
	# shellcheck disable=SC2046 # flags are several words
	command -v pkg-config >/dev/null && pkg-config --exists portaudio-2.0 &&
		printf '#include <stdlib.h>\n#include <portaudio.h>\nint main(void) { return Pa_GetVersion() < 0; }\n' |
		"${CC:-$(go env CC)}" $(pkg-config --cflags portaudio-2.0) -x c - -o /dev/null \
			$(pkg-config --libs portaudio-2.0) 2>/dev/null
}

have_page() { command -v xz >/dev/null; }

have_sound() {
	command -v bash >/dev/null && command -v pulseaudio >/dev/null && command -v paplay >/dev/null &&
		command -v parec >/dev/null && command -v pactl >/dev/null &&
		ls /usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so >/dev/null 2>&1
}

have_browser() {
	command -v chromium >/dev/null && { command -v firefox-esr || command -v firefox; } >/dev/null &&
		command -v node >/dev/null && command -v npm >/dev/null
}

have_reference() {
	command -v aubiopitch >/dev/null && command -v sox >/dev/null && command -v praat >/dev/null && command -v espeak-ng >/dev/null && command -v festival >/dev/null &&
		command -v abc2midi >/dev/null && command -v midicsv >/dev/null && command -v xmllint >/dev/null && command -v musicxml2ly >/dev/null &&
		command -v ffmpeg >/dev/null && command -v opusenc >/dev/null && command -v lame >/dev/null && command -v flac >/dev/null && command -v oggenc >/dev/null &&
		{ command -v apache2 || [ -x /usr/sbin/apache2 ]; } >/dev/null &&
		command -v fluidsynth >/dev/null && command -v groff >/dev/null && [ -f /usr/share/sounds/sf2/TimGM6mb.sf2 ] &&
		/usr/bin/python3 -c 'import aubio, mir_eval, statsmodels' 2>/dev/null
}

have_release() {
	for program in git gcc aarch64-linux-gnu-gcc pkg-config objdump dpkg-deb lintian mmdebstrap man zip xz gzip tar; do
		command -v $program >/dev/null || return 1
	done
	[ -f /usr/aarch64-linux-gnu/lib/libc.so.6 ] && pkg-config --exists portaudio-2.0
}

# as_root runs a command as root. It asks for a password only on a terminal.
as_root() {
	if [ "$(id -u)" -eq 0 ]; then
		"$@"
	elif [ -t 0 ]; then
		sudo "$@"
	else
		sudo -n "$@"
	fi
}

apt() {
	as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq -o DPkg::Lock::Timeout=120 "$@" >>"$log" 2>&1
}

# install_apt installs those of the named packages that are missing. The lists
# of packages are fetched only if the ones on the machine do not do.
install_apt() {
	missing=''
	for package; do
		case $(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null) in
		installed) ;;
		*) missing="$missing $package" ;;
		esac
	done
	[ -n "$missing" ] || return 1
	if [ "$(id -u)" -ne 0 ] && ! command -v sudo >/dev/null; then
		echo "not root, and there is no sudo" >"$log"
		return 1
	fi
	say "installing$missing"
	# shellcheck disable=SC2086 # names of packages are several words
	apt install -y --no-install-recommends $missing ||
		{ apt update && apt install -y --no-install-recommends $missing; }
}

# install_set SET PACKAGE ... for Debian; brew gets its own names.
install_set() {
	set_name=$1
	shift
	if command -v apt-get >/dev/null && command -v dpkg-query >/dev/null; then
		install_apt "$@"
	elif [ "$(uname)" = Darwin ] && [ "$set_name" = build ] && command -v brew >/dev/null; then
		say "installing portaudio pkgconf"
		brew install --quiet portaudio pkgconf >>"$log" 2>&1
	else
		echo "no apt-get here" >"$log"
		return 1
	fi
}

# why is the last thing an installer said.
# shellcheck disable=SC2016 # the dollar is sed's
why() { sed -n '/./h; ${x; s/^[EW]: *//; p;}' "$log"; }

case ${1-} in
build)
	if [ "${CGO_ENABLED-}" = 0 ]; then
		say "CGO_ENABLED=0: building without PortAudio"
		echo 0
	elif have_build; then
		echo 1
	elif install_set build gcc libc6-dev pkg-config portaudio19-dev && have_build; then
		echo 1
	else
		reason=$(why)
		if [ "$(uname)" = Darwin ]; then
			reason="needs the Xcode command line tools (xcode-select --install) and: brew install portaudio pkgconf"
		fi
		say "no PortAudio (${reason:-it does not compile here}): building without a microphone; recordings and the simulated singer work"
		echo 0
	fi
	;;
page)
	if have_page || { install_set page xz-utils && have_page; }; then
		echo 1
	else
		say "no xz ($(why)): building without the page; everything else works"
		echo 0
	fi
	;;
sound)
	have_sound || install_set sound bash pulseaudio pulseaudio-utils libasound2-plugins || true
	have_sound || {
		say "the virtual microphone needs bash pulseaudio pulseaudio-utils libasound2-plugins: $(why)"
		exit 1
	}
	;;
reference)
	have_reference || install_set reference aubio-tools sox praat espeak-ng festival festvox-kallpc16k python3-aubio python3-mir-eval python3-statsmodels abcmidi midicsv libxml2-utils lilypond fluidsynth timgm6mb-soundfont ffmpeg opus-tools lame flac vorbis-tools apache2-bin groff-base || true
	have_reference || {
		say "the comparison with other programs needs aubio-tools sox praat espeak-ng festival festvox-kallpc16k python3-aubio python3-mir-eval python3-statsmodels abcmidi midicsv libxml2-utils lilypond fluidsynth timgm6mb-soundfont ffmpeg opus-tools lame flac vorbis-tools apache2-bin groff-base: $(why)"
		exit 1
	}
	;;
browser)
	have_browser || install_set browser chromium firefox-esr nodejs npm || true
	have_browser || {
		say "the tests of the page in a browser need chromium, firefox, node and npm: $(why)"
		exit 1
	}
	;;
release)
	packages="git gcc libc6-dev gcc-aarch64-linux-gnu libc6-dev-arm64-cross pkg-config portaudio19-dev binutils dpkg-dev lintian mmdebstrap man-db zip xz-utils gzip tar"
	# shellcheck disable=SC2086 # names of packages are several words
	have_release || install_set release $packages || true
	have_release || {
		say "a release is made on Debian for amd64, and needs $packages: $(why)"
		exit 1
	}
	;;
*)
	say "usage: setup.sh build|page|sound|reference|browser|release"
	exit 2
	;;
esac
