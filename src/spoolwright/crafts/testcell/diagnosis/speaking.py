"""What each channel says for and against a cause: its share of the ln of the likelihood ratio.

Readings of one run scatter together, so what an output adds depends on which are known already. Its share
is the mean over orders in which every output takes every place once, forwards and backwards: the shares add
up to the whole.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.diagnosis.causes import Cause
from spoolwright.core.diagnosis.diagnosing import Weighing
from spoolwright.core.diagnosis.signatures import Signature
from spoolwright.core.diagnosis.weighing import Sized
from spoolwright.core.numerics import FloatArray, value
from spoolwright.crafts.testcell.diagnosis.mechanical import SHOWS, Seen, gas_factor
from spoolwright.crafts.testcell.diagnosis.model import Evidence
from spoolwright.crafts.testcell.diagnosis.other_readings import BY_DIFFERENCE, reading_name, reading_unit
from spoolwright.crafts.testcell.diagnosis.words import OUTPUT_NAMES, difference_text
from spoolwright.crafts.testcell.wording import spoken_unit
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.units import difference_from_inner

_LEAST = 0.05
"""Shares smaller than this say nothing."""


def row_outputs(weighing: Weighing) -> NDArray[np.str_]:
    """Output of every residual of the visit's runs; empty for those of earlier visits."""
    now = len(weighing.case.now)
    return np.concatenate(
        [
            np.repeat(c.outputs if i < now else [""] * len(c.outputs), c.speed.size)
            for i, c in enumerate(weighing.seen)
        ]
    )


def sized(weighing: Weighing, cause: str) -> Sized:
    """A cause with its size, from the most probable explanation that has it."""
    best = next(e for e in weighing.explanations if cause in e.ids)
    return next(s for s in best.causes if s.cause.id == cause)


def signature(weighing: Weighing, cause: str) -> Signature:
    """Effect of a cause on the residuals as a function of its size."""
    return next(s for s, c in zip(weighing.signatures, weighing.causes, strict=True) if c.id == cause)


def effect(weighing: Weighing, found: Sized) -> FloatArray:
    """What a cause of its mean size does to the residuals."""
    return signature(weighing, found.cause.id).at(found.mean)


def reading_step(weighing: Weighing, cause: Cause) -> float:
    """What a size of 1 of a wrong reading is [inner unit]: its effect over that of the reading."""
    first = weighing.seen[0]
    by = first.by_channel[first.observation.channels.index(cause.module)].ravel()
    at = int(np.argmax(np.abs(by)))
    return float(signature(weighing, cause.id).slope[at] / by[at]) if by[at] else 0.0


def beside(weighing: Weighing, cause: str) -> FloatArray:
    """What the other cause of the most probable explanation with a cause does; nought where it is alone."""
    best = next(e for e in weighing.explanations if cause in e.ids)
    others = [effect(weighing, s) for s in best.causes if s.cause.id != cause]
    return np.sum(others, axis=0) if others else np.zeros_like(weighing.surprise)


def shares(weighing: Weighing, residuals: FloatArray, effects: FloatArray) -> dict[str, FloatArray]:
    """ln likelihood ratio of effects against none, by output.

    Parameters
    ----------
    weighing : what was weighed
    residuals, effects : shape (S, N), one row for each cause

    Returns
    -------
    output to shares, shape (S,); they add up to the whole
    """
    from scipy.linalg import cholesky, solve_triangular

    of = row_outputs(weighing)
    names = [n for n in dict.fromkeys(of.tolist()) if n]
    earlier = np.flatnonzero(of == "")
    both = np.concatenate([residuals, effects]).T
    total = {n: np.zeros(len(effects)) for n in names}
    orders = _orders(names)
    for order in orders:
        rows = np.concatenate([earlier, *(np.flatnonzero(of == n) for n in order)])
        lower = cholesky(weighing.covariance[np.ix_(rows, rows)], lower=True, check_finite=False)
        white = solve_triangular(lower, both[rows], lower=True, check_finite=False).T
        r, f = white[: len(effects)], white[len(effects) :]
        gain = f * (r - 0.5 * f)
        place = of[rows]
        for n in names:
            total[n] += gain[:, place == n].sum(axis=1) / len(orders)
    return total


