#!/bin/sh
# Builds ref1_ida into the folder given. SUNDIALS_PREFIX names an installation of SUNDIALS to use (include/ and lib/);
# without it the one that the compiler finds by itself is taken. Prints which; exit code 3: there is none.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
out=${1:?usage: build.sh FOLDER}
cc=${CC:-cc}
libs="-lsundials_ida -lsundials_nvecserial -lsundials_sunmatrixdense -lsundials_sunlinsoldense -lm"
if [ -n "${SUNDIALS_PREFIX:-}" ]; then
    [ -e "$SUNDIALS_PREFIX/include/ida/ida.h" ] || { echo "no include/ida/ida.h under SUNDIALS_PREFIX=$SUNDIALS_PREFIX" >&2; exit 3; }
    flags="-I$SUNDIALS_PREFIX/include -L$SUNDIALS_PREFIX/lib -Wl,-rpath,$SUNDIALS_PREFIX/lib"
    kind="own build ($SUNDIALS_PREFIX)"
    # a static generic library comes last; a shared one brings itself
    [ -e "$SUNDIALS_PREFIX/lib/libsundials_generic.a" ] && libs="$libs -lsundials_generic"
else
    flags=""
    kind="the system's package"
    echo '#include <ida/ida.h>' | "$cc" -E -x c - >/dev/null 2>&1 || { echo "no <ida/ida.h> found by $cc" >&2; exit 3; }
    libs="$libs -lsundials_generic"
fi
mkdir -p "$out"
# shellcheck disable=SC2086
"$cc" -std=gnu11 -O3 -march=native -Wall -Wextra $flags "$here/ref1_ida.c" -o "$out/ref1_ida" $libs
echo "$kind"
