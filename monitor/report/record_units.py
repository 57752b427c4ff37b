"""report.json: what each unit took, was covered by, was found to be, and wants now."""

from __future__ import annotations

from typing import Literal

from monitor.report.record_parts import Moment, Part, Sha256, Text


class CoverSpan(Part):
    """A cover that was logged on."""

    cover: Text
    on_at: Moment
    off_at: Moment | None
    """null: still on at the end"""
    on_by: Text | None
    off_by: Text | None
    counts_until: Moment
    """As the estimate counts it: a gust over its limit ends it"""


class UnitEntry(Part):
    """One entry of the crew's log that concerns a unit."""

    at: Moment
    entry: Text
    done: int | None
    """Of a row of several, how many; null: all"""
    of: int | None
    to: Text | None
    result: Text | None
    earth_ohm: float | None
    insulation_mohm: float | None
    by: Text | None
    note: Text | None


class Stay(Part):
    """Where it was out."""

    position: Text
    begins_at: Moment
    ends_at: Moment


class Unit(Part):
    """One row of fixtures.csv. Depths, shares and hours are estimates, but for what is logged."""

    id: Text
    name: Text | None
    type: Text | None
    serial: Text | None
    owner: Text | None
    count: int
    code: Text
    part: Text
    """The part of its chain that decides"""
    part_code: Text
    standing: Text
    condition: Text
    mount: Text
    fed_by: Text | None
    position: Text
    position_name: Text
    positions_in_order: Text
    basis: Literal["estimate"]
    allowance_mm: float | None
    """null: no limit from rain"""
    wetting_mm: float
    used: float
    """Share of the allowance, since an inspection last found it dry"""
    used_total: float
    """The same as if nothing had been inspected"""
    half_used_at: Moment | None
    spent_at: Moment | None
    wet_hours: float
    damp_hours: float
    dusty_hours: float
    covered_hours: float
    unknown_hours: float
    hours_out: float
    cover_counts_off_from: Moment | None
    state: Literal["over", "half", "within", "no-limit", "not-out"]
    to_do: Text
    why: Text
    notes: Text
    truck: Text | None
    case: Text | None
    worst_hour_mm: float
    """Most driven water in 60 minutes"""
    worst_hour_at: Moment | None
    strongest_gust_mps: float | None
    """At its last position's height, over the period"""
    carried_used: float
    """Taken at earlier shows, as their reports have it"""
    used_all_shows: float
    carried_shows: int
    stays: tuple[Stay, ...]
    covers: tuple[CoverSpan, ...]
    log: tuple[UnitEntry, ...]
    carried: tuple[Carried, ...]


class Carried(Part):
    """What the same serial took at an earlier show."""

    report_sha256: Sha256
    id: Text
    """As it was called there"""
    used_total: float
    wetting_mm: float
    wet_hours: float
    damp_hours: float
    dusty_hours: float
    unknown_hours: float


class EarlierShow(Part):
    """A report whose exposure is carried on here."""

    report_sha256: Sha256
    title: Text
    site: Text
    latitude: float
    longitude: float
    load_in_at: Moment
    begins_at: Moment
    ends_at: Moment
    chain_head: Text | None


class PositionRow(Part):
    """One row of positions.csv; depths, shares and hours are estimates."""

    position: Text
    name: Text
    height_m: float
    fixtures: int
    basis: Literal["estimate"]
    over: int
    half: int
    within: int
    no_limit: int
    not_out: int
    worst_fixture: Text
    worst_used: float
    worst_used_total: float
    first_half_used_at: Moment | None
    first_spent_at: Moment | None
    most_wetting_mm: float
    most_wet_hours: float
    most_damp_hours: float
    most_dusty_hours: float
    most_unknown_hours: float
    strongest_gust_mps: float | None
    strongest_gust_at: Moment | None
    log_entries: int


class CareRow(Part):
    """One line of the drying or the cleaning list, in the order to work through."""

    truck: Text | None
    case: Text | None
    id: Text
    serial: Text | None
    name: Text | None
    owner: Text | None
    count: int
    position_name: Text
    to_do: Text
    why: Text
    used: float
    dusty_hours: float


Unit.model_rebuild()
