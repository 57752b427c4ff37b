"""Rig files made by hand, a node at a time, and small show folders to lay them beside."""

from __future__ import annotations

import zipfile

from monitor.imports.answers import Answers

SCENE = "GeneralSceneDescription.xml"
LEVEL = "{1,0,0}{0,1,0}{0,0,1}"
"""Turned in no way: a device hangs."""
ON_ITS_HEAD = "{1,0,0}{0,-1,0}{0,0,-1}"
"""Half a turn about x: a device stands on its base."""


def at(x, y, z, turned=LEVEL):
    """A matrix: turned so, its zero there [mm]."""
    return f"<Matrix>{turned}{{{x},{y},{z}}}</Matrix>"


def node(tag, name, matrix="", *inside, extra=""):
    """A layer, group, truss: its matrix, and what hangs in it."""
    children = f"<ChildList>{''.join(inside)}</ChildList>" if inside else ""
    return f'<{tag} name="{name}" uuid="u-{name}">{matrix}{extra}{children}</{tag}>'


def fixture(number, matrix="", *, name="", spec="Lanternworks@Spot", extra=""):
    """A fixture with its number; without a matrix unless it is given."""
    numbered = "" if number is None else f"<FixtureID>{number}</FixtureID>"
    typed = "" if spec is None else f"<GDTFSpec>{spec}</GDTFSpec>"
    return (
        f'<Fixture name="{name or f"Lamp {number}"}" uuid="u-{number}-{name}">'
        f"{matrix}{typed}{numbered}{extra}</Fixture>"
    )


def scene(*layers, aux=""):
    """The whole description."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<GeneralSceneDescription verMajor="1" verMinor="6"><Scene>'
        f"<AUXData>{aux}</AUXData><Layers>{''.join(layers)}</Layers>"
        "</Scene></GeneralSceneDescription>"
    )


def rig_file(path, description, **others):
    """A zip with the description, and other files under their names (two underscores: a point)."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr(SCENE, description)
        for name, data in others.items():
            package.writestr(name.replace("__", "."), data)
    return path


def answered(pairs):
    """Answers by what was asked: {("access", "position truss"): "ladder"}."""
    given = {key: (value, row) for row, (key, value) in enumerate(pairs.items(), 2)}
    return Answers("answers.csv", given)
