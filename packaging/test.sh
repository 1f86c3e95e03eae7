#!/usr/bin/env bash
# Makes the environment with the developer's extra, then lint, types, contracts and every test, offscreen:
#   packaging/test.sh            all that must pass before a change lands
#   packaging/test.sh core       the tests of the part without Qt alone, with Qt out of reach
# Needs Debian or Ubuntu with Python 3.11 or newer, nothing else. Safe to run twice, quick the second time.

. "$(dirname "${BASH_SOURCE[0]}")/setup.sh"

case ${1:-all} in
    all | core) part=${1:-all} ;;
    *) say "usage: packaging/test.sh [core]"; exit 2 ;;
esac

make_environment dev
cd "$root"
PATH=$venv/bin:$PATH
if [ "$part" = core ]; then
    export PYTHONPATH=tests/support
    exec pytest -p no:pytest-qt -p without_qt -n 2 tests/{domain,ingest,store,motion,indicators,findings,drive,scene,help}
fi

qt_libraries offscreen
command -v pdftotext >/dev/null || system_packages "the tests read sheets with pdftotext" poppler-utils

step() {
    say "$*"
    "$@" >&2
}
step ruff check .
step ruff format --check .
step mypy
step lint-imports --no-logo
step pip check
say "pytest"
QT_QPA_PLATFORM=offscreen exec pytest -n 2
