"""Lives: ledgers with planted errors, rainflow counting, exchange rates

Cards are built forward in time in decimal arithmetic by tests/reference/life_building.py, which imports
nothing of the project; the plan of planting says which line, kind of fault and measure must be told, and
nothing else may be. Rainflow counting is compared cycle by cycle with the package `rainflow`.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import rainflow as package

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reference"))
from life_building import life
from life_planting import PLANTINGS, planted, several
from life_reading import read, seen_by

from spoolwright.core.life.damage import cycles_allowed, damage_sum, equivalent_cycles, exchange_rate
from spoolwright.core.life.rainflow import rainflow

EACH = 200
SOUND = 2000
SEVERAL = 400
HISTORIES = 1000
CLAIM = """
Of lives with planted errors (24 kinds, 200 lives each, and 400 lives with two to four errors) each error is
told with its line, kind and measure, and nothing else is; of 2,000 sound lives none is doubted. Rainflow
counts equal those of the package `rainflow` on 1,000 random histories to 1e-12 and those of ASTM E1049-85,
5.4.4; damage, exchange rates and mission mix equal the closed forms.
"""
Report = Callable[[int, int], None]


def run(progress: Report) -> dict[str, Any]:
    """Everything, none dropped."""
    total = EACH * len(PLANTINGS) + SEVERAL + SOUND + HISTORIES
    done = 0

    def tick(n: int = 1) -> None:
        nonlocal done
        done += n
        progress(done, total)

    missed, alarms, errors = _planted(tick)
    doubted = _sound(tick)
    worst, unequal, cycles = _rainflow(tick)
    closed = _closed_forms()
    measured = {
        "planted errors on lives of their own": f"{EACH * len(PLANTINGS)} lives, {errors} entries to be told",
        "not told": f"{sum(missed.values())} {dict(missed) or ''}".strip(),
        "told without being planted": f"{sum(alarms.values())} {dict(alarms) or ''}".strip(),
        "sound lives doubted": f"{doubted} of {SOUND}",
        "rainflow: histories whose cycles differ": f"{unequal} of {HISTORIES} ({cycles:,} cycles)",
        "rainflow: largest difference of range, mean or count": f"{worst:.1e}",
        "largest relative difference from closed forms": f"{closed:.1e}",
    }
    holds = not missed and not alarms and doubted == 0 and unequal == 0 and worst <= 1e-12 and closed <= 1e-9
    return {"claim": " ".join(CLAIM.split()), "measured": measured, "cases": total, "holds": holds}


def _planted(tick: Callable[[], None]) -> tuple[Counter[str], Counter[str], int]:
    missed: Counter[str] = Counter()
    alarms: Counter[str] = Counter()
    errors = 0
    cases = [(kind, seed) for kind in PLANTINGS for seed in range(10_000, 10_000 + EACH)]
    for kind, seed in [*cases, *(("several", s) for s in range(10_000, 10_000 + SEVERAL))]:
        card, plan = several(seed) if kind == "several" else planted(kind, seed)
        told = seen_by(read(card))
        missed[kind] += len(plan - told)
        alarms[kind] += len(told - plan)
        errors += len(plan)
        tick()
    return +missed, +alarms, errors


def _sound(tick: Callable[[], None]) -> int:
    doubted = 0
    for seed in range(SOUND):
        doubted += bool(seen_by(read(life(random.Random(f"proof {seed}")))))
        tick()
    return doubted


def _rainflow(tick: Callable[[], None]) -> tuple[float, int, int]:
    draw = np.random.default_rng(1049)
    worst, unequal, cycles = 0.0, 0, 0
    for i in range(HISTORIES):
        n = int(draw.integers(3, 1500))
        noise = draw.normal(size=n)
        whole = draw.integers(-5, 6, size=n).astype(float)
        history = (noise, noise.cumsum(), whole)[i % 3]
        theirs = np.array(sorted(c[:3] for c in package.extract_cycles(history.tolist()))).reshape(-1, 3)
        c = rainflow(history)
        ours = np.array(sorted(zip(c.range, c.mean, c.count, strict=True))).reshape(-1, 3)
        cycles += len(theirs)
        same = ours.shape == theirs.shape
        gap = float(np.max(np.abs(_paired(ours) - _paired(theirs)), initial=0.0)) if same else np.inf
        unequal += gap > 1e-12
        worst = max(worst, gap)
        tick()
    return worst, unequal, cycles


def _paired(table: np.ndarray) -> np.ndarray:
    """Rows in one order although ranges may differ in the last digit."""
    rounded = np.round(table, 9)
    return table[np.lexsort(rounded.T[::-1])]


def _closed_forms() -> float:
    """Largest relative difference of the standard's history, damage, sums, mission mix, exchange rates."""
    c = rainflow(np.array([-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]))
    counts: Counter[float] = Counter()
    for r, n in zip(c.range.tolist(), c.count.tolist(), strict=True):
        counts[r] += n
    if counts != {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}:
        return float("inf")
    damage = damage_sum(c.count.tolist(), cycles_allowed(c.range, 2.0, 1e6, 4.0).tolist())
    sorties = [equivalent_cycles([1, n], [1.0, 0.2]) for n in (2, 6, 20)]
    pairs = [
        (damage, 5.280625e-4),
        (damage_sum([10, 100, 1000], [1e4, 5e4, 5e5]), 0.005),
        (equivalent_cycles([0.6, 0.3, 0.1], sorties), 2.0),
    ]
    ratios = np.array([0.6, 0.7, 0.8, 0.9])
    for slope in (4, 6):
        rates = exchange_rate(ratios, np.ones(4), float(slope))
        # by whole numbers: 1 - r^2 is 64, 51, 36, 19 hundredths
        pairs += [(float(k), n**slope / 100**slope) for k, n in zip(rates, (64, 51, 36, 19), strict=True)]
        over = float(exchange_rate(np.zeros(1), np.array([1.02]), float(slope))[0])
        pairs.append((over, 102 ** (2 * slope) / 100 ** (2 * slope)))
    return max(abs(got / want - 1) for got, want in pairs)