def _orders(names: Sequence[str]) -> list[list[str]]:
    turned = [[*names[i:], *names[:i]] for i in range(len(names))]
    return [*turned, *(t[::-1] for t in turned)]


def mean_difference(weighing: Weighing, rows: FloatArray, output: str) -> float:
    """Mean over the visit's points of something that every residual has."""
    return float(np.mean(rows[row_outputs(weighing) == output]))


def level_of(weighing: Weighing, output: str) -> float:
    """Mean of what was observed of an output over the visit's points."""
    found = [
        np.mean(np.asarray(value(o.observed[output]), dtype=float))
        for o in weighing.case.now
        if output in o.observed
    ]
    return float(np.mean(found))


def evidence(weighing: Weighing, causes: Sequence[str]) -> dict[str, list[Evidence]]:
    """What every output says about each cause, the weightiest first."""
    if not causes:
        return {}
    effects = np.array([effect(weighing, sized(weighing, c)) for c in causes])
    residuals = np.array([weighing.surprise - beside(weighing, c) for c in causes])
    found = shares(weighing, residuals, effects)
    out: dict[str, list[Evidence]] = {}
    for i, cause in enumerate(causes):
        told = [_told(weighing, o, residuals[i], effects[i], float(w[i])) for o, w in found.items()]
        out[cause] = sorted((e for e in told if abs(e.weight) >= _LEAST), key=lambda e: -abs(e.weight))
    return out


def _told(
    weighing: Weighing, output: str, residual: FloatArray, effect: FloatArray, weight: float
) -> Evidence:
    level = level_of(weighing, output)
    seen = difference_text(output, mean_difference(weighing, residual, output), level)
    expected = difference_text(output, mean_difference(weighing, effect, output), level)
    return Evidence(
        what=OUTPUT_NAMES[output],
        seen=f"{seen} against the average engine at the same gas generator speed",
        expected=expected,
        weight=weight,
    )


def other_evidence(cause: str, seen: Mapping[str, Seen], type_file: TypeFile) -> list[Evidence]:
    """What readings beside the gas path say about a cause in a module."""
    out = []
    for s in SHOWS.get(cause, ()):
        if s.reading in seen:
            out.append(
                reading_evidence(
                    seen[s.reading], s.sign, s.probability, gas_factor(seen[s.reading], [s]), type_file
                )
            )
    return [e for e in out if abs(e.weight) >= _LEAST]


def reading_evidence(
    seen: Seen, sign: int, probability: float, weight: float, type_file: TypeFile
) -> Evidence:
    """A reading beside the gas path in words."""
    way = "higher" if sign > 0 else "lower"
    return Evidence(
        what=reading_name(seen.name, type_file),
        seen=f"{_apart(seen, type_file)} against the middle of {seen.fleet.engines} engines, "
        f"{seen.out:+.1f} standard deviations",
        expected=f"{way} in {100.0 * probability:.0f} % of such cases (common practice, no source)",
        weight=weight,
    )


def _apart(seen: Seen, type_file: TypeFile) -> str:
    """How far a reading is from the middle of the shop's, in per cent or in the unit of its limit."""
    apart = seen.out * seen.fleet.scatter
    if seen.name not in BY_DIFFERENCE:
        return f"{100.0 * np.expm1(apart):+.1f} %"
    own = (x.unit for x in type_file.limit if x.quantity == seen.name and x.unit)
    unit = next(own, reading_unit(seen.name, type_file))
    return f"{difference_from_inner(apart, unit):+.2g} {spoken_unit(unit, difference=True)}"
