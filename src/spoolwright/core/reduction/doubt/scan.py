"""One pass over a channel's rows: missing values, impossible values, range ends, standing still, spikes.

Every step works on whole columns; what is looked at row by row is only what a column-wide test has marked.
"""

from __future__ import annotations

import math

import numpy as np

from spoolwright.core.reduction.doubt.signs import BoolArray, ChannelRules, FloatArray, Sign, SignKind
from spoolwright.core.reduction.trace import runs_of

GAP_S = 2.0
"""A shorter stretch without values is a few lost cells [s]."""
STILL_S = 10.0
"""A shorter standstill of a reading is never told [s]."""
STILL_CHANCE = 1e-9
"""Chance that some stretch of a healthy channel stands still as long; below it the channel is stuck [-]."""
COARSE = 0.2
"""A reading of which a larger share of rows equals its neighbour stands still by resolution: only a stretch
four times as long as any other counts [-]."""
SPIKE_NOISES = 9.0
"""A spike leaves both neighbours by more than so many standard deviations of the noise [-]."""
CLIPPED_ROWS = 8
"""So many rows at exactly the highest (or lowest) value: a noisy reading does not repeat its extreme [-]."""
END_ROWS = 3
"""So many rows one after the other at the very end of the instrument's range are saturated [-]."""
NOISE_REACH = 5.0
"""Noise carries a reading so many standard deviations beyond the plausible window [-]."""
END_S = 5.0
"""And so long [s]."""
_SAMPLE = 2000


def scan_channel(
    channel: str, x: FloatArray, rules: ChannelRules, step: float, resting: BoolArray | None = None
) -> list[Sign]:
    """Signs in one channel's rows.

    Parameters
    ----------
    channel : str
        Channel [-].
    x : array, shape (rows,)
        Recorded values; NaN where nothing was recorded [inner unit].
    rules : ChannelRules
        What is known of it [inner unit].
    step : float
        Usual interval between rows [s].
    resting : array of bool, shape (rows,), or None
        Rows at which the engine stands still: there a speed or a flow may read exactly zero [-].

    Returns
    -------
    list of Sign
        What was seen, at most one sign a kind and stretch [-].

    Notes
    -----
    Stuck: if a share f of neighbouring rows are equal by resolution alone, the chance that somewhere among n
    rows L in a row are equal is below n f^(L - 1); a longer standstill than that of 1e-9 is told. So a coarse
    but living channel (f near 1) is not called stuck, nor a state; nor one that rests between two digits,
    where no stretch stands out. A channel that never moves at all is told
    as constant: there is nothing to tell resolution from standstill by.

    A noisy reading that repeats its extreme is cut off there, save at exactly zero, which is what a dead
    channel reads. A channel that sticks at its highest value of all looks the same here; `plateau` tells the
    two apart by what the engine does meanwhile.

    A direction has no ends to be cut off at: beyond one end of its range it goes on at the other, and that is
    no spike either.

    Spikes: one or two rows that leave both neighbours the same way by more than nine standard deviations of
    the noise, the larger of that stated and that seen (median of |second difference| / (0.6745 sqrt 6)).
    """
    known = np.isfinite(x)
    if not known.any():
        return [Sign("empty", channel, 0, max(x.size - 1, 0), x.size, np.nan)]
    out = [] if known.all() else _gaps(channel, known, step)
    if resting is not None:
        known &= ~(resting & (x == 0.0))
    rows = None if known.all() else np.flatnonzero(known)
    if rows is not None:
        if rows.size == 0:
            return out
        x = x[rows]
    signs = _implausible(channel, x, rules)
    if not rules.digital and rules.noise > 0.0 and x.size > CLIPPED_ROWS:
        low, high = float(x.min()), float(x.max())
        if low == high:
            signs.append(Sign("constant", channel, 0, x.size - 1, x.size, low))
        else:
            ends = [] if rules.turn else _range_ends(channel, x, rules, (low, high), step)
            signs += ends + _still(channel, x, step, {s.value for s in ends})
            signs += _spikes(channel, x, rules.noise, rules.turn)
    return out + (signs if rows is None else [_moved(s, rows) for s in signs])


def _moved(sign: Sign, rows: np.ndarray) -> Sign:
    """A sign among the known rows, in rows of the recording."""
    first, last = int(rows[sign.first]), int(rows[sign.last])
    return Sign(sign.kind, sign.channel, first, last, sign.rows, sign.value)


def _gaps(channel: str, known: np.ndarray, step: float) -> list[Sign]:
    """Long stretches without values one by one; scattered empty cells together."""
    runs = runs_of(~known)
    long = [(a, b) for a, b in runs if (b - a) * step > GAP_S and b - a > 2]
    few = [(a, b) for a, b in runs if not ((b - a) * step > GAP_S and b - a > 2)]
    out = [Sign("gap", channel, a, b - 1, b - a, np.nan) for a, b in _few_of(long)]
    if few:
        count = sum(b - a for a, b in few)
        out.append(Sign("unread", channel, few[0][0], few[-1][1] - 1, count, np.nan))
    return out


def _few_of(runs: list[tuple[int, int]], most: int = 20) -> list[tuple[int, int]]:
    return runs if len(runs) <= most else [(runs[0][0], runs[-1][1])]


def _implausible(channel: str, x: FloatArray, rules: ChannelRules) -> list[Sign]:
    reach = NOISE_REACH * rules.noise
    low, high = rules.plausible[0] - reach, rules.plausible[1] + reach
    if x.min() >= low and x.max() <= high:
        return []
    rows = np.flatnonzero((x < low) | (x > high))
    beyond = np.maximum(low - x[rows], x[rows] - high)
    furthest = float(x[rows][int(np.argmax(beyond))])
    return [Sign("implausible", channel, int(rows[0]), int(rows[-1]), rows.size, furthest)]


