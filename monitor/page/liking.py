"""How one device likes the page: theme, language and units, as it chose them on the page `you`."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass, replace
from urllib.parse import parse_qsl, urlencode

from monitor.domain import Show
from monitor.page.languages import languages, words_in
from monitor.page.measures import DepthUnit, Measures, SpeedUnit
from monitor.page.viewer import Theme, Viewer
from monitor.page.words import later

THEMES: dict[Theme, str] = {
    "": later("As this device has it"),
    "light": later("Light: black on white, for the day"),
    "dark": later("Dark: light on black"),
    "red": later("Night red: spares eyes that are used to the dark"),
}
DEPTHS: dict[DepthUnit, str] = {
    "mm": later("Millimetres (mm)"),
    "in": later("Inches (in)"),
}
SPEEDS: dict[SpeedUnit, str] = {
    "m/s": later("Metres per second (m/s)"),
    "km/h": later("Kilometres per hour (km/h)"),
    "mph": later("Miles per hour (mph)"),
    "kn": later("Knots (kn)"),
}
_BY_SHOW: dict[str, tuple[DepthUnit, SpeedUnit]] = {
    "metric": ("mm", "m/s"),
    "imperial": ("in", "mph"),
}
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Liking:
    """What a device chose; empty: as the device, the browser or the show has it."""

    theme: str = ""
    language: str = ""
    depth: str = ""
    speed: str = ""

    @classmethod
    def of(cls, said: Mapping[str, str]) -> Liking:
        """From fields of a form; what is not known here is as if nothing had been chosen."""
        return cls(
            _one_of(said.get("theme"), THEMES),
            _one_of(said.get("language"), languages()),
            _one_of(said.get("depth"), DEPTHS),
            _one_of(said.get("speed"), SPEEDS),
        )

    @classmethod
    def read(cls, kept: str) -> Liking:
        """From what `written` gave the browser to keep."""
        return cls.of(dict(parse_qsl(kept[:_LONGEST])))

    def written(self) -> str:
        """For the browser to keep."""
        return urlencode({name: value for name, value in asdict(self).items() if value})

    def applied(self, viewer: Viewer, asked: str, show: Show) -> Viewer:
        """Whoever looks, with the page as they like it; `asked` is what their browser reads."""
        words = words_in(self.language or asked)
        depth, speed = _BY_SHOW[show.site.show_units]
        return replace(
            viewer,
            theme=next((theme for theme in THEMES if theme == self.theme), ""),
            words=words,
            measures=Measures(
                next((unit for unit in DEPTHS if unit == self.depth), depth),
                next((unit for unit in SPEEDS if unit == self.speed), speed),
                words.number,
            ),
        )


def _one_of(value: str | None, known: Collection[str]) -> str:
    return value if value is not None and value in known else ""
