#!/bin/sh
# The layering test must be able to fail: each forbidden include, planted in a copy, is found.
set -u
here=$(cd "$(dirname "$0")" && pwd)
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
failures=0

# plant FILE LINE: a tree with one sound file and one bad line must be refused.
plant() {
    rm -rf "$scratch/tree"
    mkdir -p "$scratch/tree/dsp/sim" "$scratch/tree/src/cli" "$scratch/tree/gui" "$scratch/tree/tests"
    printf '#include "dsp/units.hpp"\n#include <vector>\n#include <Eigen/Dense>\n' >"$scratch/tree/dsp/good.cpp"
    printf '#include <kissfft/kiss_fftr.h>\n' >"$scratch/tree/dsp/real_fft.cpp"
    printf '#include "gui/window.hpp"\n#include <CLI/CLI.hpp>\n' >"$scratch/tree/src/main.cpp"
    [ -z "$1" ] || printf '%s\n' "$2" >>"$scratch/tree/$1"
    sh "$here/layering.sh" "$scratch/tree" >"$scratch/out" 2>&1
}
must_pass() { plant "" "" || { echo "a sound tree is refused:"; cat "$scratch/out"; failures=1; }; }
must_fail() { if plant "$1" "$2"; then echo "not found: $2 in $1"; failures=1; fi; }

must_pass
must_fail dsp/good.cpp '#include <sndfile.h>'
must_fail dsp/good.cpp '#include <kissfft/kiss_fftr.h>'
must_fail dsp/good.cpp '#include <png.h>'
must_fail dsp/good.cpp '#include <cstdio>'
must_fail dsp/sim/fan.cpp '#include "../units.hpp"'
must_fail dsp/sim/fan.cpp '#include <fstream>'
must_fail dsp/sim/fan.cpp '#include "src/result.hpp"'
must_fail dsp/sim/fan.cpp '    std::random_device seed;'
must_fail src/cli/idle.cpp '#include "gui/window.hpp"'
must_fail src/cli/idle.cpp '#include "result.hpp"'
must_fail src/cli/idle.cpp '#include <portaudio.h>'
must_fail src/cli/idle.cpp '#include <libavformat/avformat.h>'
must_fail src/cli/idle.cpp '    auto now = std::chrono::system_clock::now();'
must_fail gui/window.cpp '#include "src/result.hpp"'
exit $failures
