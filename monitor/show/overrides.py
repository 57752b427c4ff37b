"""Variables of the environment that override a plain key: DRYSPELL_SECTION__KEY."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from monitor.domain import Problem
from monitor.show.explain import keys_of
from monitor.show.nearest import meant
from monitor.show.settings import LISTED_SECTIONS, PLAIN_SECTIONS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

PREFIX = "DRYSPELL_"
SHOW_VARIABLE = "DRYSPELL_SHOW"
"""Names the show folder; the command reads it, not the show."""

_REFERENCE = re.compile(r"env:([A-Za-z_][A-Za-z0-9_]*)")


def referred(texts: Iterable[str]) -> frozenset[str]:
    """Variables that secrets in these texts refer to: they override nothing."""
    return frozenset(name for text in texts for name in _REFERENCE.findall(text))


def overrides(
    environ: Mapping[str, str], secrets: frozenset[str]
) -> tuple[dict[str, dict[str, str]], dict[tuple[str, str], str], list[Problem]]:
    """What the environment sets.

    Returns
    -------
    values by section and key; the variable that set each; a problem for each variable that
    begins like ours and sets nothing
    """
    values: dict[str, dict[str, str]] = {}
    variables: dict[tuple[str, str], str] = {}
    problems: list[Problem] = []
    known = {
        f"{PREFIX}{section}__{key}".upper(): (section, key)
        for section, model in PLAIN_SECTIONS.items()
        for key in keys_of(model)
    }
    for variable in sorted(environ):
        if not variable.upper().startswith(PREFIX) or variable in secrets:
            continue
        if variable.upper() == SHOW_VARIABLE:
            continue
        place = known.get(variable.upper())
        if place is None:
            problems.append(_unknown(variable, known))
        else:
            values.setdefault(place[0], {})[place[1]] = environ[variable]
            variables[place] = variable
    return values, variables, problems


def _unknown(variable: str, known: Iterable[str]) -> Problem:
    section = variable.upper().removeprefix(PREFIX).partition("__")[0].lower()
    if section in LISTED_SECTIONS:
        remedy = f"{section} is a list: change it in show.toml. Only plain keys can be overridden."
    else:
        # The common beginning would make all of them look alike.
        tail = variable.upper().removeprefix(PREFIX)
        near = meant(tail, [name.removeprefix(PREFIX) for name in (*known, SHOW_VARIABLE)])
        remedy = (
            f"Perhaps {PREFIX}{near} is meant."
            if near
            else "Remove it, or write DRYSPELL_SECTION__KEY, like DRYSPELL_POLICY__RISK."
        )
    return Problem(
        "unknown-variable",
        f"The variable {variable} overrides nothing in a show.",
        remedy,
        file="environment",
        key=variable,
    )
