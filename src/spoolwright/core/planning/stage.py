"""Which damaged blades of a stage to blend and which to replace: fewest replaced, limits and balance kept."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]
_FIRST_DIRECTIONS = 16
_MOST_ROUNDS = 400
_ENUMERATED = 200_000
_ROUNDING = 1e-9
"""Of the allowed unbalance: what floating point may take."""


@dataclass(frozen=True)
class DamagedBlade:
    """A blade that must be blended or replaced.

    Parameters
    ----------
    number : int
        Place around the stage, from 1 [-].
    unbalance : float
        Mass times radius that its blend takes away; none: it cannot be blended within limits [kg·m].
    lines : frozenset of str
        The lines of the limits that count it while it stays, by its new blends or by those it carries [-].
    """

    number: int
    unbalance: float | None
    lines: frozenset[str] = frozenset()


@dataclass(frozen=True)
class StageLimits:
    """What a stage may take.

    Parameters
    ----------
    blades : int
        Blades of the stage [-].
    unbalance : float
        Unbalance that the blends together may leave [kg·m].
    most : dict of str to int
        Blades that may carry a blend under a line, earlier ones included [-].
    apart : frozenset of str
        Lines under which blends must not sit on blades next to each other [-].
    carried : tuple of (str, int)
        Blends on blades that are not damaged: line and blade [-].
    standing : complex
        Unbalance that blends on blades that are not damaged left, as a vector [kg·m].
    """

    blades: int
    unbalance: float
    most: dict[str, int]
    apart: frozenset[str] = frozenset()
    carried: tuple[tuple[str, int], ...] = ()
    standing: complex = 0j


@dataclass(frozen=True)
class StagePlan:
    """What to blend and what to replace.

    Parameters
    ----------
    blend, replace : tuple of int
        Numbers of blades [-].
    unbalance : float
        Unbalance that is left [kg·m].
    heavy_spot : float
        Its angle from blade 1 in the sense of numbering, 0 to 2 pi [rad].
    """

    blend: tuple[int, ...]
    replace: tuple[int, ...]
    unbalance: float
    heavy_spot: float


def stage_plan(damaged: list[DamagedBlade], limits: StageLimits) -> StagePlan:
    """The plan that replaces fewest blades, and of those the one that leaves least unbalance.

    Parameters
    ----------
    damaged : list of DamagedBlade
        Every blade that cannot stay as it is [kg·m].
    limits : StageLimits
        Counts, neighbours, unbalance [kg·m].

    Returns
    -------
    StagePlan
        Blades to blend and to replace; what is left [kg·m].

    Raises
    ------
    RangeError
        Earlier blends alone leave more unbalance than allowed, and nothing that is planned mends it.

    Notes
    -----
    A replacement blade is taken as of the weight of the one it replaces. Mixed-integer programme (HiGHS); the
    circle of the allowed unbalance is cut from outside, a plane for each plan that leaves it, until the plan
    lies inside: exact, since no allowed plan is ever cut off. Least unbalance with as many blends: by trying
    every choice where there are at most 200,000, else by exchanges of two blades until none helps.

    References
    ----------
    R. A. Kelley, J. Soc. Indust. Appl. Math. 8 (1960) 703-712 (cutting planes for a convex set).
    """
    free = [b for b in damaged if b.unbalance is not None]
    never = tuple(b.number for b in damaged if b.unbalance is None)
    vectors = np.array([_vector(b, limits.blades) for b in free], dtype=complex)
    rows = _rules(free, limits)
    chosen = _most_blends(vectors, limits, rows) if free else np.zeros(0, dtype=bool)
    if chosen is None:
        raise RangeError(
            "the blends that the stage carries already leave more unbalance than allowed.",
            mend="Replace one of those blades, or refer to engineering.",
        )
    chosen = _least_unbalance(chosen, vectors, limits.standing, rows)
    left = limits.standing + complex(np.sum(vectors[chosen]))
    blend = tuple(b.number for b, yes in zip(free, chosen, strict=True) if yes)
    replace = tuple(sorted([*never, *(b.number for b, yes in zip(free, chosen, strict=True) if not yes)]))
    return StagePlan(blend, replace, abs(left), math.atan2(left.imag, left.real) % (2.0 * math.pi))


def _vector(blade: DamagedBlade, blades: int) -> complex:
    """What a blend leaves: the heavy spot lies opposite."""
    angle = 2.0 * math.pi * (blade.number - 1) / blades
    return -(blade.unbalance or 0.0) * complex(math.cos(angle), math.sin(angle))


def _rules(free: list[DamagedBlade], limits: StageLimits) -> list[tuple[FloatArray, float]]:
    """Counts and neighbours as rows: the row times the choice is at most the number."""
    rows: list[tuple[FloatArray, float]] = []
    for line, most in limits.most.items():
        carried = len({n for name, n in limits.carried if name == line})
        counted = np.array([float(line in b.lines) for b in free])
        rows.append((counted, float(max(most - carried, 0))))
    for i, a in enumerate(free):
        lines = a.lines & limits.apart
        if any(name in lines and _beside(a.number, n, limits.blades) for name, n in limits.carried):
            rows.append((np.eye(len(free))[i], 0.0))
        for j in range(i + 1, len(free)):
            if lines & free[j].lines and _beside(a.number, free[j].number, limits.blades):
                rows.append((np.eye(len(free))[i] + np.eye(len(free))[j], 1.0))
    return rows


def _beside(a: int, b: int, blades: int) -> bool:
    return a != b and (a - b) % blades in (1, blades - 1)


def _most_blends(
    vectors: NDArray[np.complex128], limits: StageLimits, rules: list[tuple[FloatArray, float]]
) -> NDArray[np.bool_] | None:
    """A choice of as many blends as the rules and the circle allow; None: there is none."""
    scale = max(limits.unbalance, 1e-300)
    scaled, standing = vectors / scale, limits.standing / scale
    directions = [2.0 * math.pi * k / _FIRST_DIRECTIONS for k in range(_FIRST_DIRECTIONS)]
    for _ in range(_MOST_ROUNDS):
        chosen = _programme(scaled, standing, rules, directions)
        if chosen is None:
            return None
        left = standing + complex(np.sum(scaled[chosen]))
        if abs(left) <= 1.0 + _ROUNDING:
            return chosen
        directions.append(math.atan2(left.imag, left.real))
    raise RangeError(f"no plan was proved best in {_MOST_ROUNDS} rounds for {len(vectors)} blades.")


def _least_unbalance(
    chosen: NDArray[np.bool_],
    vectors: NDArray[np.complex128],
    standing: complex,
    rules: list[tuple[FloatArray, float]],
) -> NDArray[np.bool_]:
    """As many blends that leave less unbalance: every choice where there are few, else exchanges of two."""
    n, count = len(chosen), int(chosen.sum())
    if count in (0, n):
        return chosen
    if math.comb(n, count) <= _ENUMERATED:
        sets = np.array(list(combinations(range(n), count)), dtype=int).reshape(-1, count)
        every = np.zeros((len(sets), n))
        np.put_along_axis(every, sets, 1.0, axis=1)
        for row, allowed in rules:
            every = every[every @ row <= allowed + 0.5]
        return np.asarray(every[np.argmin(np.abs(standing + every @ vectors))] > 0.5)
    rows = np.array([r for r, _ in rules]).reshape(len(rules), n)
    most = np.array([m for _, m in rules])
    while True:
        inside, outside = np.flatnonzero(chosen), np.flatnonzero(~chosen)
        left = standing + complex(np.sum(vectors[chosen]))
        moved = np.abs(left - vectors[inside][:, None] + vectors[outside][None, :])
        for flat in np.argsort(moved, axis=None):
            i, j = np.unravel_index(flat, moved.shape)
            if moved[i, j] >= abs(left) * (1.0 - 1e-12):
                return chosen
            trial = chosen.copy()
            trial[inside[i]], trial[outside[j]] = False, True
            if (rows @ trial <= most + 0.5).all():
                chosen = trial
                break
        else:
            return chosen


def _programme(
    vectors: NDArray[np.complex128],
    standing: complex,
    rules: list[tuple[FloatArray, float]],
    directions: list[float],
) -> NDArray[np.bool_] | None:
    """Most blends under the rules, the unbalance along each direction at most one."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    n = len(vectors)
    turned = np.exp(-1j * np.array(directions))
    constraints = [
        LinearConstraint(
            (turned[:, None] * vectors).real, -np.inf, 1.0 - (turned * standing).real + _ROUNDING
        )
    ]
    if rules:
        rows = np.array([r for r, _ in rules])
        constraints.append(LinearConstraint(rows, -np.inf, np.array([most for _, most in rules])))
    found = milp(
        -np.ones(n),
        constraints=constraints,
        integrality=np.ones(n),
        bounds=Bounds(np.zeros(n), np.ones(n)),
        options={"mip_rel_gap": 0.0},
    )
    return None if found.x is None else np.asarray(found.x > 0.5)
