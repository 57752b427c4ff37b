"""The words of the form in which a position is described."""

from __future__ import annotations

from monitor.page.words import later

HEIGHT_WORDS = {
    "hand": later("a hand off the ground"),
    "knee": later("knee"),
    "head": later("head"),
    "ladder": later("a ladder up"),
    "lift": later("lift or truss"),
}
HUNG_WORDS = {
    "upright": later("as its tests stand it, base down"),
    "inverted": later("upside down"),
    "tilted": later("on its side"),
    "any": later("not known: counts from below"),
}
TAIL_WORDS = {
    "mated": later("all mated"),
    "capped": later("spare tails capped"),
    "open": later("some open"),
}
WASHDOWNS = {
    "none": later("none"),
    "low": later("hose, sprinklers, street cleaning"),
    "high": later("pressure washer"),
}
SIDE_WORDS = {
    "front": later("front"),
    "right": later("right"),
    "back": later("back"),
    "left": later("left"),
}
COLUMN_WORDS = {
    "id": later("short name of its own"),
    "code": later("code on its label"),
    "name": later("what it is"),
    "type": later("type"),
    "serial": later("serial"),
    "owner": later("whose it is"),
    "count": later("how many alike"),
    "connector_code": later("connector's code, mated"),
    "connector_open_code": later("connector's code, open"),
    "supply_code": later("supply's code"),
    "cover": later("its cover"),
    "fed_by": later("fed by"),
    "condition": later("condition"),
    "value": later("value"),
}
"""Columns of a pasted table that are offered; any other is named as the file names it"""
