"""How much gear of one kind really takes before water is found in it, from inspections.

Each piece has an allowance of its own, a multiple of the one that is assumed for its code and
condition; over many pieces these multiples are lognormal. An inspection never sees it. Found dry
after the share D of the assumed allowance, a piece stands more than D; found damp, at most D.
So every observation is censored, on one side or the other ("current status" data), and the
likelihood is that of a probit regression on ln D.

The interval of the median is that of the likelihood ratio (profiled over the spread), which for
such data keeps its level better than one from the curvature alone.

Sources: D. J. Finney, Probit Analysis, 3rd ed. 1971 (dose and tolerance), from memory; W. Q.
Meeker and L. A. Escobar, Statistical Methods for Reliability Data, 1998, ch. 8 (likelihood-ratio
intervals), from memory. The fit is held against `scipy.stats.CensoredData` in tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq, minimize
from scipy.stats import chi2, norm

from monitor.learning.seen import Learned, NotEnough, Seen

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

LEVEL = 0.95
"""Of the interval"""
CAUTIOUS_SHARE = 0.05
"""The cautious figure is one that all but this share of the pieces stand."""
LEAST_PIECES = 20
LEAST_OF_EACH = 5
"""Fewer pieces found dry, or found damp, than this teach nothing (common practice, from memory)"""
WIDEST = 10.0
"""An interval whose ends are further apart than this factor is no estimate."""
_SPREADS = (0.02, 4.0)
"""Of ln(allowance): between pieces that are all alike and ones that have nothing in common"""


def learn(seen: Sequence[Seen]) -> Learned | NotEnough:
    """The real allowance of one kind of gear, as a multiple of the one assumed.

    Parameters
    ----------
    seen : inspections of pieces of this kind; those with nothing used teach nothing

    Notes
    -----
    Pieces are taken as independent, and inspections as not chosen by what is inside. Where they
    are chosen because water was seen, the estimate is low: it errs to the wet side.
    """
    used = [one for one in seen if one.used > 0.0]
    damp = sum(one.damp for one in used)
    dry = sum(one.pieces for one in used if not one.damp)
    pieces = dry + sum(one.pieces for one in used if one.damp)
    why = _too_little(used, pieces, dry, damp)
    if why:
        return NotEnough(pieces, dry, damp, why)
    data = _Data.of(used)
    centre, spread = data.best()
    top = data.log_likelihood(centre, spread)
    drop = float(chi2.ppf(LEVEL, 1)) / 2.0

    def beyond(at: float) -> float:
        return top - data.profile(at, spread) - drop

    low, high = _end(beyond, centre, -spread), _end(beyond, centre, spread)
    if low is None or high is None or high - low > np.log(WIDEST):
        why = "they do not narrow it down: dry and damp finds are mixed at every use"
        return NotEnough(pieces, dry, damp, why)
    return Learned(
        pieces=pieces,
        dry=dry,
        damp=damp,
        median=float(np.exp(centre)),
        low=float(np.exp(low)),
        high=float(np.exp(high)),
        cautious=float(np.exp(low + norm.ppf(CAUTIOUS_SHARE) * spread)),
        spread=spread,
    )


def _too_little(used: Sequence[Seen], pieces: int, dry: int, damp: int) -> str:
    if pieces < LEAST_PIECES:
        return f"{pieces} pieces inspected after rain, and it takes {LEAST_PIECES}"
    if damp < LEAST_OF_EACH:
        return f"water was found {damp} times, and it takes {LEAST_OF_EACH}"
    if dry < LEAST_OF_EACH:
        return f"{dry} pieces were found dry, and it takes {LEAST_OF_EACH}"
    most_dry = max(one.used for one in used if not one.damp)
    if most_dry <= min(one.used for one in used if one.damp):
        return "no use at which some were dry and others damp: how far pieces differ is not seen"
    return ""


@dataclass(frozen=True, slots=True)
class _Data:
    """The inspections as arrays (inspection,)."""

    ln_used: npt.NDArray[np.float64]
    damp: npt.NDArray[np.bool_]
    pieces: npt.NDArray[np.float64]

    @classmethod
    def of(cls, seen: Sequence[Seen]) -> _Data:
        return cls(
            np.log([one.used for one in seen]),
            np.array([one.damp for one in seen]),
            np.array([one.pieces for one in seen], dtype=np.float64),
        )

    def log_likelihood(self, centre: float, spread: float) -> float:
        """Of ln(allowance) normal about `centre`.

        All of n pieces stand more than D: n ln S(D). At least one does not: ln(1 - S(D)^n).
        """
        all_stand = self.pieces * norm.logsf(self.ln_used, centre, spread)
        one_not = np.log(-np.expm1(np.minimum(all_stand, -1e-300)))
        return float(np.where(self.damp, one_not, all_stand).sum())

    def best(self) -> tuple[float, float]:
        """Where the likelihood is greatest, from several starts."""
        starts = [(float(np.quantile(self.ln_used, q)), s) for q in (0.3, 0.7) for s in (0.2, 0.8)]
        found = [
            minimize(
                lambda at: -self.log_likelihood(at[0], at[1]),
                start,
                bounds=[(None, None), _SPREADS],
                method="L-BFGS-B",
            )
            for start in starts
        ]
        best = min(found, key=lambda one: float(one.fun))
        return float(best.x[0]), float(best.x[1])

    def profile(self, centre: float, spread: float) -> float:
        """The greatest likelihood with the centre held, from the spread that was best."""
        found = [
            minimize(
                lambda at: -self.log_likelihood(centre, float(np.exp(at[0]))),
                [np.log(start)],
                bounds=[tuple(np.log(_SPREADS))],
                method="L-BFGS-B",
            )
            for start in (spread, 3.0 * spread)
        ]
        return -min(float(one.fun) for one in found)


def _end(beyond: Callable[[float], float], centre: float, step: float) -> float | None:
    """Where the likelihood has fallen by as much as the level allows, looked for outwards."""
    near, far = centre, centre
    for _ in range(40):
        near, far = far, far + step
        if beyond(far) > 0.0:
            return float(brentq(beyond, min(near, far), max(near, far), xtol=1e-4))
    return None
