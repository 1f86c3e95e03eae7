#!/usr/bin/env bash
# Makes the environment, then opens the invented sample drive: packaging/run.sh [FOLDER] [--no-window]
# Needs Debian or Ubuntu with Python 3.11 or newer, nothing else. Safe to run twice, quick the second time.

. "$(dirname "${BASH_SOURCE[0]}")/setup.sh"

if [ -n "${DISPLAY:-}" ]; then
    platform=xcb
elif [ -n "${WAYLAND_DISPLAY:-}" ]; then
    platform=wayland
else
    platform=offscreen
fi

make_environment
qt_libraries "$platform"
if [ "$platform" = offscreen ]; then
    say "no display (DISPLAY and WAYLAND_DISPLAY are empty): the demo runs without a window"
    set -- "$@" --no-window
fi
exec "$venv/bin/tbmreview" demo "$@"
