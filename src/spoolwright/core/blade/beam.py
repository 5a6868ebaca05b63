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
    for i, (k, m) in enumerate(zip(*_bending_elements(blade, nodes, speed), strict=True)):
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


def _bending_elements(blade: Blade, nodes: FloatArray, speed: float) -> tuple[FloatArray, FloatArray]:
    """Stiffness and mass of every element; for each node place and slope, axial and then tangential."""
    length = np.diff(nodes)
    s = 0.5 * (1.0 + _ABSCISSAE)
    x = nodes[:-1, None] + length[:, None] * s
    weak, stiff, turn, mass = (
        np.interp(x, blade.span, v) for v in (blade.weak, blade.stiff, blade.angle, blade.mass)
    )
    sine, cosine = np.sin(turn), np.cos(turn)
    scale = 0.5 * length[:, None] * _WEIGHTS
    place, slope, bend = _cubic(s, length)

    def summed(factor: FloatArray, shape: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("eg,egi,egj->eij", scale * factor, shape, shape))

    pulled = summed(speed**2 * _pull(blade, x), slope)
    heavy = summed(mass, place)
    both = summed((stiff - weak) * sine * cosine, bend)
    k, m = (np.zeros((len(length), 8, 8)) for _ in range(2))
    axial, around = np.array([0, 1, 4, 5]), np.array([2, 3, 6, 7])
    k[:, axial[:, None], axial] = summed(weak * sine**2 + stiff * cosine**2, bend) + pulled
    k[:, around[:, None], around] = (
        summed(weak * cosine**2 + stiff * sine**2, bend) + pulled - speed**2 * heavy
    )
    k[:, axial[:, None], around] = both
    k[:, around[:, None], axial] = both
    m[:, axial[:, None], axial] = heavy
    m[:, around[:, None], around] = heavy
    return k, m


def _cubic(s: FloatArray, length: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Hermite cubics on elements: value, first and second derivative; shape (elements, places, 4)."""
    s, long = np.broadcast_arrays(s[None, :], length[:, None])
    value = (1 - 3 * s**2 + 2 * s**3, long * (s - 2 * s**2 + s**3), 3 * s**2 - 2 * s**3, long * (s**3 - s**2))
    slope = (
        (6 * s**2 - 6 * s) / long,
        1 - 4 * s + 3 * s**2,
        (6 * s - 6 * s**2) / long,
        3 * s**2 - 2 * s,
    )
    bend = ((12 * s - 6) / long**2, (6 * s - 4) / long, (6 - 12 * s) / long**2, (6 * s - 2) / long)
    return np.stack(value, -1), np.stack(slope, -1), np.stack(bend, -1)


def _pull(blade: Blade, x: FloatArray) -> FloatArray:
    """Mass outboard times its radius: centrifugal pull at a unit speed; exact for linear mass."""
    steps = _moment(blade, blade.span[:-1], blade.span[1:])
    outboard = np.append(np.cumsum(steps[::-1])[::-1], 0.0)
    after = np.clip(np.searchsorted(blade.span, x, side="right"), 1, len(blade.span) - 1)
    return np.asarray(_moment(blade, x, blade.span[after]) + outboard[after])


def _moment(blade: Blade, a: FloatArray, b: FloatArray) -> FloatArray:
    """Mass times radius between places of one interval of the stations."""
    places = a[..., None] + 0.5 * (b - a)[..., None] * (1.0 + _ABSCISSAE)
    masses = np.interp(places, blade.span, blade.mass)
    return np.asarray(0.5 * (b - a) * np.sum(_WEIGHTS * masses * (blade.root_radius + places), axis=-1))


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
