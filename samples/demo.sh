#!/bin/sh
# The main job, on an invented specimen: install what is missing, build, make a specimen of six stages, measure each step between
# them, and print one table.
#
#   sh samples/demo.sh [--truth] [--size N]
#
#   --truth   put what was truly taken off beside each step, and whether the interval holds it
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
stages=$(jq '.stages | length' "$truths")

# One row of the table, from change.json and the truth. Figures follow the interval: as many decimals as its sd allows, its ends rounded outwards.
row() {
    jq -rn --slurpfile change "$1" --slurpfile truth "$truths" --argjson step "$2" --arg with_truth "$truth" '
        def decimals: if . > 0 then (. / 3.92 | log10 | floor) as $place | [0, -$place] | max else 0 end;
        def written($d): . as $n
            | if $d == 0 then "\($n)"
              else (if $n < 0 then "-" else "" end) + (($n | fabs | tostring) as $s
                    | (("0" * ([$d + 1 - ($s | length), 0] | max)) // "") + $s
                    | .[:-$d] + "." + .[-$d:]) end;
        def shown($d): . * pow(10; $d) | round | written($d);
        def low_end($d): . / 1000 * pow(10; $d) + 0.001 | floor | written($d);
        def high_end($d): . / 1000 * pow(10; $d) - 0.001 | ceil | written($d);
        def pad($w): tostring | if length < $w then " " * ($w - length) + . else . end;
        def millilitres($d): . / 1000 | shown($d);
        ($change[0]) as $c
        | ($truth[0].changes[] | select(.before == $step - 1 and .after == $step)) as $t
        | ((($c.removed.high_mm3 - $c.removed.low_mm3) / 1000) | decimals) as $d
        | (($c.added.high_mm3 - $c.added.low_mm3) / 1000 | decimals) as $da
        | ([$c.regions[] | select(.class == "removed")]) as $removed
        | ([$c.regions[] | select(.class == "added")]) as $added
        | [ ("\($step - 1) to \($step)" | pad(6)),
            ($c.removed.volume_mm3 | millilitres($d) | pad(9)),
            ("\($c.removed.low_mm3 | low_end($d)) to \($c.removed.high_mm3 | high_end($d))" | pad(19)),
            ((if ($added | length) > 0 then $c.added.volume_mm3 | millilitres($da) else "-" end) | pad(8)),
            ((if ($removed | length) > 0 then [$removed[].max_depth_mm] | max | shown(1) else "-" end) | pad(9)),
            ("\($removed | length) + \($added | length)" | pad(7)) ]
          + (if $with_truth == "yes"
             then ($c.removed.volume_mm3 - $c.added.volume_mm3 + $c.untold.volume_mm3) as $net
             | ([$c.removed, $c.added, $c.untold] | map(.volume_mm3 - .low_mm3) | add) as $half
             | ($t.removed_mm3 - $t.added_mm3) as $true_net
             | (2 * $half / 1000 | decimals) as $dn
             | [ ($t.removed_mm3 | millilitres($d) | pad(9)),
                 ((if $t.removed_mm3 >= $c.removed.low_mm3 and $t.removed_mm3 <= $c.removed.high_mm3 then "inside" else "outside" end)
                  | pad(8)),
                 ($t.added_mm3 | millilitres(1) | pad(5)),
                 ("\($net | millilitres($dn)) +- \($half | millilitres($dn))" | pad(11)),
                 ($true_net | millilitres($dn) | pad(6)),
                 ((if ($net - $true_net | fabs) <= $half then "inside" else "outside" end) | pad(7)) ]
             else [] end)
        | join("  ")'
}

table=$out/table.txt
{
    printf '%6s  %9s  %19s  %8s  %9s  %7s' stages "removed" "95 % interval" added greatest regions
    if [ "$truth" = yes ]; then printf '  %9s  %8s  %5s  %11s  %6s' "truth" "" added "with untold" truth; fi
    echo
} > "$table"
step=1
while [ "$step" -lt "$stages" ]; do
    before=$((step - 1))
    echo "measuring stage $before to stage $step"
    here=$out/change-$before-$step
    build/release/rilievo change "$specimen/$(jq -r ".stages[$before].mesh" "$truths")" \
        "$specimen/$(jq -r ".stages[$step].mesh" "$truths")" --unit mm \
        --scale-sd "$(jq ".stages[$before].scale_sd" "$truths")" \
        --scale-sd-after "$(jq ".stages[$step].scale_sd" "$truths")" --out "$here" > "$out/change-$before-$step.txt"
    row "$here/change.json" "$step" >> "$table"
    step=$((step + 1))
done

echo
cat "$table"
cat <<END

removed and added: mL of what could be told from noise. greatest: depth in mm. regions: removed + added.
END
if [ "$truth" = yes ]; then
    cat <<'END'
with untold: removed - added + not told apart, which also holds what was too thin to be told; beside it the true change of volume.
END
fi
cat <<END
What went may be matrix, bone that was hidden, or bone that lay open: a mesh cannot tell.
Pictures: $out/change-*/depth.png (with before.png and after.png through the same camera).
All of it as one report, with the record, bone apart from matrix, and sheets to print (some minutes):
  build/release/rilievo report $out/specimen
Each step in words: $out/change-*.txt; the numbers: change.json and regions.csv beside the pictures.
END
