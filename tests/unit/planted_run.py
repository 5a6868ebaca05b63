"""Runs whose truth is known in closed form: ramps, first-order lags and planted moments."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

IDLE = 26300.0
FULL = 38420.0
FULL_TORQUE = 1537.0


@dataclass
class Planted:
    """Corner points of every channel; `lagged` channels answer their corner steps with a time constant."""

    end: float
    corners: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    lags: dict[str, float] = field(default_factory=dict)

    def add(self, channel: str, *points: tuple[float, float], lag: float = 0.0) -> None:
        """Straight lines between corner points."""
        self.corners.setdefault(channel, []).extend(points)
        if lag:
            self.lags[channel] = lag

    def time(self, rate: float) -> FloatArray:
        """Even clock [s]."""
        return np.arange(int(self.end * rate) + 1) / rate

    def values(self, channel: str, time: FloatArray) -> FloatArray:
        """Values at times."""
        points = sorted(self.corners[channel], key=lambda p: p[0])
        t, x = np.array([p[0] for p in points]), np.array([p[1] for p in points])
        return np.interp(time, t, x)


def coloured(rows: int, deviation: float, keep: float, seed: int) -> FloatArray:
    """First-order autoregressive noise of a stated standard deviation."""
    from scipy.signal import lfilter

    rng = np.random.default_rng(seed)
    white = rng.standard_normal(rows) * np.sqrt(1.0 - keep**2)
    start = rng.standard_normal()
    return deviation * np.asarray(lfilter([1.0], [1.0, -keep], white, zi=[keep * start])[0])


def coast(time: FloatArray, begin: float, speed: float, constant: float) -> FloatArray:
    """Exponential coast-down from `begin`."""
    return speed * np.exp(-np.maximum(time - begin, 0.0) / constant)


def usual_run(rate: float = 20.0, noise: bool = True, seed: int = 1) -> dict[str, FloatArray]:
    """Off, start at 20 s, idle from 48 s, three holds, idle to take-off and back, shut-down at 1200 s.

    Returns `time` and values by role.
    """
    p = Planted(1300.0)
    speed = [(0, 0), (20, 0), (30, 6000), (48, IDLE), (300, IDLE), (315, 36900), (560, 36900)]
    speed += [(565, 37500), (800, 37500), (803, 37670), (1000, 37670), (1010, IDLE), (1060, IDLE)]
    speed += [(1063, FULL), (1090, FULL), (1094, IDLE), (1200, IDLE)]
    torque = [(0, 0), (48, 60), (300, 60), (315, 1000), (560, 1000), (565, 1230), (800, 1230), (803, 1280)]
    torque += [(1000, 1280), (1010, 60), (1060, 60), (1063, 1530), (1090, 1530), (1094, 60), (1200, 60)]
    torque += [(1205, 0)]
    p.add("gas_generator_speed", *speed)
    p.add("torque", *torque)
    p.add("fuel_flow", (0, 0), (26, 0), (26.02, 0.012), (48, 0.016), (300, 0.016), (315, 0.06), (1000, 0.075))
    p.add("fuel_flow", (1010, 0.016), (1060, 0.016), (1063, 0.08), (1090, 0.08), (1094, 0.016))
    p.add("fuel_flow", (1199.98, 0.016), (1200, 0.0))
    t = p.time(rate)
    out = {name: p.values(name, t) for name in p.corners}
    ng = out["gas_generator_speed"]
    out["gas_generator_speed"] = np.where(t > 1200.0, coast(t, 1200.0, IDLE, 10.0), ng)
    if noise:
        keep = np.exp(-1.0 / rate / 2.0)
        for n, (name, deviation) in enumerate({"gas_generator_speed": 6.0, "torque": 2.5}.items()):
            out[name] = out[name] + coloured(t.size, deviation, keep, seed + n)
    return {"time": t, **out}
