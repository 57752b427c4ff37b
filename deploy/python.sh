# Shared by the scripts beside it, which read it with `.`: how a Python is found and how an
# environment is made, also on a machine whose Python came without venv's other half.
# POSIX sh; every function says in one line what it does, or in one sentence what is missing.

# What pip must not take from the user's surroundings; where it fetches from stays theirs.
PIP_DISABLE_PIP_VERSION_CHECK=1
PIP_NO_INPUT=1
PIP_USER=0
PIP_REQUIRE_VIRTUALENV=0
export PIP_DISABLE_PIP_VERSION_CHECK PIP_NO_INPUT PIP_USER PIP_REQUIRE_VIRTUALENV
unset PYTHONHOME PYTHONPATH PIP_TARGET PIP_PREFIX

say() {
    printf '%s\n' "$*"
}

refuse() {
    printf '%s\n' "$*" >&2
    exit 3
}

# Is $1 a Python that answers and is new enough?
serves() {
    "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1
}

# Sets $python to the newest Python that serves.
find_python() {
    for python in python3.13 python3.12 python3.11 python3; do
        if serves "$python"; then
            python=$(command -v "$python")
            return
        fi
    done
    if ! command -v python3 >/dev/null 2>&1; then
        if fetch_debian_packages python3 python3-venv && serves python3; then
            python=$(command -v python3)
            return
        fi
        refuse "Python is missing: install Python 3.11 or later (on Debian and Ubuntu:" \
            "apt-get install python3 python3-venv) and run this again."
    fi
    refuse "Python is too old: this needs Python 3.11 or later, and python3 here is" \
        "$(python3 -c 'import platform; print(platform.python_version())' 2>/dev/null ||
            echo 'not one that runs')."
}

# Only root on a Debian can add packages; anybody else is told their names instead.
fetch_debian_packages() {
    [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1 || return 1
    say "Installing Debian's $*"
    DEBIAN_FRONTEND=noninteractive
    export DEBIAN_FRONTEND
    # The list of packages may never have been fetched, or be out of date.
    apt-get install -q -y --no-install-recommends "$@" >/dev/null 2>&1 ||
        { apt-get update -q >/dev/null &&
            apt-get install -q -y --no-install-recommends "$@" >/dev/null; }
}

# Can $1/bin/python install anything? A folder alone proves nothing: a venv that failed
# half-way leaves one behind.
has_pip() {
    "$1/bin/python" -m pip --version >/dev/null 2>&1
}

# Makes the environment $1 unless a whole one of this checkout is there.
make_environment() {
    if serves "$1/bin/python" && has_pip "$1" && stamped "$1" place "$(pwd -P)"; then
        return
    fi
    find_python
    say "Making $1 with $("$python" --version 2>&1)"
    fill_environment "$1" || refuse "Python's venv is incomplete: install python3-venv or" \
        "python3-pip (on Debian and Ubuntu: apt-get install python3-venv) and run this again."
    stamp "$1" place "$(pwd -P)"
}

fill_environment() {
    if "$python" -c 'import ensurepip' 2>/dev/null; then
        "$python" -m venv --clear "$1" >/dev/null 2>&1 && has_pip "$1" && return
    fi
    # The machine's own pip can serve the environment from outside (--python: pip 22.3).
    if "$python" -m pip --python "$python" --version >/dev/null 2>&1 &&
        "$python" -m venv --clear --without-pip "$1"; then
        "$python" -m pip --python "$1/bin/python" install -q --require-hashes \
            -r deploy/build.lock && has_pip "$1" && return
    fi
    version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
    case $python in
    /usr/bin/* | /bin/*) fetch_debian_packages "python$version-venv" || return 1 ;;
    *) return 1 ;;
    esac
    "$python" -m venv --clear "$1" && has_pip "$1"
}

# A stamp is taken off before its step and written after it went through, so a step cut short
# is taken again, also when what it was for has since gone back to what it was.
stamped() {
    [ -f "$1/.set-up-$2" ] && [ "$(cat "$1/.set-up-$2")" = "$3" ]
}

stamp() {
    printf '%s\n' "$3" >"$1/.set-up-$2"
}

unstamp() {
    rm -f "$1/.set-up-$2"
}

# Prints one hash over the files and folders named after the environment $1.
fingerprint() {
    environment=$1
    shift
    "$environment/bin/python" - "$@" <<'PYTHON'
import hashlib
import pathlib
import sys

total = hashlib.sha256()
for name in sys.argv[1:]:
    top = pathlib.Path(name)
    for path in sorted(top.rglob("*")) if top.is_dir() else [top]:
        if path.is_file() and "__pycache__" not in path.parts:
            data = hashlib.sha256(path.read_bytes()).hexdigest()
            total.update(f"{path.as_posix()}\0{data}\n".encode())
print(total.hexdigest())
PYTHON
}

# Installs into the environment $1 what the lock files after it pin: each once per state of its.
install_locks() {
    into=$1
    shift
    for lock in "$@"; do
        shift
        if ! stamped "$into" "$(basename "$lock")" "$(fingerprint "$into" "$lock")"; then
            unstamp "$into" "$(basename "$lock")"
            set -- "$@" -r "$lock"
        fi
    done
    if [ $# = 0 ]; then
        say "Libraries in $into are as locked"
        return
    fi
    say "Installing the locked libraries into $into"
    "$into/bin/python" -m pip install -q --require-hashes "$@" ||
        refuse "The libraries could not be installed: pip's own message stands above;" \
            "mend that and run this again."
    for lock in "$@"; do
        [ "$lock" = -r ] ||
            stamp "$into" "$(basename "$lock")" "$(fingerprint "$into" "$lock")"
    done
}

# Installs the project itself into $1: `wheel` as a copy that needs this checkout no longer,
# `editable` as a pointer to it. Nothing is fetched: its libraries and builder are there.
install_project() {
    case $2 in
    wheel) sources=$(fingerprint "$1" pyproject.toml README.md monitor config) how=. ;;
    editable) sources=$(fingerprint "$1" pyproject.toml monitor/__init__.py) how=-e. ;;
    esac
    if stamped "$1" project "$sources"; then
        say "Dryspell in $1 is as in this checkout"
        return
    fi
    say "Installing Dryspell into $1"
    unstamp "$1" project
    "$1/bin/python" -m pip install -q --no-index --no-deps --no-build-isolation \
        --force-reinstall "$how" ||
        refuse "Dryspell itself could not be installed: pip's own message stands above;" \
            "mend that and run this again."
    stamp "$1" project "$sources"
}
