#!/bin/sh
# The window for real: on a virtual display, worked with synthetic keys, from start through a practice spray test to a
# written report. usage: window.sh IDLEHARK SCREENS; exit 77 if there is no Xvfb or xdotool.
set -u
program=$1
screens=$2
for tool in Xvfb xdotool; do
    command -v $tool >/dev/null || { echo "NOT CHECKED: $tool is not installed"; exit 77; }
done
work=$(mktemp -d) && mkdir -p "$screens" && screens=$(cd "$screens" && pwd) || exit 1
display_pid='' window_pid=''
trap 'kill $window_pid $display_pid 2>/dev/null; rm -rf "$work"' EXIT
fail() { echo "FAILED: $*"; [ -f "$work/stderr" ] && cat "$work/stderr"; exit 1; }

# Without a display it says so, and what to do.
env -u DISPLAY "$program" >"$work/out" 2>&1
[ $? -eq 2 ] || fail "without a display the exit code is not 2"
grep -q -- --help "$work/out" || fail "without a display no way out is named: $(cat "$work/out")"

mkfifo "$work/number"
Xvfb -displayfd 3 -screen 0 1280x800x24 -nolisten tcp -noreset 3>"$work/number" 2>/dev/null &
display_pid=$!
read -r number <"$work/number" || fail "Xvfb does not start"
export DISPLAY=":$number" HOME="$work" XDG_STATE_HOME="$work/state" LIBGL_ALWAYS_SOFTWARE=1

# start ARGUMENTS: the window, run where F12 leaves its pictures.
start() {
    (cd "$work" && exec "$program" window --cases "$work/cases" --frames "$@" 2>"$work/stderr") &
    window_pid=$!
    for _ in $(seq 100); do
        window=$(xdotool search --name '^Idlehark' 2>/dev/null | head -n 1)
        [ -n "$window" ] && break
        sleep 0.1
    done
    [ -n "$window" ] || fail "no window appears"
    xdotool mousemove 5 400
    sleep 0.5
}
title() { xdotool getwindowname "$window" 2>/dev/null; }
key() { xdotool key "$1"; sleep 0.15; }
# click X Y: in the window, which stands in the screen's corner.
click() { xdotool mousemove "$1" "$2"; sleep 0.15; xdotool click 1; sleep 0.15; }
# await PATTERN SECONDS: until the next step reads so.
await() {
    for _ in $(seq $(($2 * 5))); do
        case $(title) in *$1*) return 0 ;; esac
        sleep 0.2
    done
    fail "'$1' does not come; the window says: $(title)"
}
picture() {
    rm -f "$work"/idlehark-*.png
    xdotool mousemove 5 400
    key F12
    for _ in $(seq 200); do [ -s "$work/idlehark-001.png" ] && break; sleep 0.1; done
    sleep 0.2
    mv "$work/idlehark-001.png" "$screens/$1.png" || fail "F12 keeps no picture"
}
finish() {
    kill -0 $window_pid 2>/dev/null || fail "the window has gone"
    key ctrl+q
    for _ in $(seq 50); do kill -0 $window_pid 2>/dev/null || break; sleep 0.1; done
    kill $window_pid 2>/dev/null
    wait $window_pid 2>/dev/null
}

# From the start by mouse: the first of the ten engines to practise on, stopped by the bar's STOP.
start --width 1280 --height 800 --scale 1 --language en
await "Choose where the sound comes from" 20
picture start-1280x800
click 760 158
await "Check the engine" 60
click 1185 40
sleep 1
finish
[ -s "$(ls "$work"/cases/*/audio/bay.flac)" ] || fail "what was heard before STOP is not kept"
rm -rf "$work/cases"

start --practice 3 --pace 8 --spots 4 --width 1280 --height 800 --scale 1 --language en
await "Check the engine" 60
picture describe-1280x800
# The spray page is shut, and the space bar does not open it.
key F7
await "Shut" 20
key space
await "Shut" 20
picture spray-shut-1280x800
click 80 293 # the fourth station of the way through
await "without flammable spray" 20
picture alternatives-1280x800
key Right
key Return
await "0 of 10" 20
for n in 1 2 3 4 5 6 7 8 9 10; do
    key Return
    [ $n -lt 10 ] && await "$n of 10" 20 && key Down
