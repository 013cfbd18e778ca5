#!/bin/sh
# The main job on the bundled recording: builds Idlehark, prints the verdict per spot, writes a picture of it.
# Installs Debian packages if any are missing (root or sudo); writes nothing outside build/demo.
set -eu
cd "$(dirname "$0")/.."
. src/setup.sh

# shellcheck disable=SC2086 # lists of words on purpose
install_packages $build_packages

if [ ! -f build/demo/build.ninja ]; then
    say "Building (a few minutes the first time) ..."
fi
need_writable build/demo
log=build/demo/build.log
if ! { cmake -S . -B build/demo -G Ninja -DCMAKE_BUILD_TYPE=Release -DIDLEHARK_TESTS=OFF &&
    cmake --build build/demo; } >"$log" 2>&1; then
    tail -n 30 "$log" >&2
    fail "" "The build failed; its last lines stand above, all of them in $log."
fi
exec build/demo/idlehark demo --recordings recordings --plot build/demo/verdict.png
