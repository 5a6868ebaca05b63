"""How many days a scope takes: waits and bench hours drawn, half and four fifths of the draws."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]
_AT_80 = 0.8416212335729143
"""Standard normal deviate that four fifths lie below [-]."""


@dataclass(frozen=True)
class Duration:
    """A duration that scatters, lognormal.

    Parameters
    ----------
    usual : float
        Half of them take less [h] or [d].
    slow : float
        Four fifths of them take less; as usual: it does not scatter [h] or [d].
    """

    usual: float
    slow: float

    @property
    def spread(self) -> float:
        """Standard deviation of its logarithm [-]."""
        return math.log(self.slow / self.usual) / _AT_80 if self.usual > 0.0 else 0.0


@dataclass(frozen=True)
class Task:
    """A piece of a scope: bench hours and the wait for its part, and what a scrapped part adds.

    Parameters
    ----------
    hours, wait : Duration
        At the bench [h]; until the part is there [d].
    scrap : float
        Probability that the work ends in scrap [-].
    instead : Duration
        The wait for a new part that then follows [d].
    """

    hours: Duration
    wait: Duration
    scrap: float = 0.0
    instead: Duration = Duration(0.0, 0.0)


@dataclass(frozen=True)
class Drawn:
    """Bench hours and waits of every task, draw by draw: the same draws serve all scopes compared.

    Parameters
    ----------
    hours, waits : ndarray, shape (tasks, draws)
        At the bench [h]; until the part is there [d].
    """

    hours: FloatArray
    waits: FloatArray


def draw(tasks: list[Task], *, draws: int = 4000, seed: int = 1) -> Drawn:
    """Durations of every task.

    Parameters
    ----------
    tasks : list of Task
        Everything that any of the scopes holds [h].
    draws : int
        How many [-].
    seed : int
        Same seed, same draws [-].

    Returns
    -------
    Drawn
        Hours [h] and waits [d].

    Raises
    ------
    RangeError
        A slow duration is shorter than the usual one, or a probability is none.
    """
    every = [d for t in tasks for d in (t.hours, t.wait, t.instead)]
    if any(d.usual < 0.0 or d.slow < d.usual for d in every):
        raise RangeError("a slow duration is shorter than the usual one.", mend="Give usual, then slow.")
    if any(not 0.0 <= t.scrap <= 1.0 for t in tasks):
        raise RangeError("a share of scrap is not between 0 and 1.")
    rng = np.random.default_rng(seed)
    shape = (len(tasks), draws)

    def of(durations: list[Duration]) -> FloatArray:
        usual = np.array([d.usual for d in durations])[:, None]
        spread = np.array([d.spread for d in durations])[:, None]
        return np.asarray(usual * np.exp(spread * rng.standard_normal(shape)))

    hours, waits, instead = (
        of([t.hours for t in tasks]),
        of([t.wait for t in tasks]),
        of([t.instead for t in tasks]),
    )
    scrapped = rng.random(shape) < np.array([t.scrap for t in tasks])[:, None]
    return Drawn(hours, waits + np.where(scrapped, instead, 0.0))


def scope_days(drawn: Drawn, tasks: list[int], hours_a_day: float) -> FloatArray:
    """Days of a scope, draw by draw.

    Parameters
    ----------
    drawn : Drawn
        Durations [h].
    tasks : list of int
        Numbers of the tasks that the scope holds [-].
    hours_a_day : float
        Bench hours that the visit gets in a day [h].

    Returns
    -------
    ndarray, shape (draws,)
        Days [d].

    Notes
    -----
    The longest wait and the bench hours follow each other: right where little can be built before the part is
    there, on the safe side where much can.
    """
    if not tasks:
        return np.zeros(drawn.hours.shape[1])
    return np.asarray(drawn.waits[tasks].max(axis=0) + drawn.hours[tasks].sum(axis=0) / hours_a_day)
