#!/bin/sh
# Makes the pictures of the user's guide again: the figure of how the evidence works, the demo's verdict and repair, and
# the window working on the invented Marlow. usage: guide.sh IDLEHARK [FOLDER] (default: src/guide/pictures)
# The window's pictures need Xvfb, xdotool and ImageMagick; they are left as they are where one is missing.
set -eu
program=$(cd "$(dirname "$1")" && pwd)/$(basename "$1")
cd "$(dirname "$0")/.."
recordings=$(pwd)/recordings
mkdir -p "${2:-src/guide/pictures}"
pictures=$(cd "${2:-src/guide/pictures}" && pwd)
work=$(mktemp -d)
display_pid='' window_pid=''
trap 'kill $window_pid $display_pid 2>/dev/null || :; rm -rf "$work"' EXIT

# --- How the evidence works: speed and marks of the demo, straight from the commands' own output.
"$program" idle "$recordings/bay.ogg" --engine "$recordings/engine.json" >"$work/idle.csv"
"$program" spray "$recordings/bay.ogg" --engine "$recordings/engine.json" --map "$recordings/map.json" \
    --marks "$recordings/marks.csv" --plot "$work/verdict.png" >"$work/verdict.txt"
# awk gets: speed, marks, then spot, low and high of each line of the table.
awk '$1 ~ /^[0-9]+$/ { for (i = 2; i < NF; i++) if ($(i + 1) == "to") { sub("−", "-", $i); sub("−", "-", $(i + 2)); print $1 "," $i + 0 "," $(i + 2) + 0 } }' \
    "$work/verdict.txt" >"$work/intervals.csv"
awk -F, -v leak=8 -v tight=7 '
function px(v) { return sprintf("%.1f", v) }
function text(x, y, size, anchor, weight, colour, words) {
    printf "<text x=\"%s\" y=\"%s\" font-size=\"%s\" text-anchor=\"%s\" font-weight=\"%s\" fill=\"%s\">%s</text>\n", x, y, size, anchor, weight, colour, words
}
function line(x1, y1, x2, y2, colour, width) {
    printf "<path d=\"M%s %sL%s %s\" stroke=\"%s\" stroke-width=\"%s\" fill=\"none\"/>\n", px(x1), px(y1), px(x2), px(y2), colour, width
}
function mean(from, to,   i, sum, n) {
    sum = n = 0
    for (i = 1; i <= readings; i++) if (time[i] >= from && time[i] < to) { sum += rpm[i]; n++ }
    return sum / n
}
# One spot, every burst of it laid over the others at the moment of the spray.
function overlay(left, spot, words, colour,   b, i, base, path, x, y) {
    text(left, 292, 15, "start", "bold", ink, words)
    printf "<rect x=\"%s\" y=\"306\" width=\"270\" height=\"150\" fill=\"#fff\"/>\n", left
    line(left, 420, left + 270, 420, rule, 1)
    line(left + 75, 306, left + 75, 456, ink, 1.5)
    text(left + 79, 320, 12, "start", "normal", faint, "spray")
    for (b = 1; b <= marks; b++) if (where[b] == spot) {
        base = mean(when[b] - 5, when[b])
        path = ""
        for (i = 1; i <= readings; i++) if (time[i] >= when[b] - 5 && time[i] <= when[b] + 13) {
            x = left + 75 + 15 * (time[i] - when[b]); y = 420 - 3.2 * (rpm[i] - base)
            path = path (path == "" ? "M" : "L") px(x) " " px(y)
        }
        printf "<path d=\"%s\" stroke=\"%s\" stroke-width=\"1.8\" fill=\"none\" opacity=\"0.8\"/>\n", path, colour
    }
    text(left, 474, 12, "start", "normal", faint, "5 s before")
    text(left + 270, 474, 12, "end", "normal", faint, "13 s after")
}
function whisker(y, spot, words, colour,   x1, x2) {
    x1 = 745 + 5 * low[spot]; x2 = 745 + 5 * high[spot]
    text(640, y - 14, 13, "start", "normal", ink, words)
    line(x1, y, x2, y, colour, 3); line(x1, y - 6, x1, y + 6, colour, 3); line(x2, y - 6, x2, y + 6, colour, 3)
}
BEGIN { ink = "#131d27"; faint = "#474f59"; rule = "#b9b5aa"; trace = "#103f5c"; fault = "#cc142e"; clear = "#1d6b4c" }
FNR == 1 { file++ }
file == 1 && FNR > 1 && $2 != "" { time[++readings] = $1; rpm[readings] = $2 }
file == 2 && FNR > 1 { when[++marks] = $1; where[marks] = $2 }
file == 3 { low[$1] = $2; high[$1] = $3 }
END {
    print "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 940 500\" width=\"940\" height=\"500\" font-family=\"DejaVu Sans, sans-serif\">"
    print "<title>How the evidence works: speed over time, bursts of one spot laid over one another, intervals</title>"
    print "<rect width=\"940\" height=\"500\" fill=\"#f6f3ec\"/>"
    text(20, 30, 15, "start", "bold", ink, "1  The speed is followed in the sound; each burst of spray is marked")
    print "<rect x=\"20\" y=\"42\" width=\"900\" height=\"190\" fill=\"#fff\"/>"
    for (r = 880; r <= 910; r += 10) { y = 210 - 4 * (r - 875); line(20, y, 920, y, "#e7e2d6", 1); text(24, y - 3, 11, "start", "normal", faint, r " rpm") }
    for (b = 1; b <= marks; b++) if (when[b] >= 28 && when[b] <= 118) {
        x = 76 + 9.35 * (when[b] - 28); hit = where[b] == leak || where[b] == 11
        line(x, 58, x, 232, hit ? fault : rule, hit ? 2 : 1)
        text(px(x), 55, 13, "middle", hit ? "bold" : "normal", hit ? fault : faint, where[b])
    }
    path = ""
    for (i = 1; i <= readings; i++) if (time[i] >= 28 && time[i] <= 118)
        path = path (path == "" ? "M" : "L") px(76 + 9.35 * (time[i] - 28)) " " px(210 - 4 * (rpm[i] - 875))
    printf "<path d=\"%s\" stroke=\"%s\" stroke-width=\"1.6\" fill=\"none\"/>\n", path, trace
    text(20, 250, 12, "start", "normal", faint, "90 seconds; the number above a line is the spot that was sprayed")
    overlay(20, leak, "2  Spot 8: three bursts agree", fault)
    overlay(320, tight, "3  Spot 7: only the unrest", trace)
    text(640, 292, 15, "start", "bold", ink, "4  Interval against the unrest")
    print "<rect x=\"640\" y=\"306\" width=\"280\" height=\"150\" fill=\"#fff\"/><rect x=\"670\" y=\"306\" width=\"150\" height=\"150\" fill=\"#e6f5ec\"/>"
    line(745, 306, 745, 456, ink, 1.5)
    whisker(352, leak, "spot " leak ": zero is outside: leak", fault)
    whisker(412, tight, "spot " tight ": all within 15 rpm: none seen", clear)
    text(670, 474, 12, "middle", "normal", faint, "−15"); text(745, 474, 12, "middle", "normal", faint, "0"); text(820, 474, 12, "middle", "normal", faint, "+15 rpm")
    text(20, 494, 11, "start", "normal", faint, "Simulated car, invented; made from the output of `idlehark idle` and `idlehark spray` on the bundled recording.")
    print "</svg>"
}' "$work/idle.csv" "$recordings/marks.csv" "$work/intervals.csv" >"$pictures/evidence.svg"

