# Sourced by run.sh, test.sh and bench.sh: makes the virtual environment .venv in the repository with the
# releases that constraints.txt pins, and sees to what must come from the system's own packages.
# Quick when nothing has changed: a stamp in .venv says what it was made from.

set -euo pipefail
unset PYTHONPATH PYTHONHOME

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
venv=$root/.venv

say() { printf '%s\n' "tbmreview: $*" >&2; }
fail() {
    say "$*"
    exit 1
}

# --- the system's packages --------------------------------------------------------------------------------

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi
}

may_install() {
    command -v apt-get >/dev/null && { [ "$(id -u)" = 0 ] || sudo -n true 2>/dev/null; }
}

# system_packages WHY PACKAGE...: installs them where that is allowed, else says what to type and stops.
system_packages() {
    local why=$1 log
    shift
    command -v apt-get >/dev/null || fail "$why; install what your system calls: $*"
    may_install || fail "$why; type: sudo apt-get install $*"
    say "$why; installing $*"
    log=$(mktemp)
    if ! { as_root apt-get update && as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install --yes --no-install-recommends "$@"; } >"$log" 2>&1; then
        cat "$log" >&2
        rm -f "$log"
        fail "installing failed (see above); type: sudo apt-get install $*"
    fi
    rm -f "$log"
}

# --- Python and the environment ---------------------------------------------------------------------------

find_python() {
    local name
    for name in python3 python3.14 python3.13 python3.12 python3.11; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$name"
            return
        fi
    done
    fail "needs Python 3.11 or newer and found none; install python3.11 or a newer one"
}

# The environment runs, is new enough, and was made at this place (its scripts name the place).
environment_is_sound() {
    "$venv/bin/python" -c 'import pip, sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null &&
        grep -qsF -- "-m venv $venv" "$venv/pyvenv.cfg"
}

fingerprint() {
    { echo "$root" && "$venv/bin/python" --version && cat "$root/pyproject.toml" "$root/packaging/constraints.txt"; } |
        sha256sum | cut -d' ' -f1
}

# make_environment [dev]: .venv with the package (from this folder, editable) and, with dev, its tests' needs.
make_environment() {
    local extra=${1:-} python
    if ! environment_is_sound; then
        python=$(find_python)
        if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
            system_packages "$python cannot make virtual environments" \
                "python$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')-venv"
        fi
        say "making .venv with $python"
        rm -rf "$venv"
        "$python" -m venv "$venv"
    fi
    [ "$(cat "$venv/made-from${extra:+-$extra}" 2>/dev/null)" != "$(fingerprint)" ] || return 0
    say "installing the releases pinned in packaging/constraints.txt (some 700 MB on disk)"
    rm -f "$venv"/made-from*
    pip_install setuptools
    pip_install --no-build-isolation --editable "$root${extra:+[$extra]}"
    fingerprint >"$venv/made-from"
    [ -z "$extra" ] || fingerprint >"$venv/made-from-$extra"
}

pip_install() {
    local quiet=
    [ -t 2 ] || quiet=--quiet
    "$venv/bin/python" -m pip install $quiet --disable-pip-version-check \
        --constraint "$root/packaging/constraints.txt" "$@" >&2
}

# --- Qt's system libraries --------------------------------------------------------------------------------

# qt_libraries offscreen|xcb|wayland: what Qt loads from the system to draw without or with a window.
qt_libraries() {
    local missing packages= soname package
    [ "$(uname -s)" = Linux ] || return 0
    missing=$(missing_libraries "$1")
    [ -n "$missing" ] || return 0
    for soname in $missing; do
        package=$(package_of "$soname")
        [ -n "$package" ] || fail "Qt needs $soname, which is missing; install the package that brings it"
        case " $packages " in *" $package "*) ;; *) packages="$packages $package" ;; esac
    done
    system_packages "Qt needs system libraries that are missing" $packages
    missing=$(missing_libraries "$1")
    [ -z "$missing" ] || fail "Qt still lacks" $missing
}

# The sonames that the loader cannot find for Qt's modules and for the plug-ins of one platform.
missing_libraries() {
    local qt file
    qt=$(echo "$venv"/lib/python3*/site-packages/PySide6)
    for file in "$qt"/Qt{Core,Gui,Widgets,Svg,Test}.abi3.so "$qt"/Qt/plugins/iconengines/libqsvgicon.so \
        "$qt"/Qt/plugins/imageformats/libq{jpeg,svg}.so $(platform_files "$qt/Qt/plugins" "$1"); do
        [ -e "$file" ] || fail "PySide6 is not as expected: $file does not exist"
        LC_ALL=C ldd "$file" 2>/dev/null || fail "ldd cannot read $file"
    done | sed -n 's/^[[:space:]]*\([^ ]*\) => not found.*/\1/p' | sort -u
}

platform_files() {
    case $2 in
        offscreen) echo "$1"/platforms/libqoffscreen.so ;;
        xcb) echo "$1"/platforms/libqxcb.so "$1"/xcbglintegrations/*.so ;;
        wayland) echo "$1"/platforms/libqwayland.so "$1"/wayland-{shell-integration,graphics-integration-client}/*.so ;;
    esac
}

# The Debian or Ubuntu package of a shared library. Names seen with ldd and dpkg -S on Debian 12 and 13.
package_of() {
    case $1 in
        libEGL.so.1) echo libegl1 ;;
        libGL.so.1) echo libgl1 ;;
        libX11.so.6) echo libx11-6 ;;
        libX11-xcb.so.1) echo libx11-xcb1 ;;
        libdbus-1.so.3) echo libdbus-1-3 ;;
        libfontconfig.so.1) echo libfontconfig1 ;;
        libfreetype.so.6) echo libfreetype6 ;;
        libglib-2.0.so.0 | libgthread-2.0.so.0) echo "libglib2.0-0$(wide_time)" ;;
        libwayland-client.so.0) echo libwayland-client0 ;;
        libwayland-cursor.so.0) echo libwayland-cursor0 ;;
        libwayland-egl.so.1) echo libwayland-egl1 ;;
        libxcb.so.1) echo libxcb1 ;;
        libxcb-cursor.so.0) echo libxcb-cursor0 ;;
        libxcb-glx.so.0) echo libxcb-glx0 ;;
        libxcb-icccm.so.4) echo libxcb-icccm4 ;;
        libxcb-image.so.0) echo libxcb-image0 ;;
        libxcb-keysyms.so.1) echo libxcb-keysyms1 ;;
        libxcb-randr.so.0) echo libxcb-randr0 ;;
        libxcb-render.so.0) echo libxcb-render0 ;;
        libxcb-render-util.so.0) echo libxcb-render-util0 ;;
        libxcb-shape.so.0) echo libxcb-shape0 ;;
        libxcb-shm.so.0) echo libxcb-shm0 ;;
        libxcb-sync.so.1) echo libxcb-sync1 ;;
        libxcb-util.so.1) echo libxcb-util1 ;;
        libxcb-xfixes.so.0) echo libxcb-xfixes0 ;;
        libxcb-xkb.so.1) echo libxcb-xkb1 ;;
        libxkbcommon.so.0) echo libxkbcommon0 ;;
        libxkbcommon-x11.so.0) echo libxkbcommon-x11-0 ;;
    esac
}

# Debian 13 and Ubuntu 24.04 renamed libraries whose time type grew; python3 itself stands on one of them.
wide_time() {
    ! dpkg-query --show '*t64' >/dev/null 2>&1 || echo t64
}
