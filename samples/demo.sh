#!/bin/sh
# The main job, on an invented specimen: install what is missing, build, make a specimen of six stages with its record, measure
# its whole life, and print one table of what went and came, class by class.
#
#   sh samples/demo.sh [--truth] [--size N]
#
#   --truth   put what was truly taken off beside it, and whether the interval holds it
#   --size N  triangles a stage (make_demo's default where left out)
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=samples/packages.sh
. samples/packages.sh

truth=no
size=
while [ $# -gt 0 ]; do
    case $1 in
    --truth) truth=yes ;;
    --size)
        [ $# -gt 1 ] || { echo "samples/demo.sh: --size needs a number" >&2; exit 2; }
        size=$2
        shift
        ;;
    --size=*) size=${1#--size=} ;;
    *)
        echo "samples/demo.sh: there is no option $1; say --truth or --size N" >&2
        exit 2
        ;;
    esac
    shift
done

need_packages build demo
out=samples/out
specimen=$out/specimen
truths=$specimen/truth.json
mkdir -p build
echo "building"
cmake --preset release > build/demo.log 2>&1 || { cat build/demo.log >&2; exit 4; }
cmake --build --preset release --target rilievo make_demo >> build/demo.log 2>&1 || { tail -n 40 build/demo.log >&2; exit 4; }

echo "making the demo specimen ($specimen)"
build/release/make_demo --out "$specimen" ${size:+--size "$size"} > /dev/null

echo "measuring its life, and drawing the sheets (some minutes)"
build/release/rilievo report "$specimen" > "$out/report.txt"

# The table, from report.json and the truth. Figures follow the interval: as many decimals as its sd allows, its ends rounded outwards.
table=$out/table.txt
jq -rn --slurpfile report "$specimen/out/report.json" --slurpfile truth "$truths" --arg with_truth "$truth" '
    def decimals: if . > 0 then (. / 3.92 | log10 | floor) as $place | [0, -$place] | max else 0 end;
    def written($d): . + 0 | . as $n
        | if $d == 0 then "\($n)"
          else (if $n < 0 then "-" else "" end) + (($n | fabs | tostring) as $s
                | (("0" * ([$d + 1 - ($s | length), 0] | max)) // "") + $s
                | .[:-$d] + "." + .[-$d:]) end;
    def shown($d): . / 1000 * pow(10; $d) | round | written($d);
    def low_end($d): . / 1000 * pow(10; $d) + 0.001 | floor | written($d);
    def high_end($d): . / 1000 * pow(10; $d) - 0.001 | ceil | written($d);
    def at_most: . / 1000 | (log10 | floor - 1) as $place | ([0, -$place] | max) as $d
        | (. / pow(10; $place) - 0.000001 | ceil) * pow(10; $place + $d) | round | written($d);
    def left($w): tostring | . + " " * ([$w - length, 0] | max);
    def right($w): tostring | " " * ([$w - length, 0] | max) + .;
    def line($step; $class; $value; $ends; $deep; $true; $word):
        ($step | left(24)) + "  " + ($class | left(16)) + ($value | right(9)) + ($ends | right(19)) + ($deep | right(13))
        + (if $with_truth == "yes" then ($true | right(9)) + "  " + $word else "" end) | sub(" +$"; "");
    ["matrix_removed", "bone_lost", "piece_detached", "material_added", "piece_joined"] as $classes
    | line("step"; "class"; "mL"; "95 % interval"; "deepest, mm"; "truth"; ""),
      ($report[0].steps | to_entries[] | .key as $k | .value as $step
       | ($truth[0].changes[] | select(.before == $k and .after == $k + 1)) as $change
       | $classes[] as $class
       | $step.classes[$class] as $told
       | ($change.classes[$class + "_mm3"] // 0) as $true
       | select($told.known and ($told.regions > 0 or $true > 0))
       | (($told.volume_high_mm3 - $told.volume_low_mm3) / 1000 | decimals) as $d
       | ([$step.regions[]? | select(.class == ($class | gsub("_"; " "))) | .max_depth_mm] | max) as $deep
       | line("\($step.from) to \($step.to)"; $class | gsub("_"; " ");
              if $told.regions > 0 then $told.volume_mm3 | shown($d) else "none told" end;
              if $told.regions > 0 then "\($told.volume_low_mm3 | low_end($d)) to \($told.volume_high_mm3 | high_end($d))"
              else "0 to \($told.volume_high_mm3 | at_most)" end;
              if $deep != null then $deep * 1000 | shown(1) else "-" end;
              $true | shown([$d, 1] | max);
              if $true >= $told.volume_low_mm3 and $true <= $told.volume_high_mm3 then "inside" else "outside" end)),
      ($report[0].summary.mass_balance
       | "", if .known
             then "mass balance: unexplained \(.unexplained_g | round) g (\(.unexplained_low_g | floor) to \(.unexplained_high_g | ceil) g)"
                  + if .closes then ", it closes" else ", it does not close" end
             else "mass balance: not known, \(.missing) missing" end)' > "$table"

echo
cat "$table"
cat <<END

What is called matrix may hold bone that had never shown: a mesh cannot tell.
The report: $specimen/out/report.html, with every table as CSV (tables/), everything as JSON (report.json), and pictures/, as PNG
and as PDF at true scale: a map of depth and a comparison of each step, and all stages on one sheet.
In words: $out/report.txt
END
