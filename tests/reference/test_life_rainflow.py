"""Rainflow counting against the standard's worked example and an independent package.

ASTM E1049-85 (2017), paragraph 5.4.4 and figure 6: the history and its counts. Package `rainflow` 3.2 (MIT),
which follows the same paragraph, on random histories (of three values at least: of two it counts nothing).
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest
import rainflow as package

from spoolwright.core.life.damage import cycles_allowed, damage_sum
from spoolwright.core.life.rainflow import rainflow, turning_points

HISTORY = np.array([-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0])
HISTORIES = 150
"""Of the 1,000 that `make prove ONLY=life` compares."""


def test_the_standards_history_gives_the_standards_counts() -> None:
    cycles = rainflow(HISTORY)
    counts: Counter[float] = Counter()
    for r, n in zip(cycles.range, cycles.count, strict=True):
        counts[float(r)] += float(n)
    assert counts == {3.0: 0.5, 4.0: 1.5, 6.0: 0.5, 8.0: 1.0, 9.0: 0.5}
    closed = cycles.count == 1.0
    assert (cycles.range[closed].tolist(), cycles.mean[closed].tolist()) == ([4.0], [1.0])
    halves = sorted(zip(cycles.range[~closed].tolist(), cycles.mean[~closed].tolist(), strict=True))
    assert halves == [(3, -0.5), (4, -1), (6, 1), (8, 0), (8, 1), (9, 0.5)]


def test_damage_of_that_history() -> None:
    """With N = 10^6 (2 / range)^4: D = 5.280625e-4, by hand from the counts above; 1893.7 blocks."""
    cycles = rainflow(HISTORY)
    damage = damage_sum(cycles.count.tolist(), cycles_allowed(cycles.range, 2.0, 1e6, 4.0).tolist())
    assert damage == pytest.approx(5.280625e-4, rel=1e-12)
    assert 1 / damage == pytest.approx(1893.7, abs=0.05)


def histories(count: int) -> list[Any]:
    """Random walks, white noise, whole numbers with plateaus, and short ones."""
    draw = np.random.default_rng(20261125)
    out = []
    for i in range(count):
        n = int(draw.integers(3, 400))
        kind = i % 4
        if kind == 0:
            out.append(draw.normal(size=n).cumsum())
        elif kind == 1:
            out.append(draw.normal(size=n))
        elif kind == 2:
            out.append(draw.integers(-4, 5, size=n).astype(float))
        else:
            out.append(draw.uniform(size=int(draw.integers(3, 6))))
    return out


def test_random_histories_against_the_package() -> None:
    for history in histories(HISTORIES):
        theirs = sorted((r, m, c) for r, m, c, _, _ in package.extract_cycles(history.tolist()))
        cycles = rainflow(history)
        ours = sorted(zip(cycles.range.tolist(), cycles.mean.tolist(), cycles.count.tolist(), strict=True))
        assert len(ours) == len(theirs)
        np.testing.assert_allclose(np.array(ours).reshape(-1, 3), np.array(theirs).reshape(-1, 3), atol=1e-12)


def test_two_values_are_half_a_cycle() -> None:
    """Step 6 of the paragraph: each range not counted before is half a cycle."""
    cycles = rainflow(np.array([1.0, 3.0]))
    assert (cycles.range.tolist(), cycles.count.tolist()) == ([2.0], [0.5])


@pytest.mark.parametrize(("values", "points"), [([], []), ([2.0, 2.0], [2.0]), ([1.0, np.nan, 2.0], [1, 2])])
def test_histories_without_a_turn(values: list[float], points: list[float]) -> None:
    assert turning_points(np.array(values)).tolist() == points


def test_small_swings_are_passed_over_and_the_large_ones_stay() -> None:
    """A start and stop with noise of 40 rpm either way counts as the start and stop without it."""
    draw = np.random.default_rng(3)
    clean = np.concatenate([np.linspace(0, 38000, 200), np.full(200, 38000.0), np.linspace(38000, 0, 200)])
    noisy = clean + draw.uniform(-40, 40, size=clean.size)
    cycles = rainflow(noisy, least=380.0)
    assert len(cycles.count) == 2 and cycles.count.tolist() == [0.5, 0.5]
    assert cycles.range == pytest.approx([38000, 38000], abs=120)
