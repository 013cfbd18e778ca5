#!/bin/sh
# cppcheck over our own sources; exit 1 on any finding. What it misjudges is listed in cppcheck.txt with the reason.
# usage: tests/cppcheck.sh [FOLDER|FILE...] (default: dsp src gui tests; some minutes)
set -eu
cd "$(dirname "$0")/.."
command -v cppcheck >/dev/null || { echo "cppcheck is missing: apt-get install cppcheck" >&2; exit 2; }
[ $# -gt 0 ] || set -- dsp src gui tests
mkdir -p build/cppcheck
exec cppcheck --enable=warning,performance,portability --inline-suppr --error-exitcode=1 --quiet -j "$(nproc)" \
    --cppcheck-build-dir=build/cppcheck --language=c++ --std=c++20 --platform=unix64 --suppressions-list=tests/cppcheck.txt -I . "$@"
