#!/bin/sh
# The main job on the bundled recordings: builds Idlehark, prints the verdict per spot, writes a picture of it; then keeps
# the car's case: before, repair, after; opens the window where there is a display.
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
idlehark=build/demo/idlehark
marlow=build/demo/marlow
$idlehark demo --recordings recordings --plot build/demo/verdict.png

say ""
say "The same car's case: what was ruled out first, before, the repair, after."
say ""
rm -rf "$marlow"
$idlehark case new "$marlow" --name "Marlow 1600 (invented)" --engine recordings/engine.json --map recordings/map.json
$idlehark case add "$marlow" log "plugs, look" --state ok --note "light brown, all four alike"
$idlehark case add "$marlow" log "fuel pressure" --reading 2.9 --low 2.5 --high 3.2 --unit bar
$idlehark case add "$marlow" log "throttle sensor resistance" --reading 1.1 --low 0.8 --high 1.4 --unit kohm
$idlehark case add "$marlow" log "cam timing" --state not-done
$idlehark case add "$marlow" visit --title before --date 2026-05-30 --warmth warm
$idlehark case add "$marlow" recording recordings/bay.ogg --marks recordings/marks.csv
$idlehark case add "$marlow" note "injector seal 4 was flat and hard, brake booster hose cracked at its end: both new"
$idlehark case add "$marlow" visit --title "after the repair" --date 2026-06-06 --warmth warm
$idlehark case add "$marlow" recording recordings/after.ogg --marks recordings/after-marks.csv
say ""
$idlehark case show "$marlow"
$idlehark report "$marlow" -o build/demo/report.html
say ""
say "The case as a page, to print or to send: build/demo/report.html"

# Where there is a display, the window opens on the finished case; it needs nothing of the rest and fails alone.
if [ -n "${DISPLAY:-}" ]; then
    say ""
    say "The window opens on this case. Ctrl Q closes it."
    $idlehark window --case "$marlow" --cases build/demo/cases ||
        say "The window could not be opened; all else is in build/demo."
fi
