"""What a job says of water that is thrown at known times: sprinklers, hoses. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from monitor.domain import Facts, Show, Washdown, WashdownKind
from monitor.exposure.washing import washdown_spans
from monitor.planning.present import Present
from monitor.units import SECONDS_PER_HOUR, to_moment

_CALLED: dict[WashdownKind, str] = {
    "sprinkler": "sprinklers",
    "low": "a hose",
    "high": "a pressure washer",
}
_SAME_S = 1.0


class WashedThen:
    """What is thrown somewhere over a time, as spans with what throws it."""

    def __init__(
        self, show: Show, washed: Iterable[Washdown], from_s: float, until_s: float
    ) -> None:
        self._show = show
        zone = show.site.timezone
        self._spans = sorted(
            (max(begin, from_s), end, one.kind, one.rate_mm_h)
            for one in dict.fromkeys(washed)
            for begin, end in washdown_spans(one, from_s, until_s, zone)
            if end > from_s and begin < until_s
        )

    @classmethod
    def at(
        cls, show: Show, present: Present, groups: Iterable[int], from_s: float, until_s: float
    ) -> WashedThen:
        """What is thrown at groups where they hang now."""
        places = [present.segment[g].place for g in groups if g in present.segment]
        washed = [one for place in places for one in place.washed]
        return cls(show, washed, from_s, until_s)

    def cautions(self) -> tuple[str, ...]:
        """A sentence on each, with the way out that costs least."""
        said = []
        for begin, end, kind, rate in self._spans:
            name = _CALLED[kind]
            it = "them" if kind == "sprinkler" else "it"
            depth = self._depth(kind, rate * (end - begin) / SECONDS_PER_HOUR)
            said.append(
                f"{name[:1].upper()}{name[1:]} {self._when(begin, end)}{depth}: ask whoever runs "
                f"{it} to leave {it} off."
            )
        return tuple(said)

    def reason(self, do_by_s: float) -> str | None:
        """Why it is due, where it is due for that and not for rain."""
        for begin, end, kind, _ in self._spans:
            if begin - _SAME_S <= do_by_s <= end + _SAME_S:
                verb = "spend" if kind == "sprinkler" else "spends"
                return (
                    f"{_CALLED[kind]} {self._when(begin, end)} {verb} the allowance of the first "
                    f"fixture at {self._at(do_by_s)}"
                )
        return None

    def facts(self, facts: Facts) -> Facts:
        """Facts without a rain that does not fall."""
        if not self._spans or (facts.rain_mm or 0.0) >= 0.05:
            return facts
        return replace(facts, rain_mm=None, gap=None)

    def _depth(self, kind: WashdownKind, depth_mm: float) -> str:
        return f", {depth_mm:.1f} mm from every side" if kind == "sprinkler" else ""

    def _when(self, begin_s: float, end_s: float) -> str:
        local_end = to_moment(end_s).astimezone(self._show.site.timezone)
        return f"from {self._at(begin_s)} to {local_end:%H:%M}"

    def _at(self, moment_s: float) -> str:
        return f"{to_moment(moment_s).astimezone(self._show.site.timezone):%a %H:%M}"
