"""A length measured in one photograph, with its uncertainty from marks, target, tilt and offset."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spoolwright.core.photo.homography import homography, inverse, mapped, nearness
from spoolwright.core.photo.path import path_length, turns
from spoolwright.core.photo.spread import coverage_interval
from spoolwright.core.photo.tilt import tilt_factors
from spoolwright.errors import RangeError

FloatArray = NDArray[np.float64]
COVERAGE = 0.95
MOST_TURN = math.radians(60.0)
_NO_FACTOR = np.ones(1)
_CHANCE = 0.001


@dataclass(frozen=True)
class Scene:
    """What was marked in a photograph, and what is known.

    Parameters
    ----------
    plane : ndarray, shape (n, 2)
        Known points: the two ends of a rule, or four and more points of a flat target [m].
    target : ndarray, shape (n, 2)
        Where they were marked [px].
    path : ndarray, shape (m, 2)
        Marks along what is measured, in order [px].
    target_u, path_u : float
        Standard uncertainty of a mark in each direction, above 0 [px].
    plane_u : float
        Standard uncertainty of each coordinate of the known points [m].
    curved : bool
        Whether the path is a smooth line [-].
    tilt : float
        Largest tilt of the plane, where the scale is a rule [rad].
    distance : float
        Of the camera from the plane, about, where the scale is a rule [m].
    offset : float
        How much nearer or farther than the target the measured place may lie, as a share of its distance from
        the camera: half-width of a rectangular distribution [-].
    """

    plane: FloatArray
    target: FloatArray
    path: FloatArray
    target_u: float
    path_u: float
    plane_u: float = 0.0
    curved: bool = False
    tilt: float = 0.0
    distance: float = math.inf
    offset: float = 0.0


@dataclass(frozen=True)
class PhotoLength:
    """A measured length.

    Parameters
    ----------
    length, u, low, high : float
        Best estimate, standard uncertainty, ends of the 95 % interval [m].
    parts : dict
        Standard uncertainty from each source, by name [m].
    correction : float
        What was taken off, because scattered marks lengthen a path [m].
    misfit : float
        Root mean square of the target's marks from where the plane puts them; zero where nothing is left over
        to check it [px].
    fits : bool or None
        Whether the misfit is what the marks' uncertainty allows; none where it cannot be checked [-].
    """

    length: float
    u: float
    low: float
    high: float
    parts: dict[str, float]
    correction: float
    misfit: float
    fits: bool | None


def measured_length(scene: Scene) -> PhotoLength:
    """The length of a path in the plane of a target.

    Parameters
    ----------
    scene : Scene
        Marks and what is known [px, m].

    Returns
    -------
    PhotoLength
        Estimate, uncertainty, interval [m].

    Raises
    ------
    RangeError
        Too few marks, marks on one another or in a line, marks beyond the horizon of the plane, a path too
        coarse or marks too uncertain for a length.

    Notes
    -----
    First order in every coordinate of every mark, by differences over one standard uncertainty (GUM 5.1.3
    note 2); the second differences give the correction. One view tells nothing of depth into the plane. What
    the lens bends is not corrected; with more than four points of a target it shows as misfit.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 5.1.3.
    """
    _check_marks(scene)
    scene = replace(scene, plane=scene.plane - scene.plane.mean(axis=0))
    h = None if len(scene.plane) == 2 else _checked_map(scene)
    _check_path(scene, h)
    straight = float(_length(scene.plane, scene.target, scene.path, scene.curved))
    parts, correction = _from_marks(scene, straight)
    length = straight - correction
    sigma = math.sqrt(sum(u * u for u in parts.values()))
    if not (length > 0.0 and abs(correction) < sigma and sigma < 0.5 * length):
        what = "the marks are too uncertain for this length."
        raise RangeError(what, mend="Use a larger picture, fewer marks or marks farther apart.", where="path")
    factors, weights = _factors(scene)
    if not np.all(factors > 0.0):
        what = "the camera is too near for a rule at such a tilt."
        raise RangeError(what, mend="Use a flat target.", where="distance")
    mean = float(weights @ factors)
    parts["tilt"] = length * math.sqrt(float(weights @ (factors - mean) ** 2))
    half = length * scene.offset
    parts["out of plane"] = half / math.sqrt(3.0)
    low, high = coverage_interval(length, sigma, half, factors, weights, COVERAGE)
    misfit, fits = (0.0, None) if h is None else _misfit(scene, h)
    u = math.sqrt(sum(p * p for p in parts.values()))
    return PhotoLength(length, u, low, high, parts, correction, misfit, fits)


def _length(plane: FloatArray, target: FloatArray, path: FloatArray, curved: bool) -> FloatArray:
    """Length of the path, over leading axes of any of the three."""
    if plane.shape[-2] > 2:
        return path_length(mapped(inverse(homography(plane, target)), path), curved)
    return path_length(path, curved) * _apart(plane) / _apart(target)


def _apart(ends: FloatArray) -> FloatArray:
    step = ends[..., 1, :] - ends[..., 0, :]
    apart: FloatArray = np.hypot(step[..., 0], step[..., 1])
    return apart


def _from_marks(scene: Scene, here: float) -> tuple[dict[str, float], float]:
    """Standard uncertainty from marks and target, and what their scatter adds to the length."""
    sources = {
        "marks on the scale": ("target", scene.target_u),
        "marks on the damage": ("path", scene.path_u),
        "the scale itself": ("plane", scene.plane_u),
    }
    parts: dict[str, float] = {}
    correction = 0.0
    for name, (field, u) in sources.items():
        parts[name] = 0.0
        if u > 0.0:
            moved = {f: getattr(scene, f) for f in ("plane", "target", "path")}
            steps = u * np.eye(moved[field].size).reshape(-1, *moved[field].shape)
            up = _length(**(moved | {field: moved[field] + steps}), curved=scene.curved)
            down = _length(**(moved | {field: moved[field] - steps}), curved=scene.curved)
            parts[name] = math.sqrt(float(np.sum((0.5 * (up - down)) ** 2)))
            correction += 0.5 * float(np.sum(up + down - 2.0 * here))
    return parts, correction


def _factors(scene: Scene) -> tuple[FloatArray, FloatArray]:
    if len(scene.plane) > 2 or scene.tilt == 0.0:
        return _NO_FACTOR, _NO_FACTOR
    rule, steps = scene.target[1] - scene.target[0], np.diff(scene.path, axis=0)
    long = np.hypot(steps[:, 0], steps[:, 1])[:, None]
    middle = ((scene.path[:-1] + 0.5 * steps) * long).sum(axis=0) / long.sum()
    aside = (middle - scene.target.mean(axis=0)) * float(_apart(scene.plane) / _apart(scene.target))
    return tilt_factors(rule, steps, scene.tilt, aside / scene.distance)


def _check_marks(scene: Scene) -> None:
    n = len(scene.plane)
    if n != len(scene.target):
        what = f"{n} points of the scale are known, {len(scene.target)} are marked."
        raise RangeError(what, mend="Mark each, in the same order.", where="target")
    if n < 2 or n == 3:
        what = f"{n} known points give no scale."
        raise RangeError(what, mend="Two for a rule, four or more for a flat target.", where="target")
    if len(scene.path) < 2:
        raise RangeError("the damage has fewer than two marks.", mend="Mark both ends.", where="path")
    if not (scene.target_u > 0.0 and scene.path_u > 0.0):
        raise RangeError("a mark without uncertainty.", mend="Say how well it can be placed.", where="path_u")
    if not (0.0 <= scene.tilt <= math.radians(60.0) and 0.0 <= scene.offset <= 0.5):
        raise RangeError("tilt above 60° or offset above 50 %.", mend="Photograph it squarely.", where="tilt")
    if not scene.distance > 0.0:
        raise RangeError("the camera has no distance.", mend="Give it, or leave it out.", where="distance")
    for name, marks in (("target", scene.target), ("path", scene.path)):
        apart = np.hypot(*np.diff(marks, axis=0).T)
        if float(apart.min()) < 4.0 * max(scene.target_u, scene.path_u):
            what = "two marks lie closer than four times their uncertainty."
            raise RangeError(what, mend="Take one away or come closer.", where=name)
    if not np.hypot(*np.diff(scene.plane, axis=0).T).min() > 0.0:
        raise RangeError("two known points are the same.", mend="Correct the scale.", where="target")


def _checked_map(scene: Scene) -> FloatArray:
    for points in (scene.plane, scene.target):
        away = points - points.mean(axis=0)
        small, large = np.linalg.svd(away, compute_uv=False)[[1, 0]]
        if small < 0.02 * large:
            raise RangeError(
                "the target's points lie in a line.", mend="Take points that span it.", where="target"
            )
    centred = replace(scene, plane=scene.plane - scene.plane.mean(axis=0))
    try:
        h = homography(centred.plane, centred.target)
    except np.linalg.LinAlgError:
        h = np.full((3, 3), np.nan)
    if not (np.all(np.isfinite(h)) and np.all(nearness(h, scene.plane) > 0.0)):
        what = "no plane is seen like this."
        raise RangeError(what, mend="Mark the points in their order; no three in a line.", where="target")
    return h


def _check_path(scene: Scene, h: FloatArray | None) -> None:
    path = scene.path if h is None else mapped(inverse(h), scene.path)
    if h is not None and not np.all(nearness(h, path) > 0.1):
        what = "a mark lies at or beyond the horizon of the target's plane."
        raise RangeError(what, mend="The damage must lie in the plane of the target.", where="path")
    if scene.curved and len(path) > 2 and float(np.abs(turns(path)).max()) > MOST_TURN:
        what = "the line turns by more than 60° at a mark."
        raise RangeError(what, mend="Set more marks in the bend.", where="path")


def _misfit(scene: Scene, h: FloatArray) -> tuple[float, bool | None]:
    """Distance of the target's marks from the map, and whether chance explains it (χ² at 99.9 %)."""
    left = 2 * len(scene.target) - 8
    if left == 0:
        return 0.0, None
    from scipy.stats import chi2

    seen = mapped(h, scene.plane)
    square = float(np.sum((scene.target - seen) ** 2))
    slope = math.sqrt(abs(float(np.linalg.det(h[:2, :2]))))  # pixels for a metre of the target's own error
    variance = scene.target_u**2 + (slope * scene.plane_u) ** 2
    return math.sqrt(square / left), bool(square / variance <= float(chi2.isf(_CHANCE, left)))
