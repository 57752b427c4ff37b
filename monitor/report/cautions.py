"""What every report says beside its figures."""

from __future__ import annotations

from monitor.alerts import cautions

CAUTIONS = (
    cautions.ESTIMATE,
    cautions.CODES,
    cautions.WET_AND_LIVE,
    cautions.FOUL_WATER,
    cautions.LIGHTNING,
    cautions.HEIGHT,
    cautions.COVERS,
    cautions.STRUCTURES,
    cautions.POOLS,
    cautions.ESCAPE_LIGHT,
    cautions.THREE_THINGS,
    cautions.ANSWERS,
    "Limits in millimetres and hours are house policy, not figures of a standard.",
    "This report holds estimates and records. It finds no cause, and nobody at fault.",
)
