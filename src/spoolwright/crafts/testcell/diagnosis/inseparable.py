"""Causes that the runs cannot tell apart: whitened signatures that lie closer than the scatter lets see."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.diagnosing import Weighing
from spoolwright.core.numerics import FloatArray
from spoolwright.crafts.testcell.diagnosis.model import Group
from spoolwright.crafts.testcell.diagnosis.speaking import mean_difference, row_outputs, sized
from spoolwright.crafts.testcell.diagnosis.words import OUTPUT_NAMES, difference_text

APART = 2.5
"""Signatures nearer than this, in standard deviations of the difference, are not told apart."""
BETWEEN = 4.0
"""Up to here the readings may still happen to lie between two causes."""
DECIDED = 20.0
"""A cause so many times less probable than another is decided against."""
_LEAST = 0.02
"""Causes less probable than this are in no group."""
_SIZES = 160


@dataclass(frozen=True)
class _Match:
    """How near a cause comes to another one, and at which of its sizes."""

    distance: float
    size: float


def groups_of(weighing: Weighing) -> tuple[Group, ...]:
    """Groups of causes that cannot be told apart, each around its most probable member."""
    present = {c.id: weighing.present(c.id) for c in weighing.causes}
    left = sorted(
        (i for i, c in enumerate(weighing.causes) if present[c.id] >= _LEAST),
        key=lambda i: -present[weighing.causes[i].id],
    )
    out = []
    while left:
        seed = left.pop(0)
        size = sized(weighing, weighing.causes[seed].id).mean
        matches = {j: _match(weighing, seed, size, j) for j in left}
        near = [
            j
            for j in left
            if _alike(matches[j], present[weighing.causes[j].id], present[weighing.causes[seed].id])
        ]
        if near:
            left = [j for j in left if j not in near]
            ids = tuple(weighing.causes[i].id for i in (seed, *near))
            reason = _reason(weighing, seed, size, near, matches)
            out.append(Group(causes=ids, probability=any_present(weighing, ids), reason=reason))
    return tuple(sorted(out, key=lambda g: -g.probability))


def _alike(match: _Match, probability: float, most: float) -> bool:
    """Whether these runs leave a cause beside the most probable one of its group."""
    undecided = match.distance < BETWEEN and probability * DECIDED > most
    return match.distance < APART or undecided


def any_present(weighing: Weighing, ids: tuple[str, ...]) -> float:
    """Probability that at least one of some causes is present."""
    return sum(e.probability for e in weighing.explanations if not set(ids).isdisjoint(e.ids))


def _white(weighing: Weighing, i: int, size: FloatArray) -> FloatArray:
    w = weighing.white
    return np.outer(size, w.slopes[i]) + np.outer(size**2, w.curvatures[i])


def _sizes(c: Cause) -> FloatArray:
    size = np.geomspace(*c.sizes, _SIZES)
    return np.concatenate([sign * size for sign in c.signs])


def _match(weighing: Weighing, i: int, size: float, j: int) -> _Match:
    """Cause j at the size at which it comes nearest to cause i."""
    own = _white(weighing, i, np.array([size]))
    sizes = _sizes(weighing.causes[j])
    apart = np.linalg.norm(_white(weighing, j, sizes) - own, axis=1)
    best = int(np.argmin(apart))
    return _Match(float(apart[best]), float(sizes[best]))


def _reason(weighing: Weighing, seed: int, size: float, near: list[int], matches: dict[int, _Match]) -> str:
    """Why they cannot be told apart: where they differ most, and how much is needed there."""
    told = []
    outputs = row_outputs(weighing)
    for j in near:
        left = weighing.signatures[j].at(matches[j].size) - weighing.signatures[seed].at(size)
        by_output = {o: mean_difference(weighing, left, o) for o in dict.fromkeys(outputs.tolist()) if o}
        scatter = {o: _scatter(weighing, o) for o in by_output}
        most = max(by_output, key=lambda o: abs(by_output[o]) / scatter[o])
        level = _level(weighing, most)
        times = matches[j].distance
        needed = f"{APART:g} would be needed" if times < APART else "and the readings lie between them"
        told.append(
            f"“{weighing.causes[j].text}” at the size that fits differs from "
            f"“{weighing.causes[seed].text}” most in {OUTPUT_NAMES[most]}, by "
            f"{difference_text(most, by_output[most], level)}: all readings together see {times:.1f} "
            f"standard deviations between the two, {needed}"
        )
    return "; ".join(told) + "."


def _scatter(weighing: Weighing, output: str) -> float:
    rows = row_outputs(weighing) == output
    return float(np.sqrt(np.mean(np.diag(weighing.covariance)[rows])))


def _level(weighing: Weighing, output: str) -> float:
    from spoolwright.crafts.testcell.diagnosis.speaking import level_of

    return level_of(weighing, output)
