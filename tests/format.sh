#!/bin/sh
# Is every source file as clang-format leaves it? `format.sh --fix` makes it so.
cd "$(dirname "$0")/.." || exit 2
if [ "${1:-}" = --fix ]; then mode=-i; else mode="--dry-run --Werror"; fi
# shellcheck disable=SC2086 # words on purpose
find . -path ./build -prune -o -type f \( -name '*.hpp' -o -name '*.cpp' \) -exec clang-format $mode {} + 2>&1
