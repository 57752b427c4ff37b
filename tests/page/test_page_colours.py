"""Contrast of every pair of colours that text is set in, by WCAG 2.2's own formula: 7 to 1."""

from __future__ import annotations

import re
from importlib import resources

import pytest

PAIRS = [
    ("ink", "paper"),
    ("ink", "raised"),
    ("quiet", "paper"),
    ("quiet", "raised"),
    ("on-alarm", "alarm"),
    ("on-warn", "warn"),
]


def style():
    path = resources.files("monitor") / "page" / "static" / "duty.css"
    return path.read_text(encoding="utf-8")


def themes():
    """The colours of each theme by name."""
    found = {}
    for name, block in re.findall(
        r"^(:root|\[data-theme=\"\w+\"\]) \{([^}]*)\}", style(), re.MULTILINE
    ):
        colours = dict(re.findall(r"--([\w-]+): (#\w+)", block))
        if colours:
            found[name] = colours
    return found


def luminance(colour):
    """https://www.w3.org/TR/WCAG22/#dfn-relative-luminance"""
    digits = colour.removeprefix("#")
    if len(digits) == 3:
        digits = "".join(2 * d for d in digits)
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula():
    assert contrast("#fff", "#000") == pytest.approx(21.0)
    assert contrast("#777", "#fff") == pytest.approx(4.48, abs=0.005)  # known from its tables


@pytest.mark.parametrize("pair", PAIRS, ids="-".join)
@pytest.mark.parametrize("theme", [":root", '[data-theme="dark"]', '[data-theme="red"]'])
def test_contrast(theme, pair):
    colours = themes()[theme]
    assert contrast(colours[pair[0]], colours[pair[1]]) >= 7.0


def test_the_devices_own_dark_is_the_dark_theme():
    """It stands twice, for a device that asks for it and for whoever chose it."""
    blocks = re.findall(
        r"(?:\[data-theme=\"dark\"\]|:root:not\(\[data-theme\]\)) \{([^}]*)\}", style()
    )
    assert len(blocks) == 2
    assert len({re.sub(r"\s+", " ", block).strip() for block in blocks}) == 1
