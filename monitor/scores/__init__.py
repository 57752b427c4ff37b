"""How good the forecasts were at this site: forecast against measurement, by lead time. Pure."""

from monitor.scores.feeds import (
    FEWEST_CASES,
    FEWEST_HOURS,
    LEADS,
    WET_MM,
    FeedScores,
    Lead,
    Row,
    Scores,
    score,
)
from monitor.scores.hours import Hours, on_hours
from monitor.scores.measures import Contingency, brier, crps_ecdf, crps_fair

__all__ = [
    "FEWEST_CASES",
    "FEWEST_HOURS",
    "LEADS",
    "WET_MM",
    "Contingency",
    "FeedScores",
    "Hours",
    "Lead",
    "Row",
    "Scores",
    "brier",
    "crps_ecdf",
    "crps_fair",
    "on_hours",
    "score",
]
