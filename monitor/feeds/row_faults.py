"""Faults of a file gathered line by line, without drowning the reader in one mistake."""

from __future__ import annotations

from monitor.domain import Problem

_SHOWN_OF_A_KIND = 25
"""One wrong setting at the station spoils every row; the first rows show which."""


class Faults:
    """Gathers problems of one file; of one kind the first are shown, the rest counted."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._shown: list[Problem] = []
        self._count: dict[tuple[str, str | None], int] = {}

    @property
    def found(self) -> bool:
        """Whether there is any."""
        return bool(self._shown)

    def add(self, code: str, line: int | None, key: str | None, says: str, remedy: str) -> None:
        """One more fault; `line` None is the file as a whole."""
        kind = (code, key)
        self._count[kind] = self._count.get(kind, 0) + 1
        if self._count[kind] <= _SHOWN_OF_A_KIND:
            self._shown.append(Problem(code, says, remedy, file=self._name, line=line, key=key))

    def problems(self) -> tuple[Problem, ...]:
        """In the order of the lines, then how many more there are of each kind."""
        shown = sorted(self._shown, key=lambda p: p.line or 0)
        more = [
            Problem(
                code,
                f"{count - _SHOWN_OF_A_KIND} more lines have the same fault.",
                "They are not listed one by one.",
                file=self._name,
                key=key,
            )
            for (code, key), count in self._count.items()
            if count > _SHOWN_OF_A_KIND
        ]
        return (*shown, *more)
