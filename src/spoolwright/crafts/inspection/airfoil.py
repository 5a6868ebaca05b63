"""A blade's airfoil from the type's sections: outline at any station, as a beam, with and without cuts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.blade.beam import Blade
from spoolwright.core.blade.section import Section, cut_back, section_of
from spoolwright.crafts.typefile.shop.inspection import Airfoil

FloatArray = NDArray[np.float64]
_AROUND = 25
STATIONS = 61
_GAUSS = np.polynomial.legendre.leggauss(8)


@dataclass(frozen=True)
class Cut:
    """An arc cut into an edge: which edge, where along the span, how long and deep [m]."""

    leading: bool
    position: float
    length: float
    depth: float

    def depth_at(self, s: float) -> float:
        """Depth of the arc at a distance from the root [m]."""
        from_middle = abs(s - self.position)
        if from_middle >= self.length / 2.0:
            return 0.0
        radius = (self.length**2 / 4.0 + self.depth**2) / (2.0 * self.depth)
        return max(math.sqrt(radius**2 - from_middle**2) - (radius - self.depth), 0.0)


@dataclass(frozen=True)
class Shape:
    """Chord, greatest thickness [m], angle from the engine's axis and camber [rad] at a station."""

    chord: float
    thickness: float
    angle: float
    camber: float


def shape_at(airfoil: Airfoil, share: float) -> Shape:
    """The airfoil at a share of the span, linear between the type's sections."""
    rows = sorted(airfoil.section, key=lambda s: s.at)
    at = [r.at for r in rows]

    def between(name: str) -> float:
        return float(np.interp(share, at, [getattr(r, name) for r in rows]))

    return Shape(
        between("chord_mm") * 1e-3,
        between("thickness_mm") * 1e-3,
        math.radians(between("angle_deg")),
        math.radians(between("camber_deg")),
    )


def outline(shape: Shape) -> FloatArray:
    """Outline of a section: a circular-arc camber line with a parabolic thickness, leading edge at x = 0 [m].

    Edges are rounded off to a tenth of the greatest thickness, as worn edges are; the true profile is the
    maker's. Good for the differences that a cut makes.
    """
    x = shape.chord * 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, _AROUND)))
    t = x / shape.chord
    sag = shape.chord * math.tan(shape.camber / 4.0) / 2.0
    line = 4.0 * sag * t * (1.0 - t)
    half = 0.5 * shape.thickness * (0.1 + 0.9 * 4.0 * t * (1.0 - t))
    return np.concatenate([np.column_stack([x, line + half]), np.column_stack([x, line - half])[::-1]])


def section_at(airfoil: Airfoil, s: float, cuts: Sequence[Cut]) -> tuple[Section, Shape]:
    """The section at a distance from the root, cut where a blend lies [m]."""
    shape = shape_at(airfoil, s / (airfoil.span_mm * 1e-3))
    corners = outline(shape)
    for cut in cuts:
        depth = cut.depth_at(s)
        if depth > 0.0:
            edge, away = (depth, -1.0) if cut.leading else (shape.chord - depth, 1.0)
            corners = cut_back(corners, (edge, 0.0), (away, 0.0))
    return section_of(corners), shape


def stations(airfoil: Airfoil, cuts: Sequence[Cut]) -> FloatArray:
    """Distances from the root at which sections are taken: closer where a cut lies [m]."""
    span = airfoil.span_mm * 1e-3
    every = [np.linspace(0.0, span, STATIONS)]
    for cut in cuts:
        every.append(cut.position + np.linspace(-0.5, 0.5, 13) * cut.length)
    inside = np.concatenate(every)
    return np.unique(inside[(inside >= 0.0) & (inside <= span)].round(9))


def beam_of(airfoil: Airfoil, cuts: Sequence[Cut], along: FloatArray) -> Blade:
    """The blade as a beam."""
    found = [section_at(airfoil, float(s), cuts) for s in along]
    principal = np.array([section.principal for section, _ in found])
    area = np.array([section.area for section, _ in found])
    polar = principal[:, 0] + principal[:, 1]
    angle = np.array([shape.angle for _, shape in found]) + principal[:, 2]
    return Blade(
        span=along,
        mass=airfoil.density * area,
        weak=airfoil.elastic_modulus * principal[:, 0],
        stiff=airfoil.elastic_modulus * principal[:, 1],
        angle=angle,
        torsion=airfoil.shear_modulus * np.array([section.torsion for section, _ in found]),
        inertia=airfoil.density * polar,
        root_radius=airfoil.root_radius_mm * 1e-3,
    )


def removed(airfoil: Airfoil, cuts: Sequence[Cut]) -> tuple[float, float]:
    """Mass that the cuts take away together [kg] and its moment about the rotor's axis [kg·m]."""
    span = airfoil.span_mm * 1e-3
    ends = sorted({min(max(c.position + half * c.length, 0.0), span) for c in cuts for half in (-0.5, 0.5)})
    mass = moment = 0.0
    for low, high in pairwise(ends):
        for node, weight in zip(*_GAUSS, strict=True):
            s = 0.5 * (low + high) + 0.5 * (high - low) * float(node)
            here = [c for c in cuts if c.depth_at(s) > 0.0]
            if here:
                lost = section_at(airfoil, s, ())[0].area - section_at(airfoil, s, here)[0].area
                share = 0.5 * (high - low) * float(weight) * airfoil.density * lost
                mass += share
                moment += share * (airfoil.root_radius_mm * 1e-3 + s)
    return mass, moment


def slenderness(airfoil: Airfoil) -> float:
    """Span over mean chord."""
    share = np.linspace(0.0, 1.0, 21)
    chords = [shape_at(airfoil, float(x)).chord for x in share]
    return airfoil.span_mm * 1e-3 / float(np.mean(chords))
