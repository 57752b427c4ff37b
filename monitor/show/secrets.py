"""Secrets are named in the file and read from elsewhere, at the moment they are needed."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.domain import BadInputError, Problem

if TYPE_CHECKING:
    from collections.abc import Mapping

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_LONGEST = 4096


def secret(reference: str, environ: Mapping[str, str], base: Path) -> str:
    """The secret that `env:NAME` or `file:PATH` stands for; a path counts from `base`.

    Raises BadInputError, which names the reference and never a secret.
    """
    kind, _, name = reference.partition(":")
    kind, name = kind.strip().lower(), name.strip()
    if kind == "env" and _NAME.fullmatch(name):
        return _from_environment(name, environ)
    if kind == "file" and name:
        return _from_file(name, base)
    raise _refused(
        "plain-secret",
        "A secret stands in the file itself, or is not written as a reference.",
        'Keep it outside and write "env:NAME" or "file:PATH"; change it, if others saw this file.',
    )


def _from_environment(name: str, environ: Mapping[str, str]) -> str:
    value = environ.get(name, "").strip()
    if not value:
        raise _refused(
            "secret-unset",
            f"The variable {name}, which holds a secret, is not set.",
            f"Set {name} where the monitor is started.",
        )
    return value


def _from_file(name: str, base: Path) -> str:
    try:
        with (base / Path(name).expanduser()).open("rb") as file:
            held = file.read(_LONGEST + 1)
        value = held.decode("utf-8-sig").strip()
    except (OSError, ValueError, RuntimeError):
        raise _refused(
            "secret-file",
            f"The file {name}, which holds a secret, cannot be read.",
            "Write the secret into that file and let the monitor's account read it.",
        ) from None
    if not value or len(held) > _LONGEST:
        raise _refused(
            "secret-file",
            f"The file {name}, which should hold a secret, is {'too long' if value else 'empty'}.",
            "Write nothing but the secret into it.",
        )
    return value


def _refused(code: str, says: str, remedy: str) -> BadInputError:
    return BadInputError([Problem(code, says, remedy)])
