#!/bin/sh
# Builds with warnings as errors and runs every test; the exit code is ctest's.
# Installs Debian packages if any are missing (root or sudo); writes nothing outside build.
set -eu
cd "$(dirname "$0")/.."
. src/setup.sh

# shellcheck disable=SC2086 # lists of words on purpose
install_packages $build_packages $test_packages

need_writable build
cmake --preset dev -DIDLEHARK_BENCH=OFF  # measured by bench.sh, not tested
cmake --build --preset dev
if command -v clang++ >/dev/null; then  # the fuzz tests of ctest run what lies there
    cmake --preset fuzz
    cmake --build --preset fuzz
fi
exec ctest --preset dev -j "$(($(nproc) + 1))"  # one more: the sound device and the window wait most of their time
