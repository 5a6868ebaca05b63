"""First modes of a tapered, twisted, rotating blade as a beam. For shifts, not for absolute frequencies."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]

SLENDER = 3.0
"""Span over chord below which a blade is no beam: refer to engineering."""
_ABSCISSAE, _WEIGHTS = np.polynomial.legendre.leggauss(4)


@dataclass(frozen=True)
class Blade:
    """A cantilever blade by stations along its span, linear between them.

    Parameters
    ----------
    span : ndarray, shape (n,)
        Distance of each station from the root, ascending from zero [m].
    mass : ndarray, shape (n,)
        Mass per length [kg/m].
    weak, stiff : ndarray, shape (n,)
        Bending stiffness about the weak and the stiff principal axis [N·m²].
    angle : ndarray, shape (n,)
        Angle of the chord from the rotor's axis; zero: the weak axis bends around the rotor [rad].
    torsion : ndarray, shape (n,)
        Torsional stiffness [N·m²].
    inertia : ndarray, shape (n,)
        Polar mass moment of inertia per length [kg·m].
    root_radius : float
        Radius of the root from the axis of rotation [m].
    """

    span: FloatArray
    mass: FloatArray
    weak: FloatArray
    stiff: FloatArray
    angle: FloatArray
    torsion: FloatArray
    inertia: FloatArray
    root_radius: float

    @property
    def length(self) -> float:
        """Length of the blade [m]."""
        return float(self.span[-1])


def bending_frequencies(blade: Blade, speed: float = 0.0, modes: int = 3, elements: int = 40) -> FloatArray:
    """Natural frequencies in bending, both directions coupled by the blade's twist.

    Parameters
    ----------
    blade : Blade
        Stations [m].
    speed : float
        Speed of rotation [rad/s].
    modes : int
        How many, from the lowest [-].
    elements : int
        Elements along the span, at least [-].

    Returns
    -------
    ndarray, shape (modes,)
        Ascending [Hz].

    Raises
    ------
    RangeError
        The stations do not ascend from the root, or a stiffness or mass is not above zero.

    Notes
    -----
    Bernoulli beam, clamped root, cubic elements; centrifugal stiffening from the mass outboard, softening in
    the plane of rotation. No shear, no root flexibility, no shroud: good for the shift that a small cut
    makes, for slender blades only (span at least three chords).

    References
    ----------
    R. L. Bisplinghoff, H. Ashley, R. L. Halfman, Aeroelasticity (1955), chapter 3.
    """
    _check(blade)
    nodes = _nodes(blade, elements)
    size = 4 * len(nodes)
    stiffness, inertia = np.zeros((size, size)), np.zeros((size, size))
    for i, (a, b) in enumerate(pairwise(nodes)):
        k, m = _bending_element(blade, a, b, speed)
        at = slice(4 * i, 4 * i + 8)
        stiffness[at, at] += k
        inertia[at, at] += m
    return _lowest(stiffness[4:, 4:], inertia[4:, 4:], modes)


def torsion_frequencies(blade: Blade, modes: int = 2, elements: int = 120) -> FloatArray:
    """Natural frequencies in torsion.

    Parameters
    ----------
    blade : Blade
        Stations [m].
    modes : int
        How many, from the lowest [-].
    elements : int
        Elements along the span, at least [-].

    Returns
    -------
    ndarray, shape (modes,)
        Ascending [Hz].

    Notes
    -----
    St Venant torsion, clamped root; warping and the centrifugal untwist are left out.
    """
    _check(blade)
    nodes = _nodes(blade, elements)
    stiffness, inertia = (np.zeros((len(nodes), len(nodes))) for _ in range(2))
    for i, (a, b) in enumerate(pairwise(nodes)):
        length = b - a
        for point, weight in zip(_ABSCISSAE, _WEIGHTS, strict=True):
            x = a + 0.5 * length * (1.0 + point)
            shape = np.array([(b - x) / length, (x - a) / length])
            slope = np.array([-1.0, 1.0]) / length
            scale = 0.5 * length * weight
            stiffness[i : i + 2, i : i + 2] += scale * _at(blade, blade.torsion, x) * np.outer(slope, slope)
            inertia[i : i + 2, i : i + 2] += scale * _at(blade, blade.inertia, x) * np.outer(shape, shape)
    return _lowest(stiffness[1:, 1:], inertia[1:, 1:], modes)


def _bending_element(blade: Blade, a: float, b: float, speed: float) -> tuple[FloatArray, FloatArray]:
    """Stiffness and mass of an element; for each node: axial place and slope, tangential place and slope."""
    length = b - a
    k, m = np.zeros((8, 8)), np.zeros((8, 8))
    axial, around = [0, 1, 4, 5], [2, 3, 6, 7]
    for point, weight in zip(_ABSCISSAE, _WEIGHTS, strict=True):
        s = 0.5 * (1.0 + point)
        x, scale = a + s * length, 0.5 * length * weight
        place, slope, bend = _cubic(s, length)
        weak, stiff, turn = (_at(blade, v, x) for v in (blade.weak, blade.stiff, blade.angle))
        sine, cosine = np.sin(turn), np.cos(turn)
        for_axial = weak * sine**2 + stiff * cosine**2
        for_around = weak * cosine**2 + stiff * sine**2
        both = (stiff - weak) * sine * cosine
        tension = speed**2 * _pull(blade, x)
        mass = _at(blade, blade.mass, x)
        bending, pulled, heavy = np.outer(bend, bend), np.outer(slope, slope), np.outer(place, place)
        k[np.ix_(axial, axial)] += scale * (for_axial * bending + tension * pulled)
        k[np.ix_(around, around)] += scale * (
            for_around * bending + tension * pulled - speed**2 * mass * heavy
        )
        k[np.ix_(axial, around)] += scale * both * bending
        k[np.ix_(around, axial)] += scale * both * bending
        m[np.ix_(axial, axial)] += scale * mass * heavy
        m[np.ix_(around, around)] += scale * mass * heavy
    return k, m


def _cubic(s: float, length: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Hermite cubics on an element: value, first and second derivative."""
    value = np.array(
        [1 - 3 * s**2 + 2 * s**3, length * (s - 2 * s**2 + s**3), 3 * s**2 - 2 * s**3, length * (s**3 - s**2)]
    )
    slope = np.array(
        [
            (6 * s**2 - 6 * s) / length,
            1 - 4 * s + 3 * s**2,
            (6 * s - 6 * s**2) / length,
            3 * s**2 - 2 * s,
        ]
    )
    bend = np.array(
        [(12 * s - 6) / length**2, (6 * s - 4) / length, (6 - 12 * s) / length**2, (6 * s - 2) / length]
    )
    return value, slope, bend


