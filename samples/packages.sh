# shellcheck shell=sh
# Read by samples/demo.sh and tests/run.sh: what building and testing need, and how it gets there.
#
# need_packages NAME... looks for what is missing of the named sets (build, demo, test, bench). On Debian, as root or with sudo
# that asks for no password, it installs them; anywhere else it names them and stops.

# set, Debian package, how it shows that it is there
package_table() {
    cat <<'TABLE'
build build-essential command cc
build cmake command cmake
build ninja-build command ninja
build pkg-config command pkg-config
build libgsl-dev library gsl
build libassimp-dev library assimp
build libcglm-dev library cglm
build libjansson-dev library jansson
build libcyaml-dev library libcyaml
build libyaml-dev library yaml-0.1
build libcsv-dev path /usr/include/csv.h
build libpango1.0-dev library pangocairo
build libpng-dev library libpng
build libssl-dev library libcrypto
build fonts-dejavu-core font DejaVu
demo jq command jq
test libcriterion-dev library criterion
test assimp-testmodels path /usr/share/assimp/models
test libxml2-utils command xmllint
test locales path /usr/share/i18n/locales/de_DE
test npm command npm
bench libembree-dev path /usr/include/embree3/rtcore.h
bench libcgal-dev path /usr/include/CGAL/version.h
bench python3-open3d path /usr/lib/python3/dist-packages/open3d
TABLE
}

package_there() {
    case $1 in
    command) command -v "$2" > /dev/null 2>&1 ;;
    library) command -v pkg-config > /dev/null 2>&1 && pkg-config --exists "$2" ;;
    path) [ -e "$2" ] ;;
    font) [ -d /usr/share/fonts/truetype/dejavu ] || { command -v fc-list > /dev/null 2>&1 && fc-list | grep -q "$2"; } ;;
    esac
}

missing_packages() {
    package_table | while read -r set package how name; do
        for wanted in "$@"; do
            if [ "$set" = "$wanted" ] && ! package_there "$how" "$name"; then
                printf ' %s' "$package"
            fi
        done
    done
}

need_packages() {
    missing=$(missing_packages "$@")
    [ -n "$missing" ] || return 0
    root=
    if [ "$(id -u)" != 0 ]; then
        root='sudo -n'
    fi
    if [ ! -f /etc/debian_version ] || ! command -v apt-get > /dev/null 2>&1 || ! $root true > /dev/null 2>&1; then
        echo "These are missing (by their Debian names):$missing" >&2
        echo "Install them, then run this again." >&2
        exit 4
    fi
    echo "installing:$missing"
    $root apt-get update -q > /dev/null
    # shellcheck disable=SC2086
    $root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $missing > /dev/null
    missing=$(missing_packages "$@")
    if [ -n "$missing" ]; then
        echo "Installed, and still not found:$missing" >&2
        exit 4
    fi
}
