#!/bin/sh
# A microphone as a real device: PulseAudio with a null sink, its monitor heard through PortAudio and ALSA.
# The server is this script's own, in a folder of its own, and ends with it.
# usage: device.sh PROGRAM RECORDINGS SRC_TESTS; exit 77 with the reason printed where no server can be started.
set -u
program=$1
recordings=$2
tests=$3
scratch=$(mktemp -d)
server=
player=
cleanup() {
    [ -z "$player" ] || kill "$player" 2>/dev/null
    [ -z "$server" ] || kill "$server" 2>/dev/null
    wait 2>/dev/null
    rm -rf "$scratch"
}
trap cleanup EXIT
trap 'exit 1' INT TERM
skip() { echo "SKIPPED: $1"; exit 77; }
failures=0
wrong() { echo "WRONG: $1"; failures=1; }

for tool in pulseaudio pactl paplay timeout; do
    command -v $tool >/dev/null || skip "$tool is not installed (pulseaudio, pulseaudio-utils, libasound2-plugins)"
done
chmod 700 "$scratch"
export XDG_RUNTIME_DIR="$scratch" PULSE_RUNTIME_PATH="$scratch/pulse" HOME="$scratch" XDG_STATE_HOME="$scratch/state"
export PULSE_SOURCE=bench.monitor PULSE_SINK=bench
unset PULSE_SERVER DISPLAY DBUS_SESSION_BUS_ADDRESS

start_server() {
    pulseaudio -n --daemonize=no --exit-idle-time=-1 -L module-native-protocol-unix >"$scratch/server.log" 2>&1 &
    server=$!
    for _ in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20; do
        pactl info >/dev/null 2>&1 && return
        sleep 0.25
    done
    cat "$scratch/server.log"
    skip "the PulseAudio server does not start here"
}
plug_in() { pactl load-module module-null-sink sink_name=bench rate=16000 channels=1 format=s16le; }
play() {
    paplay "$recordings/bay.ogg" &
    player=$!
    sleep 0.5
}
# Until a recording holds so many bytes: on a busy machine a program takes seconds to begin.
grown() {
    for _ in $(seq 200); do
        [ "$(stat -c %s "$1" 2>/dev/null || echo 0)" -ge "$2" ] && return
        sleep 0.25
    done
    wrong "$1 does not grow to $2 bytes"
}
quiet_player() { kill "$player" 2>/dev/null; wait "$player" 2>/dev/null; player=; }

start_server
module=$(plug_in) || skip "the server has no null sink"
"$program" devices >"$scratch/devices" || skip "no sound device is seen: $(cat "$scratch/devices")"
grep -q pulse "$scratch/devices" || skip "ALSA does not lead to PulseAudio here (libasound2-plugins)"
device="--device pulse --rate 16000 --channels 1"

# 1. Live and replay: the same digits.
for ending in flac wav; do
    play
    # shellcheck disable=SC2086 # words on purpose
    timeout 60 "$program" listen $device --engine "$recordings/engine.json" --format json --seconds 20 \
        --record "$scratch/live.$ending" >"$scratch/live.json" 2>"$scratch/live.err" ||
        { wrong "listen ends with $?"; cat "$scratch/live.err"; }
    quiet_player
    "$program" listen --from "$scratch/live.$ending" --engine "$recordings/engine.json" --format json \
        >"$scratch/replay.json"
    locked=$(grep -c '"locked":true' "$scratch/live.json")
    lost=$(grep -c '"type":"lost"' "$scratch/live.json")
    echo "$ending: $locked locked readings live, sound lost $lost times"
    [ "$locked" -ge 50 ] || wrong "too few locked readings to compare"
    for kind in live replay; do grep -v '"type":"lost"' "$scratch/$kind.json" >"$scratch/$kind.figures"; done
    cmp "$scratch/live.figures" "$scratch/replay.figures" || wrong "live and replay of $ending differ"
    rm -f "$scratch"/live.*.csv "$scratch"/live.settings.json