done
await "All ten points" 20
picture gate-1280x800
key F5
await "can be proven" 120
picture settle-1280x800
key F7
await "Ready" 20
key space
sprayed=0
for _ in $(seq 1200); do
    case $(title) in
        *"Spray spot"*)
            [ $sprayed -eq 2 ] && picture prompt-1280x800
            key space
            sprayed=$((sprayed + 1)) ;;
        *"Write the report"*) break ;;
    esac
    sleep 0.2
done
[ $sprayed -ge 4 ] || fail "only $sprayed prompts to spray"
await "Write the report" 30
picture report-1280x800
key ctrl+s
await "Written" 120
page=$(ls "$work"/cases/*/report.html 2>/dev/null | head -n 1)
[ -n "$page" ] || fail "no report is written"
grep -q "Guided spray test" "$page" || fail "the report lacks the guided test"
found=$("$program" report "$work"/cases/* --format json --no-compare)
echo "$found" | grep -q '"verdict": *"leak"' || fail "no leak is found in the practice bay: $found"
ls "$work"/cases/*/audio/bay.flac >/dev/null || fail "nothing was recorded"
[ -s "$(ls "$work"/cases/*/audio/bay.marks.csv)" ] || fail "no marks were kept"
finish
"$program" case check "$work"/cases/* >"$work/out" 2>&1 || fail "the case is not sound: $(cat "$work/out")"
"$program" case show "$work"/cases/* --format json | grep -qi "extinguisher" || fail "the case does not keep the points of caution"
cat "$work/stderr"

# The finished case opens where it ended; looking at it offers no spray.
start --case "$(ls -d "$work"/cases/*)" --width 1280 --height 800 --scale 1 --language en
await "Write the report" 20
picture case-1280x800
key F9
await "Choose the visit" 5
key F7
await "Shut" 5
finish
[ "$("$program" case show "$work"/cases/* --format json | grep -c '"title"')" -eq 1 ] || fail "looking added a visit"

# Four sizes: the pages are drawn, the title says what to do, and neither bar nor STOP is lost.
look() { # WIDTH HEIGHT SCALE LANGUAGE
    start --practice 3 --pace 4 --spots 8 --width "$1" --height "$2" --scale "$3" --language "$4"
    for page in 1 3 4 7; do
        key F$page
        sleep 0.4
        picture "page$page-$1x$2-$3-$4"
    done
    finish
    command -v convert >/dev/null || return 0
    for page in 1 3 4 7; do
        # The upper right corner is STOP, in its own colour; the picture has its full size.
        seen=$(convert "$screens/page$page-$1x$2-$3-$4.png" -format '%w %h %[pixel:p{'$(($1 - 4))',4}]' info:)
        case $seen in
            "$1 $2 srgb"*"(176,6,28"*) ;;
            *) fail "page $page at $1x$2: $seen" ;;
        esac
    done
}
look 800 600 1 en
look 1024 768 1.5 de
look 1280 800 1 en
look 1280 800 3 en

# Resized while it listens, then killed: the case opened again closes the recording and measures it.
rm -rf "$work/cases"
start --practice 5 --pace 4 --spots 4 --width 1280 --height 800 --scale 1 --language en
await "Check the engine" 60
for size in "800 600" "400 300" "1280 500" "1280 800"; do
    # shellcheck disable=SC2086 # two numbers
    xdotool windowsize "$window" $size
    sleep 0.6
done
picture resized-1280x800
kill -9 $window_pid
wait $window_pid 2>/dev/null
cut=$(ls -d "$work"/cases/*)
"$program" case show "$cut" --format json | grep -q '"running": *true' || fail "nothing was cut off by kill -9"
touch -d '1 hour ago' "$cut"/audio/bay.flac # as if nobody was at it any more
start --case "$cut" --width 1280 --height 800 --scale 1 --language en
await "Write the report" 20
for _ in $(seq 300); do
    "$program" case show "$cut" --format json | grep -q '"kind": *"balance"' && break
    sleep 0.2
done
"$program" case show "$cut" --format json | grep -q '"running": *true' && fail "the recording is still open"
"$program" case show "$cut" --format json | grep -q '"kind": *"balance"' || fail "what was cut off is not measured"
finish
echo "practice test: $sprayed bursts"
