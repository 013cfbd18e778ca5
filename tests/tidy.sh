#!/bin/sh
# clang-tidy over our own sources, with the compile commands of build/dev; exit 1 on any finding.
# usage: tests/tidy.sh [FILE...] (default: every .cpp of dsp, src, gui and tests; many minutes)
set -eu
cd "$(dirname "$0")/.."
command -v clang-tidy >/dev/null || { echo "clang-tidy is missing: apt-get install clang-tidy" >&2; exit 2; }
[ -f build/dev/compile_commands.json ] || cmake --preset dev
# shellcheck disable=SC2046 # one word a file
[ $# -gt 0 ] || set -- $(find dsp src gui tests -name '*.cpp' 2>/dev/null | sort)
# g++ warns of promotions when it builds; clang counts even double{x}, which says so.
printf '%s\n' "$@" | xargs -P "$(nproc)" -n 4 clang-tidy -p build/dev --quiet --warnings-as-errors='*' \
    --extra-arg=-Wno-double-promotion
