"""Each fixture's code as understood, what it allows, and whether it suits where it sits."""

from monitor.check.outcome import SCHEMA, Checked, as_json, check, refused_json
from monitor.check.story import story, wrapped_note

__all__ = ["SCHEMA", "Checked", "as_json", "check", "refused_json", "story", "wrapped_note"]
