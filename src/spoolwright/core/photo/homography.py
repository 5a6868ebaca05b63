"""How a plane is seen by a pinhole camera, from points of it that are known."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_STEPS = 5
"""Gauss-Newton steps; the start by the linear form is within a small part of a pixel of the end."""


def homography(plane: FloatArray, picture: FloatArray) -> FloatArray:
    """The map from a plane to its picture that leaves the least squared distance in the picture.

    Parameters
    ----------
    plane : ndarray, shape (..., n, 2)
        Four or more known points of the plane, no three of the first four in a line [m].
    picture : ndarray, shape (..., n, 2)
        Where they are seen [px].

    Returns
    -------
    ndarray, shape (..., 3, 3)
        The map of homogeneous points of the plane to the picture, last element of the normalised map 1 [-].

    Notes
    -----
    Linear form on centred and scaled points, then Gauss-Newton on the distances in the picture. A pinhole
    camera without lens distortion; the centre of the target lies before the camera, never on its horizon.

    References
    ----------
    R. Hartley, A. Zisserman, Multiple View Geometry in Computer Vision, 2nd ed., 4.1 (linear form), 4.4.4
    (normalisation), 4.5 (distances in one picture).

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> np.round(homography(square, 10.0 * square + 5.0), 9)
    array([[10.,  0.,  5.],
           [ 0., 10.,  5.],
           [ 0.,  0.,  1.]])
    """
    to_plane, p = _normalised(plane)
    to_picture, q = _normalised(picture)
    p, q = np.broadcast_arrays(p, q)
    h = _solved(_linear_rows(p, q), _stacked(q))
    if p.shape[-2] > 4:
        for _ in range(_STEPS):
            rows, seen = _seen_with_slopes(h, p)
            h = h + _solved(rows, _stacked(q) - seen)
    whole = np.concatenate([h, np.ones_like(h[..., :1])], axis=-1)
    normal = whole.reshape((*h.shape[:-1], 3, 3))
    seen_map: FloatArray = np.linalg.solve(to_picture, normal @ to_plane).astype(float)
    return seen_map / seen_map[..., 2:3, 2:3]


def mapped(h: FloatArray, points: FloatArray) -> FloatArray:
    """Points through a map.

    Parameters
    ----------
    h : ndarray, shape (..., 3, 3)
        Map of homogeneous points [-].
    points : ndarray, shape (..., m, 2)
        Points where the map begins, metres or pixels [1].

    Returns
    -------
    ndarray, shape (..., m, 2)
        Points where it ends, pixels or metres [1].
    """
    out = points @ np.swapaxes(h[..., :, :2], -1, -2) + h[..., None, :, 2]
    result: FloatArray = out[..., :2] / out[..., 2:]
    return result


def inverse(h: FloatArray) -> FloatArray:
    """The map the other way round.

    Parameters
    ----------
    h : ndarray, shape (..., 3, 3)
        Map of homogeneous points [-].

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Map back [-].
    """
    back: FloatArray = np.linalg.inv(h).astype(float)
    return back


def nearness(h: FloatArray, points: FloatArray) -> FloatArray:
    """Depth of points before the camera, as a share of that of the plane's origin; negative behind it.

    Parameters
    ----------
    h : ndarray, shape (3, 3)
        Map from the plane to the picture [-].
    points : ndarray, shape (m, 2)
        Points of the plane [m].

    Returns
    -------
    ndarray, shape (m,)
        Depth over the origin's depth [-].
    """
    depth: FloatArray = points @ h[2, :2] + h[2, 2]
    return depth


def _normalised(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Map that centres points and scales their mean distance to √2, and the points through it."""
    centre = points.mean(axis=-2, keepdims=True)
    away = points - centre
    scale = np.sqrt(2.0) / np.hypot(away[..., 0], away[..., 1]).mean(axis=-1)
    move = np.zeros((*points.shape[:-2], 3, 3))
    move[..., 0, 0] = move[..., 1, 1] = scale
    move[..., :2, 2] = -scale[..., None] * centre[..., 0, :]
    move[..., 2, 2] = 1.0
    return move, away * scale[..., None, None]


def _stacked(picture: FloatArray) -> FloatArray:
    return np.concatenate([picture[..., 0], picture[..., 1]], axis=-1)


def _linear_rows(p: FloatArray, q: FloatArray) -> FloatArray:
    x, y, one, nil = p[..., 0], p[..., 1], np.ones_like(p[..., 0]), np.zeros_like(p[..., 0])
    u, v = q[..., 0], q[..., 1]
    first = np.stack([x, y, one, nil, nil, nil, -u * x, -u * y], axis=-1)
    second = np.stack([nil, nil, nil, x, y, one, -v * x, -v * y], axis=-1)
    return np.concatenate([first, second], axis=-2)


def _seen_with_slopes(h: FloatArray, p: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slopes of the seen points to the eight numbers of the map, and the points themselves."""
    whole = np.concatenate([h, np.ones_like(h[..., :1])], axis=-1).reshape((*h.shape[:-1], 3, 3))
    seen = mapped(whole, p)
    depth = p @ whole[..., 2, :2, None] + whole[..., None, 2, 2:]
    return _linear_rows(p, seen) / np.concatenate([depth, depth], axis=-2), _stacked(seen)


def _solved(rows: FloatArray, right: FloatArray) -> FloatArray:
    """Least squares by the normal equations; the points are normalised, so they are well conditioned."""
    turned = np.swapaxes(rows, -1, -2)
    square = rows.shape[-2] == rows.shape[-1]
    left, column = (rows, right[..., None]) if square else (turned @ rows, turned @ right[..., None])
    solution: FloatArray = np.linalg.solve(left, column)[..., 0].astype(float)
    return solution
