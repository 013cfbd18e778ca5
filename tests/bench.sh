#!/bin/sh
# Measures everything: builds the programs of tests/bench (release, in build/bench), runs them part by part, prints their
# tables, the ratios to the bounds, machine and version. A part that is done is not run again for the same commit, so
# that a run that was broken off goes on where it was.
# usage: bench.sh [--quick] [--only PART[,PART]] [--json FILE] [--history FILE] [--fresh] [--list]
#   --quick    fewer engines and sessions: some minutes, for a look; README.md's figures come from the whole run
#   --only     these parts, as --list names them
#   --json     everything as one JSON object
#   --history  appends one line of JSON a run to this file
#   --fresh    runs again what is done
#   --list     the parts: how long, and which figures of README.md they make
set -eu
cd "$(dirname "$0")/.."
. src/setup.sh

# part|minutes whole|minutes quick|what of README.md it makes|command whole|command quick
parts() {
    cat <<'END'
bound|1|1|(the tracker against the Cramer-Rao bound)|bound_bench --engines 12 --first-seed 900|bound_bench --engines 2 --seconds 20 --first-seed 900
speed|1|1|(the tracker against bare transforms and a general pitch tracker)|speed_bench|speed_bench --seconds 30
tracker|5|1|Limits: "The tracker needs a true idle range"|tracker_bench --first-seed 1500 --engines 8|tracker_bench --first-seed 1500 --engines 1 --seconds 12
phone|1|1|Limits: "Lossy coding"|phone_bench --engines 10 --seconds 30|phone_bench --engines 1 --seconds 20
bursts|4|1|(the can's hiss: found, late, false alarms)|bursts_bench 1000 20|bursts_bench 1000 1
spray|9|1|How far the verdicts reach: the table|spray_bench --sessions 150|spray_bench --sessions 2 --sort plain
plan|17|1|DEVELOPERS.md: what the planner is measured to reach|plan_bench --visits 20|plan_bench --visits 1 --spots 12 --kind plain
plan-heard|18|1|DEVELOPERS.md: the planner through the sound|plan_bench --way heard,three --seed 9500 --visits 34|plan_bench --way heard --visits 1 --spots 12 --kind plain
compare|2|1|Before and after: 100 pairs|compare_bench --pairs 100|compare_bench --pairs 3
compare-disturbed|3|1|Before and after: "With uneven hands"|compare_bench --pairs 100 --disturbed|compare_bench --pairs 3 --disturbed
visits|4|1|Before and after: half orders, hiss, injectors|visits_bench --pairs 60|visits_bench --pairs 4
injectors|9|1|Reach of the three: injectors|injectors_bench 56000 25|injectors_bench 56000 1 seq.
hiss|2|1|Reach of the three: hiss|hiss_bench --first-seed 58001 --surveys 10|hiss_bench --first-seed 58001 --surveys 1 --seconds 5
balance|8|1|Reach of the three: balance|balance_bench --first-seed 61000 --engines 100|balance_bench --first-seed 61000 --engines 1 --only half
ears|1|1|Reach of the three: speed|ears_bench|ears_bench --runs 1 --seconds 10
casebook|1|1|Casebook (guide/details.md): "A case of 200 visits"|casebook_bench|casebook_bench
live|12|2|(live: latency, load, half an hour of sound)|live_bench 0.5|live_bench 0.05
window|1|1|(the window: frames and load)|window_bench|window_bench 1280 800 1 4
END
}

mode=whole only='' json='' history='' fresh=''
while [ $# -gt 0 ]; do
    case $1 in
        --quick) mode=quick ;;
        --fresh) fresh=1 ;;
        --list)
            printf '%-18s %8s %6s  %s\n' part minutes quick 'figures of README.md'
            parts | while IFS='|' read -r name whole quick figures _ _; do
                printf '%-18s %8s %6s  %s\n' "$name" "$whole" "$quick" "$figures"
            done
            exit 0 ;;
        --only | --json | --history)
            [ $# -ge 2 ] || fail "$1 needs a value; the usage stands at the top of tests/bench.sh"
            case $1 in
                --only) only=$2 ;;
                --json) json=$2 ;;
                --history) history=$2 ;;
            esac
            shift ;;
        *) fail "bench.sh: $1 is not known; the usage stands at the top of tests/bench.sh" ;;
    esac
    shift
done
for name in $(echo "$only" | tr ',' ' '); do
    parts | grep -q "^$name|" || fail "bench.sh: there is no part \"$name\"; --list names them"
done
chosen() {
    parts | while IFS= read -r line; do
        case ,$only, in ,, | *,"${line%%|*}",*) printf '%s\n' "$line" ;; esac
    done
}

build=build/bench
need_writable $build
say "Building (a few minutes the first time) ..."
if ! { cmake -S . -B $build -G Ninja -DCMAKE_BUILD_TYPE=Release -DIDLEHARK_BENCH=ON && cmake --build $build --target benches idlehark; } \
    >$build/build.log 2>&1; then
    tail -n 30 $build/build.log >&2
    fail "The build failed; all of its words are in $build/build.log."
fi

version=$($build/idlehark --version)
commit=$(git describe --always --dirty --abbrev=12 --exclude='*' 2>/dev/null || echo unknown)
processor=$(sed -n 's/^model name[^:]*: //p' /proc/cpuinfo | head -n 1 | tr -d '"\\')
cores=$(nproc)
system=$(. /etc/os-release && echo "$PRETTY_NAME")
memory_gib=$(awk '/MemTotal/ { printf "%.0f", $2 / 1048576 }' /proc/meminfo)
load=$(cut -d' ' -f1 /proc/loadavg)
results=$build/results/$mode-$commit
case $commit in *-dirty | unknown) fresh=1 ;; esac # nobody knows what was measured there before
mkdir -p "$results"

