"""What a blend takes away: area and mass of the exact segment, moment weight, unbalance of the stage."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable

from spoolwright.errors import RangeError


def segment_area(length: float, depth: float) -> float:
    """Area between a straight edge and a circular arc cut into it.

    Parameters
    ----------
    length, depth : float
        Chord along the edge and depth of the arc [m].

    Returns
    -------
    float
        Area of the circular segment [m²].

    Notes
    -----
    Exact, beyond a half circle too: the arc's angle is 4 atan(2 depth / length).

    Examples
    --------
    >>> round(segment_area(10.0, 1.0), 3), round(segment_area(4.0, 0.5), 3)
    (6.72, 1.35)
    """
    if not (length > 0.0 and depth > 0.0):
        raise RangeError(f"a segment of length {length} and depth {depth} has no area.")
    radius = (length**2 / 4.0 + depth**2) / (2.0 * depth)
    angle = 4.0 * math.atan2(2.0 * depth, length)
    return 0.5 * radius**2 * (angle - math.sin(angle))


def segment_centroid(length: float, depth: float) -> float:
    """Distance of the segment's centroid from the edge.

    Parameters
    ----------
    length, depth : float
        Chord along the edge and depth of the arc [m].

    Returns
    -------
    float
        Distance into the part [m].
    """
    radius = (length**2 / 4.0 + depth**2) / (2.0 * depth)
    from_centre = length**3 / (12.0 * segment_area(length, depth))
    return from_centre - (radius - depth)


def half_ellipse_area(length: float, depth: float) -> float:
    """Area of a half ellipse cut into an edge.

    Parameters
    ----------
    length, depth : float
        Whole axis along the edge and half axis into the part [m].

    Returns
    -------
    float
        Area [m²].
    """
    return math.pi * length * depth / 4.0


def moment_weight(mass: float, radius: float) -> float:
    """Moment weight that a removed mass takes from its blade; the unbalance it leaves in the rotor.

    Parameters
    ----------
    mass : float
        Removed mass [kg].
    radius : float
        Distance of its centre from the axis [m].

    Returns
    -------
    float
        Mass times radius [kg·m].
    """
    return mass * radius


def stage_unbalance(removed: Iterable[tuple[float, float, float]]) -> tuple[float, float]:
    """Unbalance left by masses that were removed around a stage.

    Parameters
    ----------
    removed : iterable of (mass, radius, angle)
        Removed mass [kg], its radius [m] and its angle from the master mark in the stated viewing
        direction [rad].

    Returns
    -------
    tuple of float
        Amount [kg·m] and angle of the heavy spot, opposite the removed material, 0 to 2 pi [rad].

    Notes
    -----
    The exact vector sum; equal cuts opposite each other leave nothing.
    """
    total = -sum((m * r * cmath.exp(1j * angle) for m, r, angle in removed), 0j)
    return abs(total), cmath.phase(total) % (2.0 * math.pi)


def permissible_unbalance(grade: float, mass: float, speed: float) -> float:
    """Permissible residual unbalance of a rigid rotor.

    Parameters
    ----------
    grade : float
        Balance quality grade, its number [mm/s].
    mass : float
        Of the rotor [kg].
    speed : float
        Highest service speed [rpm].

    Returns
    -------
    float
        Permissible residual unbalance [kg·m].

    References
    ----------
    ISO 21940-11:2016, clause 6.3: e_per x angular speed = G.

    Examples
    --------
    >>> round(1e6 * permissible_unbalance(2.5, 5.0, 40000.0), 3)
    2.984
    """
    if not (grade > 0.0 and mass > 0.0 and speed > 0.0):
        raise RangeError("grade, mass and speed must be above zero.")
    return grade * 1e-3 * mass / (speed * math.pi / 30.0)
