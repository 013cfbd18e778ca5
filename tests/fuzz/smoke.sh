#!/bin/sh
# New inputs for one fuzz program for 20 s (IDLEHARK_FUZZ_SECONDS), starting from its corpus, which stays as it is.
# A crash prints its input in base64. usage: smoke.sh PROGRAM CORPUS; exit 77 where the program is not built
set -u
program=$1
corpus=$2
[ -x "$program" ] || { echo "SKIPPED: $program is not built (cmake --preset fuzz, needs clang)"; exit 77; }
base=/dev/shm
[ -w "$base" ] || base=${TMPDIR:-/tmp}
scratch=$(mktemp -d "$base/idlehark-fuzz-XXXXXX")
trap 'rm -rf "$scratch"' EXIT
trap 'exit 1' INT TERM
mkdir "$scratch/new"
cd "$scratch" || exit 1
export TMPDIR="$scratch"
# A slow machine is no fault: an input may take a minute before it counts as one that hangs.
"$program" "$scratch/new" "$corpus" -max_total_time="${IDLEHARK_FUZZ_SECONDS:-20}" -timeout=60 -rss_limit_mb=2048 \
    -max_len=4096 -print_final_stats=1 -verbosity=1 -close_fd_mask=1 -artifact_prefix="$scratch/" >"$scratch/log" 2>&1
code=$?
if [ $code -ne 0 ]; then
    grep -v -E '^#[0-9]+[[:space:]]+(NEW|REDUCE|pulse)' "$scratch/log" | tail -60
    for input in "$scratch"/crash-* "$scratch"/timeout-* "$scratch"/oom-* "$scratch"/leak-*; do
        [ -f "$input" ] && printf '%s:\n' "${input##*/}" && base64 "$input"
    done
fi
grep -E 'stat::(number_of_executed_units|average_exec_per_sec|peak_rss_mb)|cov:' "$scratch/log" | tail -4
exit $code
