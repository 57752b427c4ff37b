"""Small shows for the tests of the command line."""

from __future__ import annotations

SHOW = """\
format = 1

[site]
name = "Test meadow"
latitude = 52.0
longitude = -2.0
elevation_m = 40
timezone = "Europe/London"
terrain = "field"

[event]
load_in_at = "2027-06-10T08:00"

[[positions]]
id = "open"
name = "Open field"
height_m = 2.0
access = "ground"

[[covers]]
id = "bag"
name = "Bag"
sealed = true
in_stock = 9
"""

HEADINGS = "id,code,position"


def write_show(folder, rows, *, headings=HEADINGS, show=SHOW):
    """A show folder of `rows` (lines of fixtures.csv)."""
    folder.mkdir(exist_ok=True)
    (folder / "show.toml").write_text(show, encoding="utf-8")
    (folder / "fixtures.csv").write_text("\n".join([headings, *rows]) + "\n", encoding="utf-8")
    return folder
