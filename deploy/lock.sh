#!/bin/sh
# Remakes the lock files from pyproject.toml: `sh deploy/lock.sh`; with `--upgrade` it takes
# the newest versions, without it the pinned ones stay where they still fit. The oldest Python
# served does the reckoning, since libraries drop old ones but seldom new; each newer Python
# found here then proves the locks.
set -eu
cd -- "$(dirname -- "$0")/.."
. deploy/python.sh

scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT

python=$(command -v python3.11) && serves "$python" ||
    refuse "The locks are made with Python 3.11, the oldest served: install python3.11."
say "Making the environment that remakes the locks"
fill_environment "$scratch/tools" || refuse "Python 3.11 here cannot make an environment."
"$scratch/tools/bin/python" -m pip install -q --require-hashes -r deploy/dev.lock

# No trace of the machine or registry that remade them, so that only versions show in a diff.
remake() {
    lock=$1
    shift
    say "Remaking deploy/$lock"
    "$scratch/tools/bin/pip-compile" -q --generate-hashes --strip-extras --allow-unsafe \
        --no-header --no-annotate --no-emit-index-url --no-emit-trusted-host \
        --no-emit-find-links --no-emit-options -o "deploy/$lock" "$@" >/dev/null
    # Its remarks on single pins say nothing here.
    sed '/^#/d; /^$/d' "deploy/$lock" >"$scratch/$lock"
    cat "$scratch/$lock" >"deploy/$lock"
}
# What installs and builds: pip itself, and what the project names as its builder.
"$scratch/tools/bin/python" - >"$scratch/build.in" <<'PYTHON'
import pathlib
import tomllib

project = tomllib.loads(pathlib.Path("pyproject.toml").read_text(encoding="utf-8"))
print("pip", *project["build-system"]["requires"], sep="\n")
PYTHON
remake build.lock "$@" "$scratch/build.in"
remake requirements.lock "$@" --constraint deploy/build.lock pyproject.toml
remake test.lock "$@" --extra test --constraint deploy/requirements.lock \
    --constraint deploy/build.lock pyproject.toml
remake dev.lock "$@" --extra dev --constraint deploy/test.lock pyproject.toml

for newer in python3.12 python3.13; do
    serves "$newer" || continue
    python=$(command -v "$newer")
    fill_environment "$scratch/$newer" || continue
    say "Proving the locks with $newer"
    "$scratch/$newer/bin/python" -m pip install -q --dry-run --require-hashes \
        -r deploy/build.lock -r deploy/requirements.lock -r deploy/test.lock -r deploy/dev.lock
done