"$program" compare "$recordings/bay.ogg" "$recordings/after.ogg" --engine "$recordings/engine.json" --map "$recordings/map.json" \
    --marks-before "$recordings/marks.csv" --marks-after "$recordings/after-marks.csv" \
    --plot "$work/compare.png" >/dev/null
for tool in convert import Xvfb xdotool; do
    command -v $tool >/dev/null || { echo "$tool is not installed: only evidence.svg is made again."; exit 0; }
done
# Small files: 64 colours are enough for flat drawings.
small() { convert "$1" -resize "$2" -strip +dither -colors 64 PNG8:"$pictures/$(basename "$1")"; }
small "$work/verdict.png" 1000x
small "$work/compare.png" 1000x

# --- The window on a practice bay, from the engine to the first prompts.
mkfifo "$work/number"
Xvfb -displayfd 3 -screen 0 1120x700x24 -nolisten tcp -noreset 3>"$work/number" 2>/dev/null &
display_pid=$!
read -r number <"$work/number"
export DISPLAY=":$number" HOME="$work" XDG_STATE_HOME="$work/state" LIBGL_ALWAYS_SOFTWARE=1
(cd "$work" && exec "$program" window --cases garage --practice 8 --spots 12 --pace 4 --width 1120 --height 700 --scale 1 \
    --language en) 2>/dev/null &
window_pid=$!
for _ in $(seq 100); do
    window=$(xdotool search --name '^Idlehark' 2>/dev/null | head -n 1) && [ -n "$window" ] && break
    sleep 0.1
done
key() { xdotool key "$1"; sleep 0.3; }
# await PATTERN: until the next step reads so; two minutes at most.
await() {
    for _ in $(seq 600); do
        case $(xdotool getwindowname "$window") in *$1*) return 0 ;; esac
        sleep 0.2
    done
    echo "'$1' does not come; the window says: $(xdotool getwindowname "$window")"
    exit 1
}
picture() {  # from outside: the window's own key (F12) says where it wrote to, and the next picture would show that
    xdotool mousemove 5 400
    sleep 1
    import -window root "$work/$1.png"
    small "$work/$1.png" 1120x
}
await "Check the engine"
picture describe
key F3
picture map
key F4
await "without flammable spray"
key Right
key Return
for n in 1 2 3 4 5 6 7 8 9 10; do
    key Return
    [ $n -lt 10 ] && await "$n of 10" && key Down
done
await "All ten points"
picture gate
key F5
await "can be proven"
picture settle
key F7
await "Ready"
key space
sprayed=0
while [ $sprayed -lt 4 ]; do
    await "Spray spot"
    sprayed=$((sprayed + 1))
    [ $sprayed -eq 4 ] && picture spray
    key space
    sleep 1
done
key ctrl+q
echo "The pictures are in $pictures; look at them."
