"""`dryspell learn`: what inspections say of how much gear really stands."""

from __future__ import annotations

import textwrap
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor.cli.exit_codes import DONE
from monitor.cli.inspecting import history
from monitor.cli.surroundings import environ, json_option, now, read, show_option
from monitor.cli.writing import tell, write_json
from monitor.domain import UnableError
from monitor.learning.seen import NotEnough
from monitor.service.after_rain import until
from monitor.service.inspected import inspections
from monitor.units import iso_utc, to_epoch

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from monitor.domain import Policy
    from monitor.learning.by_kind import Kind
    from monitor.learning.seen import Learned

SCHEMA = "dryspell.learn/1"
_WIDTH = 79
_MOST_BYTES = 20_000_000

_CAUTIONS = (
    (
        "Nothing of this is in force, and only a person puts it there: who is content with it "
        "writes the share into [policy] of show.toml, for all gear of that condition."
    ),
    (
        "Who is inspected is not chosen by chance, and pieces are taken as independent. An "
        "estimate is no promise for any one piece. The maker's word and the competent person "
        "come first."
    ),
)


@click.command("learn")
@click.option(
    "--also",
    "also",
    multiple=True,
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Rows of an earlier show, as dryspell results --csv wrote them; may be given often.",
)
@json_option
@show_option
def learn(also: tuple[Path, ...], json_file: str | None, folder: Path) -> int:
    """Say what inspections teach of how much each kind of gear really stands.

    It takes at least 20 pieces of a kind inspected after rain, some found dry and some damp. The
    allowance in force stays what it is.
    """
    if find_spec("scipy") is None:
        raise UnableError(
            "Learning from inspections needs the scipy library.",
            'Install it beside this program: pip install "dryspell[learn]".',
        )
    # scipy is an extra, and slow to load
    from monitor.learning.by_kind import from_csv, learn_all, of_row  # noqa: PLC0415

    found = read(folder)
    at = now()
    earlier = [one for path in also for one in from_csv(_content(path), str(path))]
    with closing(history(folder)) as db:
        rig, log, weather = until(db, found, environ(), at)
    rows = inspections(rig, weather, log, to_epoch(found.show.event.load_in_at))
    learned = learn_all([*earlier, *(one for one in map(of_row, rows) if one is not None)])
    tell(_in_words(learned, found.show.policy), json_file)
    data = {"schema": SCHEMA, "at": iso_utc(at), "kinds": [*_as_json(learned)]}
    write_json(data, json_file)
    return DONE


def _content(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            content = file.read(_MOST_BYTES + 1)
    except OSError as fault:
        raise UnableError(
            f"{path} cannot be read: {fault.strerror}.", "Look at its name."
        ) from None
    if len(content) > _MOST_BYTES:
        raise UnableError(f"{path} is larger than 20 MB.", "Give the file of one show.")
    return content


# ---------------------------------------------------------------- in words


def _in_words(learned: Mapping[Kind, Learned | NotEnough], policy: Policy) -> Iterator[str]:
    if not learned:
        yield "No inspection after rain is known: there is nothing to learn from."
        return
    for kind, found in learned.items():
        assumed = float(getattr(policy, f"condition_{kind.condition}"))
        yield f"{kind.type or 'no type'}, {kind.code}, {kind.condition}"
        yield from _wrapped(_said(found, kind, assumed))
    yield ""
    for caution in _CAUTIONS:
        yield from _wrapped(caution, "")


def _said(found: Learned | NotEnough, kind: Kind, assumed: float) -> str:
    counts = f"{found.pieces} pieces looked at, {found.dry} dry, water found {found.damp} times"
    if isinstance(found, NotEnough):
        return f"Not enough inspections: {found.why}."
    share = min(assumed * found.cautious, 1.0)
    return (
        f"{counts}. Half of them stand {found.median:.2f} times what is assumed (likely "
        f"{found.low:.2f} to {found.high:.2f}); nineteen in twenty stand {found.cautious:.2f} "
        f"times. In force: condition_{kind.condition} = {assumed:g}. To count on what nineteen "
        f"in twenty stand it would be {share:.2g}."
    )


def _wrapped(text: str, indent: str = "     ") -> Iterator[str]:
    yield from textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=indent)


def _as_json(learned: Mapping[Kind, Learned | NotEnough]) -> Iterator[dict[str, Any]]:
    for kind, found in learned.items():
        known: dict[str, Any] = {"type": kind.type, "code": kind.code, "condition": kind.condition}
        known |= {"pieces": found.pieces, "dry": found.dry, "damp": found.damp}
        if not isinstance(found, NotEnough):
            figures = ("median", "low", "high", "cautious", "spread")
            yield known | {name: round(getattr(found, name), 4) for name in figures}
        else:
            yield known | {"not_enough": found.why}