sum=$(chosen | awk -F'|' -v mode=$mode '{ m += mode == "quick" ? $3 : $2 } END { print m }')
say "
$version
machine: ${processor:-unknown processor}, $cores cores, $memory_gib GiB, $system; load at the start $load
$(chosen | wc -l) parts, $mode: about $sum minutes on a core that does nothing else
"

number=0
chosen >"$results/parts"
while IFS='|' read -r name _ _ figures whole quick; do
    number=$((number + 1))
    if [ $mode = quick ]; then command=$quick; else command=$whole; fi
    say "== $name ($number of $(wc -l <"$results/parts")): $command"
    [ "$figures" = "${figures#(}" ] && say "   makes: $figures"
    if [ -n "$fresh" ] || [ ! -f "$results/$name.done" ]; then
        rm -f "$results/$name.rows" "$results/$name.done"
        display=
        [ "$name" = window ] && [ -z "${DISPLAY:-}" ] && display='xvfb-run --auto-servernum --server-args=-noreset'
        begin=$(date +%s)
        # shellcheck disable=SC2086 # words on purpose
        if IDLEHARK_BENCH_ROWS=$results/$name.rows $display $build/$command >"$results/$name.txt" 2>&1 </dev/null; then
            echo $(($(date +%s) - begin)) >"$results/$name.done"
        else
            cat "$results/$name.txt"
            say "   NOT MEASURED: the program failed; it is tried again next time."
            continue
        fi
    else
        say "   (done before, for this commit)"
    fi
    cat "$results/$name.txt"
    say "   $(cat "$results/$name.done") s
"
done <"$results/parts"

# What stands against a bound: rows of the parts set beside each other.
rows() { while IFS='|' read -r name _; do cat "$results/$name.rows" 2>/dev/null || :; done <"$results/parts"; }
rows | awk '
function value(key,   at, rest) {
    at = index($0, "\"" key "\": ")
    if (!at) return ""
    rest = substr($0, at + length(key) + 4)
    if (substr(rest, 1, 1) == "\"") { rest = substr(rest, 2); return substr(rest, 1, index(rest, "\"") - 1) }
    match(rest, /^[-+0-9.e]+/)
    return substr(rest, 1, RLENGTH)
}
function ratio(name, of, over) {
    if (of == "" || !(over > 0)) return  # not measured
    printf "{\"bench\": \"ratio\", \"row\": \"%s\", \"ratio\": %.4g}\n", name, of / over
}
{ bench = value("bench"); row = value("row") }
bench == "bound" { ratio("tracker error over the Cramer-Rao bound of half a second, " row, value("ratio_to_half_second_bound"), 1) }
bench == "speed" && row ~ /^bare/ { ratio("tracker time over the bare transforms", value("tracker_costs_times_as_much"), 1) }
bench == "speed" && row ~ /^idle tracker/ { split(row, w, ", "); ours[w[2]] = value("median_percent"); pace[w[2]] = value("times_real_time") }
bench == "speed" && row ~ /^pitch/ {
    split(row, w, ", ")
    ratio("pitch tracker error over ours, " w[2], value("median_percent"), ours[w[2]])
    ratio("tracker time over the pitch tracker, " w[2], value("times_real_time"), pace[w[2]])
}
# Sound is set against the true speed of the same sessions, that of its own run, which follows it.
bench == "spray" && row ~ /sound/ && !seen[substr(row, 1, 5)]++ {
    split(row, w, ", ")
    proven[w[1], "true speed"] = of[w[1], "true speed"] = proven[w[1], "means"] = of[w[1], "means"] = 0
}
bench == "spray" && value("of") != "" { split(row, w, ", "); proven[w[1], w[2]] += value("proven"); of[w[1], w[2]] += value("of") }
END {
    n = split("plain disturbed", sorts, " ")
    for (i = 1; i <= n; i++) {
        s = sorts[i]
        if (of[s, "sound"] > 0) ratio("leaks proven from sound over those from the true speed, " s, proven[s, "sound"], proven[s, "true speed"])
        ratio("leaks proven from the true speed over plain means, " s, proven[s, "true speed"], proven[s, "means"])
    }
}' >"$results/ratios.rows"
if [ -s "$results/ratios.rows" ]; then
    say "== Ratios"
    sed -n 's/.*"row": "\(.*\)", "ratio": \(.*\)}/\2  \1/p' "$results/ratios.rows" | awk '{ v = $1; $1 = ""; printf "%8s %s\n", v, $0 }'
    say ""
fi

# as_json SEPARATOR: everything in one object, rows set apart by SEPARATOR.
as_json() {
    printf '{"version": "%s", "commit": "%s", "built": "%s", "mode": "%s", "finished": "%s",%s' \
        "$(echo "$version" | sed -n '1s/^idlehark //p')" "$commit" "$(echo "$version" | sed -n 's/^built by //p')" $mode \
        "$(date -u +%Y-%m-%dT%H:%M:%SZ)" "$1"
    printf '"machine": {"processor": "%s", "cores": %s, "memory_gib": %s, "system": "%s", "load_at_start": %s},%s"rows": [%s' \
        "$processor" "$cores" "$memory_gib" "$system" "$load" "$1" "$1"
    { rows && cat "$results/ratios.rows"; } | awk -v apart="$1" 'NR > 1 { printf ",%s", apart } { printf "%s", $0 } END { printf "%s]}\n", apart }'
}
if [ -n "$json" ]; then
    as_json '
' >"$json"
    say "As JSON: $json"
fi
if [ -n "$history" ]; then
    as_json ' ' >>"$history"
    say "One line more in $history"
fi
while IFS='|' read -r name _; do
    [ -f "$results/$name.done" ] || exit 1
done <"$results/parts"
