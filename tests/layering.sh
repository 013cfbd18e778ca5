#!/bin/sh
# Every include names its layer by path from the repository root, and no layer reaches up.
# usage: layering.sh [ROOT]; prints each wrong line, exit 1 if there is one.
set -u
root=${1:-$(dirname "$0")/..}
cd "$root" || exit 2
wrong=0

# check MESSAGE LINES: any line is a fault.
check() {
    if [ -n "$2" ]; then
        printf '%s\n%s\n' "$1" "$2"
        wrong=1
    fi
}

sources() { find "$@" -type f \( -name '*.hpp' -o -name '*.cpp' -o -name '*.h' \) 2>/dev/null | sort; }
# lines PATTERN PATH...: every line below the paths that has it, as file:line:text.
lines() {
    pattern=$1
    shift
    sources "$@" | xargs -r -d '\n' grep -HnE "$pattern"
}
includes() { lines '^[[:space:]]*#[[:space:]]*include' "$@"; }

[ -n "$(sources dsp)" ] || check 'No sources under dsp:' "$root"

check 'Includes go by path from the root, never "../":' "$(includes dsp src gui tests | grep -F '../')"

# dsp: itself, the C++ standard library, Eigen; KissFFT in real_fft.cpp alone, libjpeg and libpng in their two files.
check 'dsp includes the standard library, Eigen and itself only (KissFFT in dsp/real_fft.cpp, libjpeg and libpng in dsp/picture):' "$(includes dsp |
    grep -vE 'include[[:space:]]+("dsp/[a-z0-9_/]+\.hpp"|<[a-z0-9_]+>|<Eigen/[A-Za-z]+>)' |
    grep -vE '^dsp/picture/jpeg_pixels\.cpp:[0-9]+:#include <(jpeglib|jerror)\.h>' |
    grep -vE '^dsp/picture/png_pixels\.cpp:[0-9]+:#include <png\.h>' |
    grep -vE '^dsp/real_fft\.cpp:[0-9]+:#include <kissfft/kiss_fftr?\.h>')"
# <cstdio>: what jpeglib.h wants before it.
check 'dsp knows no files, clocks or threads:' "$(includes dsp |
    grep -vE '^dsp/picture/jpeg_pixels\.cpp:[0-9]+:#include <cstdio>' |
    grep -E '<(fstream|filesystem|iostream|thread|chrono|mutex|future|cstdio|ctime)>')"
check 'dsp neither logs nor asks the system:' "$(
    lines 'random_device|getenv|std::cerr|std::cout' dsp)"

check 'src includes dsp and src; main.cpp knows gui, and src/desk its plain view state and commands:' "$(includes src |
    grep '"' | grep -vE '"(dsp|src)/[a-z0-9_/]+\.hpp"' | grep -vE '^src/main\.cpp:[0-9]+:#include "gui/' |
    grep -vE '^src/desk/[a-z_]+\.hpp:[0-9]+:#include "gui/(view_state|commands)\.hpp"')"
check 'The view state and the commands are plain: dsp, each other and the standard library:' "$(
    includes gui/view_state.hpp gui/commands.hpp | grep -vE '"(dsp/[a-z0-9_/]+|gui/view_state)\.hpp"|<[a-z_]+>')"
# The clock on the wall may be set while sound is recorded: it dates things, and measures nothing.
check 'The wall clock is asked in src/files/local_time.cpp alone:' "$(
    lines 'system_clock|std::time\(|gettimeofday|CLOCK_REALTIME|[^_a-z]time\((NULL|nullptr|0)\)' dsp src gui |
        grep -v '^src/files/local_time\.cpp:')"
check 'portaudio.h belongs to src/capture alone:' "$(includes dsp src gui | grep portaudio |
    grep -vE '^src/capture/')"
check "FFmpeg's headers belong to src/recording alone:" "$(includes dsp src gui | grep -E '<libav|<libsw' |
    grep -vE '^src/recording/')"
check 'gui includes dsp and gui:' "$(includes gui | grep '"' | grep -vE '"(dsp|gui)/[a-z0-9_/]+\.(hpp|def)"')"
exit $wrong
