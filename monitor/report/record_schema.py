"""The JSON Schema of report.json, as it is shipped and as the record has it."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from monitor.report.record import Record

SCHEMA = "report.schema.json"
_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_ID = "urn:dryspell:report:1"


def schema() -> bytes:
    """The schema that is shipped."""
    return files("monitor.report").joinpath(SCHEMA).read_bytes()


def schema_of_record() -> dict[str, Any]:
    """The same, made anew from the record: what is shipped is this, written down."""
    return {
        "$schema": _DIALECT,
        "$id": _ID,
        **Record.model_json_schema(mode="validation"),
    }


def written(made: dict[str, Any]) -> bytes:
    """A schema as its file has it."""
    return (json.dumps(made, indent=1, ensure_ascii=False) + "\n").encode()
