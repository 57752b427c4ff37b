#!/bin/sh
# Runs every test from an environment of its own: `sh deploy/test.sh`. Words after it are
# pytest's: `sh deploy/test.sh tests/store -x`. A run that finds no test fails (pytest's 5).
set -eu
cd -- "$(dirname -- "$0")/.."
. deploy/python.sh

make_environment .venv-test
install_locks .venv-test deploy/build.lock deploy/requirements.lock deploy/test.lock
install_project .venv-test editable
exec .venv-test/bin/python -m pytest "$@"
