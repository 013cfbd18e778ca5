#!/bin/sh
# The Debian package on a bare system: builds it, makes the smallest Debian 12 in a folder, installs the package with
# nothing but the dependencies it names, uses it as a stranger would, removes it.
# usage: package.sh [PACKAGE.deb]; as root; fetches Debian packages from where this machine's apt gets its own.
set -eu
cd "$(dirname "$0")/.."
. src/setup.sh
[ "$(id -u)" -eq 0 ] || fail "package.sh makes a system in a folder: run it as root."
for tool in debootstrap chroot; do
    command -v $tool >/dev/null || fail "$tool is missing: apt-get install debootstrap"
done

if [ $# -ge 1 ]; then
    package=$1
else
    say "Building the package ..."
    mkdir -p build/package
    cmake -S . -B build/package -G Ninja -DCMAKE_BUILD_TYPE=Release -DIDLEHARK_TESTS=OFF >build/package/log 2>&1 &&
        cmake --build build/package >>build/package/log 2>&1 && (cd build/package && rm -f ./*.deb && cpack) >>build/package/log 2>&1 ||
        { tail -n 30 build/package/log; fail "The package could not be built."; }
    package=$(ls build/package/idlehark_*.deb)
fi
package=$(cd "$(dirname "$package")" && pwd)/$(basename "$package")
desktop-file-validate src/desktop/idlehark.desktop 2>/dev/null || ! command -v desktop-file-validate >/dev/null ||
    fail "The desktop entry is not valid."

# Where this machine's apt gets Debian 12 from; no address stands in this file.
source=$(apt-get indextargets --format '$(SITE)' 'Created-By: Packages' 'Codename: bookworm' | head -n 1)
[ -n "$source" ] || fail "apt knows no source of Debian 12 (bookworm) here."
root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT
say "A bare Debian 12 in a folder ..."
debootstrap --variant=minbase bookworm "$root" "$source" >"$root.log" 2>&1 ||
    { tail -n 20 "$root.log"; rm -f "$root.log"; fail "debootstrap failed."; }
rm -f "$root.log"

# This machine's apt reckons for the bare one and fetches; the bare one installs from files and needs no network.
mkdir -p "$root/debs/partial"
apt-get -q -y --no-install-recommends --download-only -o Dir::State::status="$root/var/lib/dpkg/status" \
    -o Dir::State::extended_states="$root/var/lib/apt/extended_states" -o Dir::Cache::archives="$root/debs" \
    -o Debug::NoLocking=1 -o APT::Sandbox::User=root install "$package" >"$root/debs/log" 2>&1 ||
    { tail -n 20 "$root/debs/log"; fail "The dependencies cannot all be had on a bare Debian 12."; }
cp "$package" "$root/debs/"
say "Installing with $(find "$root/debs" -name '*.deb' | wc -l) packages ..."
# Documents are what a minimal system may leave out: kept here, to be looked at.
inside() { chroot "$root" env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root LC_ALL=C.UTF-8 DEBIAN_FRONTEND=noninteractive "$@"; }
inside sh -c 'dpkg -i /debs/*.deb' >"$root/debs/log" 2>&1 || { tail -n 20 "$root/debs/log"; fail "The package does not install."; }

wrong=0
# check WHAT COMMAND...: must succeed inside.
check() {
    what=$1
    shift
    if inside "$@" >"$root/out" 2>&1; then
        say "  ok: $what"
    else
        say "  WRONG: $what" "$(cat "$root/out")"
        wrong=1
    fi
}
check "says its version" idlehark --version
check "the bundled recording is judged, with a picture" sh -c 'cd /root && idlehark demo >demo.txt && grep -q "brake booster hose" demo.txt && [ -s verdict.png ]'
check "a case is kept and reported" sh -c 'cd /usr/share/idlehark/recordings &&
    idlehark case new /root/marlow --engine engine.json --map map.json && idlehark case add /root/marlow recording bay.ogg &&
    idlehark report /root/marlow -o /root/report.html && grep -q "</html>" /root/report.html'
check "without a display the window says what to do" sh -c 'idlehark 2>&1 | grep -q -- --help'
for file in bin/idlehark share/man/man1/idlehark.1.gz share/bash-completion/completions/idlehark share/zsh/vendor-completions/_idlehark \
    share/fish/vendor_completions.d/idlehark.fish share/applications/idlehark.desktop share/icons/hicolor/scalable/apps/idlehark.svg \
    share/doc/idlehark/README.md share/doc/idlehark/copyright share/doc/idlehark/src/guide/README.md; do
    check "/usr/$file is there" test -s "/usr/$file"
done
check "the manual is a gzip file without a name or time in it" sh -c 'gzip -t /usr/share/man/man1/idlehark.1.gz &&
    gzip -dc /usr/share/man/man1/idlehark.1.gz | grep -q "^.TH IDLEHARK 1"'
check "every file belongs to root, none may be written by others" sh -c '
    [ -z "$(dpkg -L idlehark | while read -r f; do [ -L "$f" ] || find "$f" -maxdepth 0 \( ! -user root -o -perm /022 \); done)" ]'
check "the completion loads" bash -c '. /usr/share/bash-completion/completions/idlehark && complete -p idlehark'
check "it can be removed" dpkg --purge idlehark
check "nothing is left behind" sh -c '[ -z "$(find /usr -name "*idlehark*")" ]'
exit $wrong
