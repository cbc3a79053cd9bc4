#!/bin/sh
# check.sh BUILD COMPILER: install BUILD into a folder of its own, and see that a C program from outside builds against it and runs,
# by pkg-config and by find_package, shared and static, and that only rlv_ symbols can be seen.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
build=$1
compiler=$2
tree=$build/install-check
rm -rf "$tree"
cmake --install "$build" --prefix "$tree/usr" > /dev/null

for file in bin/rilievo include/rilievo/change.h share/man/man1/rilievo-change.1; do
    [ -f "$tree/usr/$file" ] || { echo "$file was not installed"; exit 1; }
done

PKG_CONFIG_PATH=$(dirname "$(find "$tree/usr" -name rilievo.pc)")
export PKG_CONFIG_PATH
libdir=$(pkg-config --variable=libdir rilievo)
# shellcheck disable=SC2046
"$compiler" -std=c17 "$here/outside.c" -o "$tree/by-pkg-config" $(pkg-config --cflags --libs rilievo) -lm
LD_LIBRARY_PATH=$libdir "$tree/by-pkg-config"

# The README's program builds as it stands there, and says what is wrong where it is given no mesh.
awk '/^```c$/ { on = 1; next } /^```$/ { on = 0 } on' "$here/../../../README.md" > "$tree/readme.c"
# shellcheck disable=SC2046
"$compiler" -std=c17 -Wall -Wextra -Werror "$tree/readme.c" -o "$tree/readme" $(pkg-config --cflags --libs rilievo)
status=0
LD_LIBRARY_PATH=$libdir "$tree/readme" "$tree/no.ply" "$tree/no.ply" 2> "$tree/readme.err" || status=$?
[ "$status" = 2 ] && grep -q no.ply "$tree/readme.err" || { echo "the README's program: status $status"; exit 1; }

cmake -S "$here" -B "$tree/outside" -DCMAKE_PREFIX_PATH="$tree/usr" -DCMAKE_C_COMPILER="$compiler" > "$tree/outside.log"
cmake --build "$tree/outside" >> "$tree/outside.log"
"$tree/outside/outside_shared"
"$tree/outside/outside_static"

strangers=$(nm -D --defined-only "$libdir/librilievo.so" | awk '{ print $3 }' | grep -v '^rlv_' || true)
[ -z "$strangers" ] || { echo "the shared library shows: $strangers"; exit 1; }

# Each header stands by itself.
for header in "$tree"/usr/include/rilievo/*.h; do
    echo "#include <rilievo/$(basename "$header")>" > "$tree/header.c"
    "$compiler" -std=c17 -Wall -Wextra -Wpedantic -Werror -fsyntax-only "-I$tree/usr/include" "$tree/header.c"
done

# And all of them stand beside each other.
for header in "$tree"/usr/include/rilievo/*.h; do
    echo "#include <rilievo/$(basename "$header")>"
done > "$tree/headers.c"
"$compiler" -std=c17 -Wall -Wextra -Wpedantic -Werror -fsyntax-only "-I$tree/usr/include" "$tree/headers.c"
