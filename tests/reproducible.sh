#!/bin/sh
# Whether a release is the same whoever builds it: the committed source, in two folders, at two times of day, under two
# names and languages of the user, gives the same program, manual and package, byte for byte.
# usage: reproducible.sh [COMMIT] (default HEAD); takes two builds of the program; needs git. Exit 1 names what differs.
set -eu
cd "$(dirname "$0")/.."
commit=$(git rev-parse "${1:-HEAD}")
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
SOURCE_DATE_EPOCH=$(git log -1 --format=%ct "$commit")
export SOURCE_DATE_EPOCH CCACHE_DISABLE=1

# build FOLDER LANGUAGE TIMEZONE UMASK
build() {
    mkdir -p "$work/$1/source"
    git archive "$commit" | tar -x -C "$work/$1/source"
    (
        umask "$4"
        export LC_ALL="$2" TZ="$3" HOME="$work/$1"
        cmake -S "$work/$1/source" -B "$work/$1/build" -G Ninja -DCMAKE_BUILD_TYPE=Release -DIDLEHARK_TESTS=OFF \
            -DIDLEHARK_COMMIT="$commit"
        cmake --build "$work/$1/build"
        umask 022 # CPack writes the umask into the archive around the package
        cd "$work/$1/build" && cpack
    ) >"$work/$1.log" 2>&1 || { tail -n 30 "$work/$1.log"; exit 1; }
}
build one C UTC 022
build a/much/longer/folder C.UTF-8 Pacific/Auckland 077

differ=0
same() {
    if cmp "$work/one/build/$1" "$work/a/much/longer/folder/build/$1"; then
        echo "same: $(sha256sum <"$work/one/build/$1" | cut -c1-16) $1"
    else
        differ=1
    fi
}
package=$(cd "$work/one/build" && ls idlehark_*.deb)
for file in idlehark manual/man/idlehark.1 manual/bash/idlehark manual/zsh/_idlehark manual/fish/idlehark.fish "$package"; do
    same "$file"
done
if grep -aqF "$work" "$work/one/build/idlehark"; then
    echo "The program holds the name of the folder it was built in."
    differ=1
fi
exit $differ
