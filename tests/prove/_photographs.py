"""Rendered photographs with known truth: a plane with dots and a scratch, seen by a pinhole camera.

Nothing of the project is imported. Camera, lens blur and noise are drawn; the routine that finds dots and
scratch again knows only the picture and rough places.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

Array = NDArray[np.float64]
HIGH, WIDE = 300, 400
FOCAL = 620.0
FOUR = np.array([[-10.0, -7.0], [10.0, -7.0], [10.0, 7.0], [-10.0, 7.0]]) * 1e-3
EIGHT = np.vstack([FOUR, np.array([[0.0, -7.0], [10.0, 0.0], [0.0, 7.0], [-10.0, 0.0]]) * 1e-3])
DOT = 0.8e-3
WIDTH = 0.25e-3
MARGIN = 14
"""Pixels about what is dark, more than the largest dot's radius."""


@dataclass(frozen=True)
class Camera:
    """A pinhole camera: rotation from the plane's axes, place of the plane's origin before it [m]."""

    rotation: Array
    origin: Array

    def sees(self, plane: Array, height: Array | float = 0.0) -> Array:
        """Pixels of points (..., 2) of the plane [m], or of points so high above it [m]."""
        high = np.broadcast_to(np.asarray(height, dtype=float), plane.shape[:-1])[..., None]
        there = np.concatenate([plane, high], axis=-1) @ self.rotation.T + self.origin
        return FOCAL * there[..., :2] / there[..., 2:] + np.array([WIDE, HIGH]) / 2

    def plane_of(self, pixels: Array) -> Array:
        """Points of the plane on the rays of pixels."""
        rays = np.concatenate(
            [(pixels - np.array([WIDE, HIGH]) / 2) / FOCAL, np.ones((*pixels.shape[:-1], 1))], -1
        )
        normal = self.rotation[:, 2]
        far = (self.origin @ normal) / (rays @ normal)
        return ((rays * far[..., None] - self.origin) @ self.rotation)[..., :2]


def turned(angle: float, axis: int) -> Array:
    """Rotation about a coordinate axis."""
    c, s = np.cos(angle), np.sin(angle)
    i, j = ((1, 2), (0, 2), (0, 1))[axis]
    out = np.eye(3)
    out[i, i] = out[j, j] = c
    out[i, j], out[j, i] = -s, s
    return out


def camera(draw: np.random.Generator, most_tilt: float, nearest: float, farthest: float) -> Camera:
    """A camera that looks at the plane, tilted evenly from 0 to the most, its axis in any direction."""
    roll, axis = draw.uniform(0.0, 2.0 * np.pi, 2)
    rotation = turned(roll, 2) @ turned(draw.uniform(0.0, most_tilt), 0) @ turned(axis, 2)
    place = np.array([*draw.uniform(-1e-3, 1e-3, 2), draw.uniform(nearest, farthest)])
    return Camera(rotation, place)


def photograph(view: Camera, dots: Array, scratch: Array, draw: np.random.Generator) -> Array:
    """Grey values of a picture: metal with dark dots and a scratch, blur, noise; four rays a pixel."""
    along = scratch[1] - scratch[0]
    long = np.hypot(*along)

    def on_scratch(place: Array) -> NDArray[np.bool_]:
        at = (place - scratch[0]) @ along / long
        beside = (place - scratch[0]) @ np.array([-along[1], along[0]]) / long
        return (at >= 0.0) & (at <= long) & (np.abs(beside) < WIDTH / 2)

    return _rendered(view, dots, on_scratch, view.sees(scratch), draw)


def arc_photograph(
    view: Camera, dots: Array, radius: float, start: float, turn: float, draw: np.random.Generator
) -> Array:
    """The same with an arc about the plane's origin for a scratch."""

    def on_arc(place: Array) -> NDArray[np.bool_]:
        away = np.hypot(place[..., 0], place[..., 1])
        at = np.mod(np.arctan2(place[..., 1], place[..., 0]) - start, 2.0 * np.pi)
        return (np.abs(away - radius) < WIDTH / 2) & (at <= turn)

    angles = start + np.linspace(0.0, turn, 30)
    line = view.sees(radius * np.stack([np.cos(angles), np.sin(angles)], axis=-1))
    return _rendered(view, dots, on_arc, line, draw)


