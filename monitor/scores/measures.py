"""The published scores: a table of yes and no, chances, ensembles of amounts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.domain import Floats


@dataclass(frozen=True, slots=True)
class Contingency:
    """Hours by whether rain was forecast and whether it was measured.

    Notes
    -----
    A share whose whole is empty is None: nothing can be said, which is not zero.

    References
    ----------
    Wilks, Statistical Methods in the Atmospheric Sciences, section "nonprobabilistic forecasts
    of discrete predictands" (names and formulas from memory). The false alarm ratio is out of
    what was forecast, the false alarm rate out of what stayed dry; they are often mixed up.
    Checks: tests/scores/test_scores_measures.py
    """

    hits: int
    """Forecast and measured"""
    misses: int
    """Measured, not forecast"""
    false_alarms: int
    """Forecast, not measured"""
    correct_negatives: int
    """Neither"""

    @property
    def wet(self) -> int:
        """Measured wet hours."""
        return self.hits + self.misses

    @property
    def forecast(self) -> int:
        """Wet hours that were forecast."""
        return self.hits + self.false_alarms

    @property
    def dry(self) -> int:
        """Measured dry hours."""
        return self.false_alarms + self.correct_negatives

    @property
    def hours(self) -> int:
        """All pairs."""
        return self.wet + self.dry

    @property
    def hit_rate(self) -> float | None:
        """Probability of detection, POD: share of the measured wet hours that was forecast."""
        return _share(self.hits, self.wet)

    @property
    def false_alarm_ratio(self) -> float | None:
        """FAR: share of the wet hours forecast that stayed dry."""
        return _share(self.false_alarms, self.forecast)

    @property
    def false_alarm_rate(self) -> float | None:
        """Probability of false detection, POFD: share of the dry hours forecast as wet."""
        return _share(self.false_alarms, self.dry)

    @property
    def frequency_bias(self) -> float | None:
        """Wet hours forecast for each one measured; over 1 is forecast too often."""
        return _share(self.forecast, self.wet)


def _share(part: int, whole: int) -> float | None:
    return part / whole if whole else None


def brier(chance: Floats, came: Floats) -> Floats:
    """Brier score of each forecast chance: 0 is right and sure, 1 wrong and sure.

    Parameters
    ----------
    chance : (...) forecast chance [0 to 1]
    came : (...) 1 where it came, 0 where not

    Returns
    -------
    (...) [1]; the score of a set is its mean. For a forecast of yes or no it is the share of
    wrong ones.

    Notes
    -----
    (chance - came)^2. Missing: NaN where either is.

    References
    ----------
    Brier, Monthly Weather Review 78 (1950), in its usual half form (from memory).
    Checks: tests/scores/test_scores_measures.py
    """
    return (chance - came) ** 2


def crps_ecdf(members: Floats, measured: Floats) -> Floats:
    """Continuous ranked probability score of an ensemble taken as the distribution it is.

    Parameters
    ----------
    members : (member, hour) amounts, equally likely
    measured : (hour,)

    Returns
    -------
    (hour,) in the unit of the amounts; 0 is right and sure. For one member it is the absolute
    error.

    Notes
    -----
    sum |x_i - y| / M - sum_ij |x_i - x_j| / (2 M^2). Members that are NaN are left out, M
    counts the others. Missing: NaN where nothing was measured or no member is known. Errs
    against small ensembles, whose few steps of chance cost them; `crps_fair` does not.

    References
    ----------
    Gneiting and Raftery, J. Amer. Stat. Assoc. 102 (2007), eq. 21, on the empirical distribution
    (from memory). Checks: tests/scores/test_scores_measures.py
    """
    error, spread, count = _parts(members, measured)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, error / count - spread / count**2, np.nan)


def crps_fair(members: Floats, measured: Floats) -> Floats:
    """The same as if there were members without number, to compare ensembles of unlike size.

    Parameters
    ----------
    members : (member, hour) amounts, equally likely
    measured : (hour,)

    Returns
    -------
    (hour,) in the unit of the amounts; can fall a little below 0. NaN under two members.

    Notes
    -----
    sum |x_i - y| / M - sum_ij |x_i - x_j| / (2 M (M - 1)). Missing: as in `crps_ecdf`.

    References
    ----------
    Ferro, Quart. J. Roy. Meteor. Soc. 140 (2014), fair scores (from memory).
    Checks: tests/scores/test_scores_measures.py
    """
    error, spread, count = _parts(members, measured)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 1, error / count - spread / (count * (count - 1)), np.nan)


def _parts(members: Floats, measured: Floats) -> tuple[Floats, Floats, Floats]:
    """(sum |x_i - y|, half of sum_ij |x_i - x_j|, M), each (hour,).

    With the members in rising order the half sum over pairs is sum_i (2 i - M - 1) x_(i).
    """
    known = np.isfinite(members)
    count = known.sum(axis=0).astype(np.float64)
    error = np.where(known, np.abs(members - measured), 0.0).sum(axis=0)
    error = np.where(np.isfinite(measured), error, np.nan)
    rising = np.sort(members, axis=0)  # NaN last
    rank = np.arange(1, len(members) + 1)[:, np.newaxis]
    weight = np.where(rank <= count, 2.0 * rank - count - 1.0, 0.0)
    spread = (weight * np.where(np.isfinite(rising), rising, 0.0)).sum(axis=0)
    return error, spread, count
