#!/bin/sh
# Everything a change must pass: `sh deploy/check.sh`. All of it runs whatever fails on the
# way, so one run tells the whole of what is wrong.
set -eu
cd -- "$(dirname -- "$0")/.."
. deploy/python.sh

make_environment .venv-test
install_locks .venv-test deploy/build.lock deploy/requirements.lock deploy/test.lock \
    deploy/dev.lock
install_project .venv-test editable

failed=''
check() {
    say "== $*"
    "$@" || failed="$failed
  $*"
}
check .venv-test/bin/ruff check .
check .venv-test/bin/ruff format --check .
check .venv-test/bin/mypy
check .venv-test/bin/lint-imports
check sh deploy/test.sh "$@"

if [ -n "$failed" ]; then
    say "Failed:$failed" >&2
    exit 1
fi
say "All passed."
