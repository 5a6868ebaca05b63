"""A run of the demonstration type whose every moment and level is planted in closed form; no engine model."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from planted_run import coloured

from spoolwright.core.measurement.recording import Recording, Series
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.reading import RunContents, ScalarReading
from spoolwright.crafts.testcell.run_sheet import CellState, Engine, RunSheet
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.sources.typefile import load_type, shipped_type
from spoolwright.units import INNER_UNIT, unit_of

FloatArray = NDArray[np.float64]

IDLE, THETA, FULL_TORQUE = 26260.0, 298.15 / 288.15, 1537.0
LIMIT_SET = "repaired"


@cache
def corrie() -> TypeFile:
    """The demonstration type."""
    return load_type(shipped_type()).type_file


@dataclass
class Line:
    """Corner points of a reading that is straight between them."""

    points: list[tuple[float, float]] = field(default_factory=list)

    def to(self, time: float, value: float) -> None:
        self.points.append((time, value))

    def hold(self, time: float) -> None:
        self.points.append((time, self.points[-1][1]))

    def at(self, time: FloatArray) -> FloatArray:
        t, x = np.array(self.points).T
        return np.interp(time, t, x)


@dataclass
class Truth:
    """What was planted."""

    starter_on: float = 30.37
    ignition_on: float = 33.11
    fuel_on: float = 33.63
    lit: float = 34.5 + 40.0 / 150.0
    idle_reached: float = 0.0
    peak: tuple[float, float] = (42.0, 1110.0)
    holds: list[tuple[str, float, float]] = field(default_factory=list)
    accelerations: list[tuple[float, float]] = field(default_factory=list)
    decelerations: list[tuple[float, float]] = field(default_factory=list)
    load_on: float = 0.0
    load_off: float = 0.0
    fuel_off: float = 0.0
    coast_constant: float = 14.0
    end: float = 0.0


class Script:
    """Writes the run; `now` is where it has got to."""

    def __init__(self) -> None:
        self.truth = Truth()
        self.ng, self.torque, self.np, self.lever, self.mgt, self.wf = (Line() for _ in range(6))
        self.lags: list[tuple[float, float, float, float, float]] = []
        self.now = 0.0
        self.level = (0.0, 0.0)
        for line in (self.ng, self.torque, self.np, self.wf):
            line.to(0.0, 0.0)
        self.lever.to(0.0, 0.0)
        self.mgt.to(0.0, 300.0)

    def start(self) -> None:
        t = self.truth
        self.ng.to(t.starter_on, 0.0)
        self.ng.to(33.6, 5000.0)
        self.ng.to(56.0, IDLE)
        t.idle_reached = 33.6 + (IDLE - 400.0 - 5000.0) / (IDLE - 5000.0) * (56.0 - 33.6)
        self.torque.to(40.0, 0.0)
        self.torque.to(56.0, 98.0)
        self.np.to(36.0, 0.0)
        self.np.to(60.0, 5840.0)
        self.wf.to(t.fuel_on, 0.0)
        self.wf.to(t.fuel_on + 0.001, 0.012)
        self.wf.to(56.0, 0.0186)
        self.mgt.to(34.5, 300.0)
        self.mgt.to(34.5 + 4.0, 900.0)
        self.mgt.to(*t.peak)
        self.mgt.to(50.0, 760.0)
        self.lever.to(30.0, 0.0)
        self.now, self.level = 56.0, (IDLE, 98.0)

    def wait(self, seconds: float) -> None:
        self.now += seconds
        for line in (self.ng, self.torque, self.np, self.wf, self.mgt, self.lever):
            line.hold(self.now)

    def move(self, ng: float, torque: float, seconds: float) -> None:
        """Everything in a straight line over a time."""
        self.now += seconds
        self.ng.to(self.now, ng)
        self.torque.to(self.now, torque)
        self.wf.to(self.now, 0.0186 + 0.058 * torque / FULL_TORQUE)
        self.mgt.to(self.now, 750.0 + 340.0 * torque / FULL_TORQUE)
        self.lever.to(self.now, 20.0 + 80.0 * (ng - IDLE) / 12000.0)
        self.np.hold(self.now)
        self.level = (ng, torque)

    def hold(self, item: str, ng: float, torque: float, seconds: float, over: float = 6.0) -> None:
        self.move(ng, torque, over)
        begin = self.now
        self.wait(seconds)
        self.truth.holds.append((item, begin, self.now))

    def slam(self, ng: float, torque: float, constant: float, dead: float = 0.2) -> float:
        """The lever moves within half a second; speed and torque follow with dead time and a lag."""
        t0 = self.now
        self.lever.to(t0 + 0.5, 20.0 + 80.0 * (ng - IDLE) / 12000.0)
        old = self.level
        self.lags.append(
            (t0 + dead, constant, ng - old[0], torque - old[1], (torque - old[1]) * 340.0 / FULL_TORQUE)
        )
        self.level = (ng, torque)
        self.now += 40.0
        for line in (self.ng, self.torque, self.np, self.wf, self.mgt, self.lever):
            line.hold(self.now)
        return dead + constant * math.log(20.0)  # 95 % of the change

    def settle_lags(self) -> None:
        """Put the levels of finished slams into the lines, so that what follows starts from them."""


def _usual() -> Script:
    s = Script()
    s.start()
    s.wait(320.0)
    root = math.sqrt(THETA)
    targets = {i.id: i for i in corrie().schedule}
    torques = {
        "p60": 900.0, "p75": 1150.0, "max_continuous": 1300.0, "intermediate": 1430.0, "p100": 1490.0,
        "take_off": 1530.0, "p90": 1390.0, "take_off_repeat": 1530.0, "max_continuous_down": 1300.0,
        "p75_down": 1150.0,
    }  # fmt: skip
    for item, torque in torques.items():
        target = targets[item].target
        assert target is not None
        over = 12.0 if item == "p60" else 6.0
        s.hold(item, target * root, torque, targets[item].at_least_s + 15.0, over)
    s.move(IDLE, 98.0, 12.0)
    s.wait(60.0)
    return s


def usual_script() -> Script:
    """Start, warm-up, ten points, two slams up and down, load steps, cool-down, shut-down."""
    s = _usual()
    top = (38420.0 * math.sqrt(THETA), 1530.0)
    for _ in range(2):
        s.truth.accelerations.append((s.now, s.slam(*top, 1.0)))
        s.truth.decelerations.append((s.now, s.slam(IDLE, 98.0, 1.3)))
    s.move(34500.0, 620.0, 12.0)
    s.wait(60.0)
    _load_step(s, 37900.0, 1390.0, dip=-180.0, settled=5800.0, on=True)
    s.wait(60.0)
    _load_step(s, 34500.0, 620.0, dip=150.0, settled=5840.0, on=False)
    s.wait(60.0)
    s.move(IDLE, 98.0, 12.0)
    s.wait(140.0)
    s.truth.fuel_off = s.now
    s.truth.end = s.now + 100.0
    for line, value in ((s.torque, 0.0), (s.np, 0.0), (s.wf, 0.0), (s.mgt, 330.0)):
        line.to(s.now + (0.001 if line is s.wf else 30.0), value)
    return s


def _load_step(s: Script, ng: float, torque: float, *, dip: float, settled: float, on: bool) -> None:
    """Load within 0.6 s; output speed is `dip` off the settled value after 0.7 s, there after 2.5 s."""
    t0 = s.now
    lever = s.lever.points[-1][1]
    if on:
        s.truth.load_on = t0
    else:
        s.truth.load_off = t0
    s.torque.to(t0 + 0.6, torque)
    s.ng.to(t0 + 2.0, ng)
    s.mgt.to(t0 + 2.0, 750.0 + 340.0 * torque / FULL_TORQUE)
    s.wf.to(t0 + 1.0, 0.0186 + 0.058 * torque / FULL_TORQUE)
    s.np.to(t0 + 0.7, settled + dip)
    s.np.to(t0 + 2.5, settled)
    s.now, s.level = t0 + 2.5, (ng, torque)
    for line in (s.torque, s.ng, s.mgt, s.wf):
        line.hold(s.now)
    s.lever.to(s.now, lever)


def true_values(s: Script, time: FloatArray) -> dict[str, FloatArray]:
    """True values by channel [inner]."""
    out = {"ng": s.ng.at(time), "torque": s.torque.at(time), "mgt": s.mgt.at(time)}
    out |= {"np": s.np.at(time), "wf": s.wf.at(time), "power_lever": s.lever.at(time)}
    for begin, constant, ng, torque, mgt in s.lags:
        answer = np.where(time > begin, 1.0 - np.exp(-np.maximum(time - begin, 0.0) / constant), 0.0)
        for name, change in (("ng", ng), ("torque", torque), ("mgt", mgt)):
            out[name] = out[name] + change * answer
    off = s.truth.fuel_off
    if off:
        out["ng"] = np.where(time > off, IDLE * np.exp(-(time - off) / s.truth.coast_constant), out["ng"])
    on = (time >= s.truth.starter_on) & (time < 50.0)
    out["starter"] = on.astype(float)
    out["ignition"] = ((time >= s.truth.ignition_on) & (time < 50.0)).astype(float)
    relative = out["ng"] / 38420.0
    out |= {
        "t2": np.full_like(time, 298.15), "t_amb": np.full_like(time, 298.15),
        "p2": np.full_like(time, 100e3), "p_amb": np.full_like(time, 100.6e3), "rh": np.full_like(time, 0.5),
        "dyno_torque": 1.006 * out["torque"],
        "p3": 100e3 * (1.0 + 10.8 * relative**3), "t3": 298.15 + 330.0 * relative**2,
        "qf": out["wf"] / 800.0, "t_fuel": np.full_like(time, 295.0), "p5": np.full_like(time, 101e3),
        "t_oil": 298.15 + 60.0 * (1.0 - np.exp(-np.maximum(time - 40.0, 0.0) / 150.0)),
        "p_oil": 420e3 * np.minimum(relative, 1.0) ** 0.6,
        "chip_detector": np.zeros_like(time), "wind": np.full_like(time, 2.0),
        "oil_qty": 7e-3 - 0.05e-3 / 3600.0 * time,
    }  # fmt: skip
    for n in range(1, 9):
        out[f"mgt_{n}"] = out["mgt"] + 3.0 * (n - 4.5)
    for name in ("compressor", "turbine", "gearbox", "exhaust"):
        out[f"vib_{name}"] = 4e-3 * relative**2
    return out


def recorded(
    s: Script, rate: float = 20.0, *, noise: bool = True, seed: int = 1, without: tuple[str, ...] = ()
) -> Recording:
    """The run as a logger writes it."""
    time = np.arange(int(s.truth.end * rate) + 1) / rate
    true = true_values(s, time)
    series = {}
    for n, channel in enumerate(corrie().channel):
        if channel.id not in true or channel.id in without:
            continue
        unit = unit_of(channel.unit, channel.dimension)
        keep = math.exp(-1.0 / rate / 2.0)
        deviation = channel.noise * unit.factor if noise else 0.0
        values = true[channel.id] + (
            coloured(time.size, deviation, keep, 100 * seed + n) if deviation else 0.0
        )
        series[channel.id] = Series(
            channel.id, values, channel.id, channel.unit, INNER_UNIT[channel.dimension]
        )
    started = datetime(2026, 9, 1, 8, 0, tzinfo=UTC)
    return Recording(time, series, started, "planted.csv", "0" * 64)


def sheet(**given: Any) -> RunSheet:
    """A run sheet for it."""
    usual: dict[str, Any] = {
        "format": 1,
        "run": "1",
        "performed_on": date(2026, 9, 1),
        "limit_set": LIMIT_SET,
        "engine": Engine(serial="P-1", torque_conformation=1.002, mgt_trim_class="T0"),
        "cell": CellState(cell="cell_1", configuration="any", precipitation="none"),
    }
    return RunSheet(**{**usual, **given})


@cache
def usual() -> tuple[Script, Recording]:
    script = usual_script()
    return script, recorded(script)


@cache
def usual_contents() -> RunContents:
    return read_run(usual()[1], sheet(), corrie())


def of(found: RunContents, quantity: str, regime: str = "", limit: str | None = None) -> list[ScalarReading]:
    return [
        r
        for r in found.readings
        if r.quantity == quantity and regime in ("", r.regime) and limit in (None, r.limit)
    ]


def within(reading: ScalarReading, true: float, times: float = 3.0) -> bool:
    return abs(reading.value - true) <= times * reading.uncertainty


def failed_start(lit: bool, wait: float) -> Recording:
    """Cranked from 30.37 s; lit or not; given up after `wait` seconds at 50 % of idle speed."""
    s = Script()
    t: Truth = s.truth
    end = t.starter_on + wait
    for time, ng in ((t.starter_on, 0.0), (40.0, 0.5 * IDLE), (end, 0.5 * IDLE), (end + 30.0, 0.0)):
        s.ng.to(time, ng)
    s.wf.to(t.fuel_on, 0.0)
    s.wf.to(t.fuel_on + 0.001, 0.01)
    s.wf.to(end, 0.01)
    s.wf.to(end + 0.001, 0.0)
    s.mgt.to(34.5, 300.0)
    for time, mgt in ((38.5, 900.0), (end, 950.0), (end + 30.0, 400.0)) if lit else ():
        s.mgt.to(time, mgt)
    s.truth.end = end + 60.0
    for line in (s.ng, s.torque, s.np, s.lever, s.mgt, s.wf):
        line.hold(s.truth.end)
    return recorded(s)
