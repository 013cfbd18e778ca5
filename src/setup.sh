# shellcheck shell=sh disable=SC2015 # "a && b || fail" is meant as it stands
# Sourced, not run: the Debian packages of the project and how they get installed.
# Used by recordings/demo.sh and tests/run.sh. POSIX sh.

# shellcheck disable=SC2034 # used by the scripts that source this
build_packages="g++ cmake ninja-build pkgconf libkissfft-dev libeigen3-dev libsndfile1-dev libavformat-dev libavcodec-dev libavutil-dev nlohmann-json3-dev
    libcli11-dev libfmt-dev libcairo2-dev fonts-dejavu-core
    portaudio19-dev flite1-dev libsfml-dev libjpeg62-turbo-dev libpng-dev libimgui-dev libgl-dev libx11-dev libsqlite3-dev"
# shellcheck disable=SC2034
test_packages="catch2 libfftw3-dev libgsl-dev libaubio-dev espeak-ng sox ffmpeg clang-format
    pulseaudio pulseaudio-utils libasound2-plugins xvfb xauth xdotool libgl1-mesa-dri clang libclang-rt-14-dev"

say() { printf '%s\n' "$*"; }
fail() {
    printf '%s\n' "$@" >&2
    exit 1
}

# need_writable FOLDER: makes it if it isn't there.
need_writable() {
    mkdir -p "$1" 2>/dev/null && [ -w "$1" ] ||
        fail "$1 cannot be written: it may belong to root from an earlier run." "Remove it, or run this as root."
}

# missing PACKAGE...: prints those that are not installed.
missing() {
    for package in "$@"; do
        case $(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null) in
            installed) ;;
            *) printf '%s ' "$package" ;;
        esac
    done
}

as_root() {
    if [ "$(id -u)" -eq 0 ]; then
        "$@"
    else
        sudo "$@"
    fi
}

# install_packages PACKAGE...: installs what is missing, and says so; nothing happens when nothing is missing.
install_packages() {
    command -v dpkg-query >/dev/null && command -v apt-get >/dev/null ||
        fail "This script installs packages on Debian 12, and this system has no apt-get." \
            "Install a C++20 compiler and the equivalents of: $*" \
            "then build with: cmake --preset release && cmake --build --preset release"
    wanted=$(missing "$@")
    wanted=${wanted% }
    [ -n "$wanted" ] || return 0
    if [ "$(id -u)" -ne 0 ] && ! command -v sudo >/dev/null; then
        fail "These packages are missing, and installing them needs root or sudo:" "    $wanted" \
            "Run as root: apt-get update && apt-get install $wanted"
    fi
    say "Installing Debian packages: $wanted"
    # A failed update is not the end: the lists on disk may still do. The install decides.
    as_root apt-get -q -o Acquire::Retries=1 -o Acquire::http::Timeout=20 update ||
        say "The package lists could not be refreshed; trying with those on disk."
    # shellcheck disable=SC2086 # a list of words on purpose
    as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -y --no-install-recommends \
        -o Acquire::Retries=1 -o Acquire::http::Timeout=20 install $wanted ||
        fail "" "The packages could not be installed (apt's own message stands above)." \
            "Is this machine online, is its Debian mirror reachable, and may you use sudo?" \
            "Run this script again then, or install them yourself: apt-get install $wanted"
}
