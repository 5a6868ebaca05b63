"""A run put together from pieces, each with its own time grid, and read out at the logger's rate."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Traces = dict[str, FloatArray]

STATES = ("ignition", "starter")
"""Quantities that switch; between two times the earlier value holds."""
_RISE, _LAST = 6.0, 6.0
"""Rise time of a slow settling [s], and how many of its time constants are kept."""


@dataclass(frozen=True)
class SlowSettling:
    """What casings still cold or hot do to each quantity after a change: it comes up with the metal and
    fades away.
    """

    from_s: float
    time_constant: float
    size: dict[str, float]

    def at(self, name: str, time: FloatArray) -> FloatArray:
        """Contribution to a quantity at times [s]."""
        since = time - self.from_s
        live = (since > 0.0) & (since < _LAST * self.time_constant)
        shape = np.exp(-np.maximum(since, 0.0) / self.time_constant) - np.exp(-np.maximum(since, 0.0) / _RISE)
        return np.asarray(np.where(live, self.size.get(name, 0.0) * shape, 0.0))


@dataclass
class Run:
    """Pieces in order of time.

    Parameters
    ----------
    pieces : true quantities over times that follow on; each piece has `time` [s]
    slow : slow settlings laid over the running engine
    """

    pieces: list[Traces] = field(default_factory=list)
    slow: list[SlowSettling] = field(default_factory=list)

    @property
    def now(self) -> float:
        """Where the run has got to [s]."""
        return float(self.pieces[-1]["time"][-1]) if self.pieces else 0.0

    def last(self) -> dict[str, float]:
        """Quantities at the end of the last piece."""
        return {k: float(v[-1]) for k, v in self.pieces[-1].items()} if self.pieces else {}

    def add(self, piece: Traces, joined_over: float = 0.0) -> None:
        """Put a piece with times from 0 behind the rest, its first values led over from the last ones if
        asked.
        """
        before = self.last()
        since = piece["time"]
        moved = {"time": since + self.now}
        for name, values in piece.items():
            if name == "time":
                continue
            if joined_over > 0.0 and name in before and name not in STATES:
                values = values + (before[name] - values[0]) * np.exp(-since / joined_over)
            moved[name] = values
        self.pieces.append(moved)

    def read_out(self, rate: float) -> Traces:
        """All quantities at the logger's rate [1/s]."""
        time = np.arange(int(self.now * rate) + 1) / rate
        names = [n for n in self.pieces[0] if n != "time"]
        all_times = np.concatenate([p["time"] for p in self.pieces])
        before = np.clip(np.searchsorted(all_times, time, side="right") - 1, 0, None)
        out = {"time": time}
        for name in names:
            values = np.concatenate([p[name] for p in self.pieces])
            straight = values[before] if name in STATES else np.interp(time, all_times, values)
            out[name] = straight + sum((s.at(name, time) for s in self.slow), np.zeros_like(time))
        return out
