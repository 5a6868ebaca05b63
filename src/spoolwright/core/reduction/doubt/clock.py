"""Signs in the recorded clock: stamps that repeat, run backwards, leap or cannot be read."""

from __future__ import annotations

import numpy as np

from spoolwright.core.reduction.doubt.signs import BoolArray, FloatArray, Sign
from spoolwright.core.reduction.trace import runs_of

SILENCE_S = 2.0
"""A shorter interval between rows is a late row, not a gap [s]."""
SILENCE_ROWS = 5.0
"""The same in usual intervals, for slow recordings [-]."""
MOST = 20
"""More places than this are told as one stretch [-]."""


def clock_signs(time: FloatArray, forward: BoolArray) -> list[Sign]:
    """What is wrong with the time stamps.

    Parameters
    ----------
    time : array, shape (rows,)
        Stamps as recorded [s].
    forward : array of bool, shape (rows,)
        The most rows in forward order, see `trace.forward_rows` [-].

    Returns
    -------
    list of Sign
        In order of rows; `value` is the time by which the clock went back or was silent [s].

    Notes
    -----
    A row is out of order when it is not among the longest run of rows whose stamps only rise. A silence is
    an interval between rows in order of more than 2 s and of more than five usual intervals; the leap that
    ends a stretch of stamps out of order is not told again as a silence.
    """
    if time.size == 0:
        return []
    known = np.isfinite(time)
    out = [Sign("unreadable_time", "", a, b - 1, b - a, np.nan) for a, b in runs_of(~known)]
    stray = [_out_of_order(time, a, b) for a, b in runs_of(known & ~forward)]
    silences = _silences(time, forward)
    signs = _joined(out) + _joined_by_kind(stray) + _joined(silences)
    return sorted(signs, key=lambda s: s.first)


def _out_of_order(time: FloatArray, a: int, b: int) -> Sign:
    """Rows a to b are not in forward order: do they repeat a stamp, or go back?"""
    before = max(a - 1, 0)
    steps = np.diff(time[before : min(b + 1, time.size)])
    steps = steps[np.isfinite(steps)]
    back = float(-steps.min()) if steps.size else 0.0
    if back <= 0.0:
        return Sign("repeated_time", "", a, min(b, time.size - 1), b - a, float(time[a]))
    return Sign("backward_time", "", a, b - 1, b - a, back)


def _silences(time: FloatArray, forward: BoolArray) -> list[Sign]:
    rows = np.flatnonzero(forward)
    if rows.size < 3:
        return []
    steps = np.diff(time[rows])
    long = np.flatnonzero(steps > max(SILENCE_S, SILENCE_ROWS * float(np.median(steps))))
    found = [(int(rows[i]), int(rows[i + 1]), float(steps[i])) for i in long]
    in_order = [(a, b, length) for a, b, length in found if b == a + 1 and (a == 0 or forward[a - 1])]
    return [Sign("silence", "", a, b, 0, length) for a, b, length in in_order]


def _joined_by_kind(signs: list[Sign]) -> list[Sign]:
    kinds = dict.fromkeys(s.kind for s in signs)
    return [one for kind in kinds for one in _joined([s for s in signs if s.kind == kind])]


def _joined(signs: list[Sign]) -> list[Sign]:
    """Many places of one kind told as one stretch."""
    if len(signs) <= MOST:
        return signs
    return [
        Sign(
            signs[0].kind, "", signs[0].first, signs[-1].last, sum(s.rows for s in signs),
            max(s.value for s in signs),
        )
    ]  # fmt: skip