done

# The prompts can be heard.
# shellcheck disable=SC2086
timeout 60 "$program" record "$scratch/prompts.wav" $device --seconds 6 --no-check >/dev/null 2>&1 &
recording=$!
sleep 1
timeout 30 "$program" devices --try-prompts pulse || wrong "the prompts are not played: exit code $?"
wait $recording
reason=$("$program" idle "$scratch/prompts.wav" --engine "$recordings/engine.json" 2>&1 >/dev/null)
case $reason in *"no idle speed"*) ;; *) wrong "the prompts are not in the recording: $reason" ;; esac

# 2. The device chosen last is taken again; the microphone goes away: kept, said, resumed.
play
timeout 60 "$program" record "$scratch/torn.flac" --rate 16000 --channels 1 --no-check 2>"$scratch/torn.err" >/dev/null &
recording=$!
grown "$scratch/torn.flac" 80000
pactl unload-module "$module"
wait $recording
code=$?
[ $code -eq 2 ] || wrong "an unplugged microphone: exit code $code instead of 2"
grep -q 'delivers no more sound' "$scratch/torn.err" || wrong "an unplugged microphone: the message is missing"
cat "$scratch/torn.err"
quiet_player
module=$(plug_in)
# shellcheck disable=SC2086
timeout 60 "$program" record "$scratch/torn.flac" $device --resume --seconds 2 --no-check >/dev/null 2>"$scratch/part.err" ||
    { wrong "resuming: exit code $?"; cat "$scratch/part.err"; }
[ -s "$scratch/torn-part2.flac" ] || wrong "resuming made no second part"
grep -q '"continues": "torn.flac"' "$scratch/torn-part2.settings.json" || wrong "the part does not name the one before"

# 3. The program is stopped for so long that the server's buffer runs over: the lost sound is told, the rest is kept.
play
"$program" record "$scratch/held.wav" --device pulse --rate 96000 --channels 2 --no-check --seconds 60 \
    2>"$scratch/held.err" >/dev/null &
recording=$!
grown "$scratch/held.wav" 2000000
kill -STOP $recording
sleep 20
kill -CONT $recording
wait $recording
[ $? -eq 2 ] || wrong "sound lost in the server: exit code is not 2"
grep -q 'of sound were lost on the way' "$scratch/held.err" || { wrong "lost sound is not told"; cat "$scratch/held.err"; }
quiet_player

# 4. The server dies; the program is killed: what was recorded opens.
for how in server program; do
    play
    # shellcheck disable=SC2086
    timeout 60 "$program" record "$scratch/$how.wav" $device --no-check 2>"$scratch/$how.err" >/dev/null &
    recording=$!
    grown "$scratch/$how.wav" 150000
    if [ $how = server ]; then
        kill -9 "$server"
        wait $recording
        [ $? -eq 2 ] || wrong "the sound server died: exit code is not 2"
        grep -q 'delivers no more sound' "$scratch/server.err" || { wrong "no message"; cat "$scratch/server.err"; }
        quiet_player
        start_server
        module=$(plug_in)
    else
        for child in $(cat /proc/$recording/task/$recording/children 2>/dev/null); do kill -9 "$child"; done
        wait $recording
        quiet_player
    fi
done
for name in torn.flac held.wav server.wav program.wav; do
    readings=$("$program" idle "$scratch/$name" --engine "$recordings/engine.json" 2>/dev/null | grep -c ',')
    echo "$name: $readings readings of sound kept"
    [ "$readings" -ge 20 ] || wrong "$name holds less than two seconds"
done

# 5. The same behind the window, in the middle of a spray test.
play
IDLEHARK_UNPLUG="pactl unload-module $module" timeout 150 "$tests" "[device]" >"$scratch/desk.out" 2>&1 ||
    { wrong "the desk without its microphone"; cat "$scratch/desk.out"; }
grep 'passed' "$scratch/desk.out"
quiet_player
module=$(plug_in)
exit $failures
