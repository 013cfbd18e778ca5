#!/bin/sh
# The built program carries what makes a fault in it hard to use: position independent, tables read-only once loaded,
# no stack that runs, guarded stack frames and checked copies, marked jump targets on x86-64.
# (-fstack-clash-protection leaves nothing that could be looked for.)
# usage: hardened.sh PROGRAM; exit 77 where readelf is missing
set -u
program=$1
command -v readelf >/dev/null || { echo "SKIPPED: readelf is not installed (binutils)"; exit 77; }
failures=0
# must WHAT COMMAND...: the command's success is the proof.
must() {
    what=$1
    shift
    "$@" >/dev/null || { echo "WRONG: $program $what"; failures=1; }
}
has() { printf '%s\n' "$1" | grep -Eq "$2"; }
has_not() { ! has "$1" "$2"; }

header=$(readelf -hW "$program")
segments=$(readelf -lW "$program")
dynamic=$(readelf -dW "$program")
imports=$(readelf --dyn-syms -W "$program")

must "is not position independent" has "$header" 'Type: +DYN'
must "is not a position independent program" has "$dynamic" 'FLAGS_1.*PIE'
must "has no segment that turns read-only" has "$segments" 'GNU_RELRO'
must "binds functions while it runs" has "$dynamic" 'FLAGS_1.*NOW|BIND_NOW'
must "does not say what its stack may do" has "$segments" 'GNU_STACK'
must "has a stack that runs" has_not "$segments" 'GNU_STACK.*RWE'
must "has a segment both written and run" has_not "$segments" 'LOAD.* RWE '
must "does not guard its stack frames" has "$imports" '__stack_chk_fail'
must "does not check the length of copies" has "$imports" '__[a-z]+_chk(@|$)'
if has "$header" 'X86-64' && command -v objdump >/dev/null; then
    must "does not mark where a jump may land" has "$(objdump -d --disassemble=main "$program" | grep -A1 '<main>:')" endbr64
fi
exit $failures
