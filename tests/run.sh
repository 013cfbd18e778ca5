#!/bin/sh
# Builds with warnings as errors and runs every test; the exit code is ctest's.
# Installs Debian packages if any are missing (root or sudo); writes nothing outside build/dev.
set -eu
cd "$(dirname "$0")/.."
. src/setup.sh

# shellcheck disable=SC2086 # lists of words on purpose
install_packages $build_packages $test_packages

need_writable build/dev
cmake --preset dev
cmake --build --preset dev
exec ctest --preset dev -j "$(nproc)"