def _rendered(
    view: Camera,
    dots: Array,
    dark: Callable[[Array], NDArray[np.bool_]],
    line: Array,
    draw: np.random.Generator,
) -> Array:
    """Only windows about the dots and the line are traced; all else is metal under light that falls off."""
    fine = 2
    slope = draw.uniform(-0.06, 0.06, 2)
    light = np.add.outer(
        slope[0] * np.linspace(0.0, 1.0, HIGH * fine), slope[1] * np.linspace(0.0, 1.0, WIDE * fine)
    )
    grey = 0.8 + light

    def paint(seen: Array, is_dark: Callable[[Array], NDArray[np.bool_]], value: float) -> None:
        left, top = np.maximum(fine * (np.floor(seen.min(axis=0)).astype(int) - MARGIN), 0)
        right, bottom = fine * (np.ceil(seen.max(axis=0)).astype(int) + MARGIN)
        part = grey[top:bottom, left:right]
        y, x = (np.mgrid[top : top + part.shape[0], left : left + part.shape[1]] + 0.5) / fine
        part[is_dark(view.plane_of(np.stack([x, y], axis=-1)))] = value

    for dot in dots:
        paint(
            view.sees(dot)[None, :],
            lambda place, dot=dot: np.hypot(*(place - dot).transpose(2, 0, 1)) < DOT,
            0.15,
        )
    paint(line, dark, 0.2)
    small = grey.reshape(HIGH, fine, WIDE, fine).mean(axis=(1, 3))
    blurred = gaussian_filter(small, draw.uniform(0.5, 1.2))
    return blurred + draw.normal(0.0, draw.uniform(0.003, 0.01), small.shape)


def dot_found(picture: Array, rough: Array, radius: float) -> Array:
    """Centre of darkness of a dot near a rough place [px]."""
    x, y, dark = _darkness(picture, rough - 1.6 * radius - 2.0, rough + 1.6 * radius + 2.0)
    return np.array([(x * dark).sum(), (y * dark).sum()]) / dark.sum()


def ends_found(picture: Array, rough: Array) -> Array:
    """Ends of a scratch near rough ends: along its axis, where the darkness falls to half."""
    x, y, dark = _darkness(picture, rough.min(axis=0) - 5.0, rough.max(axis=0) + 5.0)
    step = rough[1] - rough[0]
    beside = np.abs((x - rough[0, 0]) * step[1] - (y - rough[0, 1]) * step[0]) / np.hypot(*step)
    dark = np.where(beside < 5.0, dark, 0.0)
    middle = np.array([(x * dark).sum(), (y * dark).sum()]) / dark.sum()
    away = np.stack([x - middle[0], y - middle[1]])
    axis = np.linalg.eigh((away * dark) @ away.T)[1][:, 1]
    return np.array([_end(picture, middle, axis * np.sign(axis @ (r - middle)), r) for r in rough])


def arc_marks(picture: Array, rough: Array) -> Array:
    """Marks on a curved scratch: inner ones moved across it to its middle, the outer two to its ends."""
    marks = rough.copy()
    for n in range(1, len(rough) - 1):
        way = rough[n + 1] - rough[n - 1]
        across = np.array([-way[1], way[0]]) / np.hypot(*way)
        at = np.arange(-4.0, 4.1, 0.1)
        places = rough[n] + at[:, None] * across
        grey = map_coordinates(picture, (places[:, 1] - 0.5, places[:, 0] - 0.5), order=1)
        dark = np.maximum(np.median(grey) - grey, 0.0) ** 2
        marks[n] += across * (at @ dark) / dark.sum()
    for end, inner in ((0, 1), (-1, -2)):
        out = rough[end] - marks[inner]
        marks[end] = _end(picture, marks[inner], out / np.hypot(*out), rough[end])
    return marks


def _end(picture: Array, middle: Array, out: Array, rough: Array) -> Array:
    """Where the darkness across a scratch falls to half of what it is just inside."""
    at = (rough - middle) @ out + np.arange(-10.0, 8.0, 0.2)
    across = np.arange(-7.0, 7.1, 0.5)[:, None] * np.array([-out[1], out[0]])
    places = middle + at[:, None, None] * out + across
    grey = map_coordinates(picture, (places[..., 1] - 0.5, places[..., 0] - 0.5), order=1, mode="nearest")
    profile = (grey[:, (0, 1, 2, -3, -2, -1)].mean(axis=1)[:, None] - grey)[:, 6:-6].sum(axis=1)
    inside = np.median(profile[:20])
    first = int(np.argmax(profile < 0.5 * inside))
    share = (profile[first - 1] - 0.5 * inside) / (profile[first - 1] - profile[first])
    return middle + (at[first - 1] + 0.2 * share) * out


def _darkness(picture: Array, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """Pixel centres of a window, and how dark each is below the metal; what noise explains counts nothing."""
    left, top = np.maximum(np.floor(low).astype(int), 0)
    right, bottom = np.ceil(high).astype(int)
    part = picture[top:bottom, left:right]
    y, x = np.mgrid[top : top + part.shape[0], left : left + part.shape[1]] + 0.5
    ground = np.median(part)
    dark = np.where(ground - part > 0.12, ground - part, 0.0)
    return x.ravel(), y.ravel(), dark.ravel()
