#!/usr/bin/env bash
# Runs the measurements of tests/bench beside their peers: packaging/bench.sh [FILE or pytest option]...
# Takes minutes and means something only on a quiet machine; no test depends on it.

. "$(dirname "${BASH_SOURCE[0]}")/setup.sh"

make_environment dev
qt_libraries offscreen
cd "$root"
[ $# -gt 0 ] || set -- tests/bench
QT_QPA_PLATFORM=offscreen exec "$venv/bin/pytest" -s -o python_files='bench_*.py' "$@"
