"""How good forecasts and alerts were at this site. Pure."""

from monitor.scores.alerts import (
    VERDICTS,
    AlertScores,
    Crossing,
    Judged,
    Order,
    Verdict,
    judge,
)
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
    "VERDICTS",
    "WET_MM",
    "AlertScores",
    "Contingency",
    "Crossing",
    "FeedScores",
    "Hours",
    "Judged",
    "Lead",
    "Order",
    "Row",
    "Scores",
    "Verdict",
    "brier",
    "crps_ecdf",
    "crps_fair",
    "judge",
    "on_hours",
    "score",
]
