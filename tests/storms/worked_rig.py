"""The rig of worked-storm.json, as records and as a show folder."""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from monitor.codes import read_code
from monitor.domain import Event, Fixture, Position, Roof, Show, Site
from monitor.show.settings import default_policy

WORKED = json.loads((Path(__file__).parent / "worked-storm.json").read_text(encoding="utf-8"))
ROOF_ID = "stage"


def as_show(load_in_at: datetime) -> Show:
    described = WORKED["roof"]
    roof = Roof(
        ROOF_ID,
        described["facing_deg"],
        described["width_m"],
        described["depth_m"],
        described["edge_height_m"],
        frozenset(described["closed"]),
    )
    positions = {
        name: Position(
            name,
            name,
            place["height_m"],
            "ground",
            None,
            5.0,
            1.0,
            1.0,
            1,
            roof=ROOF_ID if "in_from_front_m" in place else None,
            in_from_front_m=place.get("in_from_front_m"),
            in_from_right_m=place.get("in_from_right_m"),
            terrain=place["terrain"],
        )
        for name, place in WORKED["positions"].items()
    }
    fixtures = tuple(
        Fixture(
            row["id"],
            read_code(row["code"]),
            row["position"],
            mount=row["mount"],
            tilt_deg=row["tilt_deg"],
            facing_deg=row["facing_deg"],
            condition=row["condition"],
        )
        for row in WORKED["fixtures"]
    )
    site = Site("Newark", 40.69, -74.17, 5.0, ZoneInfo("America/New_York"), "II")
    return Show(
        site, Event(load_in_at), positions, fixtures, default_policy(), roofs={ROOF_ID: roof}
    )


def write_folder(folder: Path, load_in_at: datetime, *, fixtures: set[str] | None = None) -> Path:
    """The same as show.toml and fixtures.csv; `fixtures` leaves only those."""
    roof = WORKED["roof"]
    lines = [
        "format = 1",
        "[site]",
        'name = "Newark"',
        "latitude = 40.69",
        "longitude = -74.17",
        "elevation_m = 5",
        'timezone = "America/New_York"',
        'terrain = "II"',
        "[event]",
        f"load_in_at = {load_in_at.isoformat()}",
        "[[roofs]]",
        f'id = "{ROOF_ID}"',
        *(f"{key} = {json.dumps(value)}" for key, value in roof.items()),
    ]
    for name, place in WORKED["positions"].items():
        lines += ["[[positions]]", f'id = "{name}"', f'name = "{name}"', 'access = "ground"']
        lines += [f"{key} = {json.dumps(value)}" for key, value in place.items()]
        if "in_from_front_m" in place:
            lines.append(f'roof = "{ROOF_ID}"')
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "show.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    columns = ("id", "code", "position", "mount", "tilt_deg", "facing_deg", "condition")
    rows = io.StringIO()
    table = csv.DictWriter(rows, columns, extrasaction="ignore", lineterminator="\n")
    table.writeheader()
    for fixture in WORKED["fixtures"]:
        if fixtures is not None and fixture["id"] not in fixtures:
            continue
        tilted = fixture["mount"] == "tilted"
        own = fixture if tilted else {**fixture, "tilt_deg": "", "facing_deg": ""}
        table.writerow(own)
    (folder / "fixtures.csv").write_text(rows.getvalue(), encoding="utf-8")
    return folder