def _pull(blade: Blade, x: float) -> float:
    """Mass outboard times its radius: centrifugal pull at a unit speed; exact for linear mass."""
    total = 0.0
    cuts = np.concatenate([[x], blade.span[blade.span > x]])
    for a, b in pairwise(cuts):
        places = a + 0.5 * (b - a) * (1.0 + _ABSCISSAE)
        masses = np.interp(places, blade.span, blade.mass)
        total += 0.5 * (b - a) * float(np.sum(_WEIGHTS * masses * (blade.root_radius + places)))
    return total


def _at(blade: Blade, values: FloatArray, x: float) -> float:
    return float(np.interp(x, blade.span, values))


def _nodes(blade: Blade, elements: int) -> FloatArray:
    """Ends of the elements: every station is one, so that kinks fall between elements."""
    even = np.linspace(0.0, blade.length, elements + 1)
    return np.unique(np.concatenate([even, blade.span]).round(12))


def _lowest(stiffness: FloatArray, inertia: FloatArray, modes: int) -> FloatArray:
    """Lowest frequencies, by the inverse problem: a stiff direction does not blur the weak one."""
    from scipy.linalg import eigh

    size = len(inertia)
    inverse = eigh(inertia, stiffness, eigvals_only=True, subset_by_index=[size - modes, size - 1])
    return np.asarray(1.0 / (2.0 * np.pi * np.sqrt(inverse[::-1])))


def _check(blade: Blade) -> None:
    if blade.span[0] != 0.0 or (np.diff(blade.span) <= 0.0).any():
        raise RangeError("the stations do not ascend from the root.", mend="Give them from 0 to the tip.")
    for name in ("mass", "weak", "stiff", "torsion", "inertia"):
        values = getattr(blade, name)
        if values.shape != blade.span.shape or not (np.isfinite(values) & (values > 0.0)).all():
            raise RangeError(f"the blade's {name} is not above zero at every station.")
