#!/bin/sh
# Installs Dryspell into .venv in this checkout: `sh deploy/install.sh`. Running it again
# mends what is missing or has changed, and is quick when nothing has.
set -eu
cd -- "$(dirname -- "$0")/.."
. deploy/python.sh

make_environment .venv
install_locks .venv deploy/build.lock deploy/requirements.lock
install_project .venv wheel
say "Done. Try it: .venv/bin/dryspell demo"
