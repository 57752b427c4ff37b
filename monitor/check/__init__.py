"""Each fixture's code as understood, what it allows, and whether it suits where it sits."""

from monitor.check.outcome import SCHEMA, Checked, as_json, check, refused_json
from monitor.check.story import story, wrapped_note
from monitor.check.warnings import needs_attention, warnings

__all__ = [
    "SCHEMA",
    "Checked",
    "as_json",
    "check",
    "needs_attention",
    "refused_json",
    "story",
    "warnings",
    "wrapped_note",
]
