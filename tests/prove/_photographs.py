"""Rendered photographs with known truth: a plane with dots and a scratch, seen by a pinhole camera.

Nothing of the project is imported. Camera, lens blur and noise are drawn; the routine that finds dots and
scratch again knows only the picture and rough places.
"""

from __future__ import annotations

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
    """Grey values of a picture: metal with dark dots and scratch, blur, noise; four rays a pixel."""
    fine = 2
    x, y = np.meshgrid((np.arange(WIDE * fine) + 0.5) / fine, (np.arange(HIGH * fine) + 0.5) / fine)
    on_plane = view.plane_of(np.stack([x, y], axis=-1))
    grey = np.full(x.shape, 0.8) + 4.0 * (on_plane[..., 0] - on_plane[..., 1])  # light falls off across it
    for dot in dots:
        left, top = np.maximum((fine * (view.sees(dot) - 25.0)).astype(int), 0)
        window = (slice(top, top + 50 * fine), slice(left, left + 50 * fine))
        grey[window][np.hypot(*(on_plane[window] - dot).transpose(2, 0, 1)) < DOT] = 0.15
    along = scratch[1] - scratch[0]
    long = np.hypot(*along)
    at = (on_plane - scratch[0]) @ along / long
    beside = (on_plane - scratch[0]) @ np.array([-along[1], along[0]]) / long
    grey[(at >= 0.0) & (at <= long) & (np.abs(beside) < WIDTH / 2)] = 0.2
    small = grey.reshape(HIGH, fine, WIDE, fine).mean(axis=(1, 3))
    return gaussian_filter(small, draw.uniform(0.5, 1.2)) + draw.normal(
        0.0, draw.uniform(0.004, 0.02), small.shape
    )


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
