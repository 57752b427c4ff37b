"""The water films of the members of a pooled past, each by itself from step to step."""

from __future__ import annotations

import numpy as np

from monitor.domain import Floats
from monitor.exposure.damp import film_step
from monitor.exposure.pool import Cells, Index


class MemberFilms:
    """A film on every group for every member (group, member), pooled only to be counted.

    A film outlasts its step: pooled to its mean, one member's drizzle would keep all of them
    wet all night. Where one measurement stands for all, every member's film goes on under what
    was measured, with the shares of the last step in which there were several.
    """

    def __init__(self, cells: Cells, start_mm: Floats, store_mm: float) -> None:
        members = int(cells.member.max(initial=0)) + 1
        self._cells, self._store_mm = cells, store_mm
        self._film = np.repeat(start_mm[:, np.newaxis], members, axis=1)
        self._shares = np.full(members, 1.0 / members)
        self._every: Index = np.arange(members)

    def step(
        self, step: int, gain_mm_h: Floats, evaporation_mm_h: Floats, hours: float, wet_at: float
    ) -> tuple[Floats, Floats]:
        """One step at steady rates.

        Parameters
        ----------
        gain_mm_h : (group, cell of the step)
        evaporation_mm_h : (cell of the step,)
        hours : length of the step
        wet_at : a gain from here on is wet whatever dries [mm/h]

        Returns
        -------
        wet_hours : (group, 1) mean by share
        wet : (group, 1) share of the members that are wet for some of the step
        """
        here = self._cells.of_steps(slice(step, step + 1))
        rows = self._cells.member[here]
        if len(rows) > 1:
            self._shares = np.zeros(len(self._every))
            self._shares[rows] = self._cells.share[here]
        else:
            rows = self._every
        film, stood = film_step(
            self._film[:, rows], gain_mm_h, evaporation_mm_h, hours, self._store_mm
        )
        self._film[:, rows] = film
        stood = np.where(gain_mm_h >= wet_at, hours, stood)
        shares = self._shares[rows][:, np.newaxis]
        return stood @ shares, (stood > 0.0) @ shares

    def dry(self, group: int) -> None:
        """A group was found dry."""
        self._film[group] = 0.0

    def mean_mm(self) -> Floats:
        """(group, 1) mean by share as it stands."""
        return np.asarray(self._film @ self._shares[:, np.newaxis])