def _range_ends(
    channel: str, x: FloatArray, rules: ChannelRules, extremes: tuple[float, float], step: float
) -> list[Sign]:
    """Rows at an end of the instrument's range, or at an extreme that repeats as no noisy reading does."""
    out = []
    low, high = extremes
    width = rules.range[1] - rules.range[0]
    for extreme, end, beyond in ((low, rules.range[0], low <= rules.range[0] + 1e-9 * width),
                                 (high, rules.range[1], high >= rules.range[1] - 1e-9 * width)):  # fmt: skip
        at = x == extreme
        count = int(np.count_nonzero(at))
        if beyond:
            kind: SignKind = "saturated"
            told = _in_a_row(at) >= max(END_ROWS, END_S / step)
        else:
            kind = "clipped"
            told = count >= CLIPPED_ROWS and extreme != 0.0 and not _coarse(x, at, count)
        if told:
            rows = np.flatnonzero(at)
            out.append(Sign(kind, channel, int(rows[0]), int(rows[-1]), count, end if beyond else extreme))
    return out


def _in_a_row(at: BoolArray) -> int:
    """Rows marked one after the other, at most; noise alone reaches the end of a range only now and then."""
    return max((b - a for a, b in runs_of(at)), default=0)


def _coarse(x: FloatArray, at: np.ndarray, count: int) -> bool:
    """Whether resolution alone explains that an extreme repeats: other rows repeat theirs as often."""
    rows = np.flatnonzero(at)
    together = count - 1 - int(np.count_nonzero(np.diff(rows) > 1))
    equal = np.diff(x) == 0.0
    elsewhere = int(np.count_nonzero(equal)) - together
    share = elsewhere / max(x.size - count, 1)
    return together <= 2.0 + 3.0 * share * count


def _still(channel: str, x: FloatArray, step: float, ends: set[float]) -> list[Sign]:
    """Stretches in which the reading does not move by a single digit."""
    equal = np.diff(x) == 0.0
    count = int(np.count_nonzero(equal))
    fewest = max(int(STILL_S / step), 20)
    if count < fewest:
        return []
    every = runs_of(equal)
    runs = [(a, b) for a, b in every if b - a >= fewest and float(x[a]) not in ends]
    if not runs:
        return []
    longest = sum(b - a for a, b in runs)
    share = max(count - longest, 1) / max(equal.size - longest, 1)
    needed = math.log(STILL_CHANCE / x.size) / math.log(share) if share < 1.0 else math.inf
    if share > COARSE or (count - longest == 0 and len(runs) > 1):
        lengths = sorted(b - a for a, b in every)
        needed = max(needed, 4.0 * lengths[-2] if len(lengths) > 1 else 0.0)
    runs = _few_of([(a, b) for a, b in runs if b - a > needed])
    return [Sign("stuck", channel, a, b, b - a + 1, float(x[a])) for a, b in runs]


def _spikes(channel: str, x: FloatArray, noise: float, turn: float = 0.0) -> list[Sign]:
    """Rows that leave both neighbours the same way and come back."""
    if x.size < 8:
        return []
    straight = np.unwrap(x, period=turn) if turn else x
    limit = SPIKE_NOISES * max(noise, seen_noise(straight))
    d = np.diff(straight)
    big = np.flatnonzero(np.abs(d) > limit)
    if big.size < 2:
        return []
    width = np.diff(big)
    close = np.flatnonzero(width <= 2)
    up, down = d[big[close]], d[big[close + 1]]
    back = (np.sign(up) != np.sign(down)) & (np.abs(up + down) < 0.5 * np.minimum(np.abs(up), np.abs(down)))
    first, last = big[close][back] + 1, big[close + 1][back]
    lone = _calm_around(d, first, last, limit)
    first, last = first[lone], last[lone]
    if first.size == 0:
        return []
    size = up[back][lone]
    largest = float(x[first[int(np.argmax(np.abs(size)))]])
    count = int(np.sum(last - first + 1))
    return [Sign("spikes", channel, int(first[0]), int(last[-1]), count, largest)]


def _calm_around(d: FloatArray, first: np.ndarray, last: np.ndarray, limit: float) -> np.ndarray:
    """Spikes with quiet rows on both sides: a reading that swings all the time does not spike."""
    calm = np.ones(first.size, dtype=bool)
    for offset in (-3, -2, 2, 3):
        row = np.where(offset < 0, first + offset, last + offset - 1)
        inside = (row >= 0) & (row < d.size)
        calm &= ~inside | (np.abs(d[np.clip(row, 0, d.size - 1)]) < limit)
    return calm


def seen_noise(x: FloatArray) -> float:
    """Standard deviation of a reading's noise, whatever it does besides.

    Parameters
    ----------
    x : array, shape (rows,)
        Values; NaN where nothing was recorded [inner unit].

    Returns
    -------
    float
        From second differences at up to 2000 evenly chosen rows, 0 where there are too few [inner unit].
    """
    x = x[np.isfinite(x)]
    if x.size < 8:
        return 0.0
    rows = np.arange(1, x.size - 1, max(1, (x.size - 2) // _SAMPLE))
    bend = np.abs(x[rows + 1] - 2.0 * x[rows] + x[rows - 1])
    return float(np.median(bend)) / (0.6745 * math.sqrt(6.0))
