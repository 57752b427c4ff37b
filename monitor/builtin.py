"""The files that travel with the program: feed sheets, policy defaults, the demo show.

In the wheel they sit beside the modules (`monitor/config`); in a checkout they are the
top-level `config` folder.
"""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable


def builtin(*path: str) -> Traversable:
    """The built-in file or folder at `path`, for example `builtin("policy.toml")`."""
    inside = resources.files("monitor").joinpath("config")
    root = inside if inside.is_dir() else resources.files("monitor").joinpath("..", "config")
    return root.joinpath(*path)
