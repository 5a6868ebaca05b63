"""Length in a photograph: the map of a plane, paths, uncertainty, against closed forms and other routines."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.special import ellipeinc
from scipy.stats import norm, uniform

from spoolwright.core.photo.homography import FloatArray, homography, inverse, mapped
from spoolwright.core.photo.length import Scene, measured_length
from spoolwright.core.photo.path import path_length
from spoolwright.core.photo.spread import coverage_interval, cumulative
from spoolwright.core.photo.tilt import tilt_factors
from spoolwright.errors import RangeError

PROOFS = Path(__file__).resolve().parents[1] / "prove"
sys.path.insert(0, str(PROOFS))

SQUARE = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
TARGET = np.array([[-10.0, -7.0], [10.0, -7.0], [10.0, 7.0], [-10.0, 7.0]]) * 1e-3
ONE = np.ones(1)


def seen(plane: FloatArray, tilt: float = 0.6, distance: float = 0.06, focal: float = 900.0) -> FloatArray:
    """A plane turned by a tilt about the picture's first axis, by the camera's own equation."""
    depth = distance + plane[..., 1] * math.sin(tilt)
    return (
        np.stack([focal * plane[..., 0] / depth, focal * plane[..., 1] * math.cos(tilt) / depth], axis=-1)
        + 400.0
    )


def test_map_of_the_unit_square_equals_the_closed_form() -> None:
    """Heckbert, Fundamentals of Texture Mapping and Image Warping (1989), 2.2.3: square to quadrilateral."""
    corners = np.array([[12.0, 30.0], [96.0, 22.0], [110.0, 85.0], [5.0, 71.0]])
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = corners
    sx, sy = x0 - x1 + x2 - x3, y0 - y1 + y2 - y3
    dx1, dx2, dy1, dy2 = x1 - x2, x3 - x2, y1 - y2, y3 - y2
    under = dx1 * dy2 - dx2 * dy1
    g, h = (sx * dy2 - dx2 * sy) / under, (dx1 * sy - sx * dy1) / under
    closed = [[x1 - x0 + g * x1, x3 - x0 + h * x3, x0], [y1 - y0 + g * y1, y3 - y0 + h * y3, y0], [g, h, 1.0]]
    assert homography(SQUARE, corners) == pytest.approx(np.array(closed), rel=1e-10, abs=1e-10)


def test_map_of_many_points_is_the_least_squares_of_another_routine() -> None:
    """SciPy's least squares on the same distances in the picture, begun at the SVD of the linear form."""
    draw = np.random.default_rng(5)
    plane = draw.uniform(-1e-2, 1e-2, (9, 2))
    picture = seen(plane) + draw.normal(0.0, 1.0, (9, 2))
    rows = [
        row
        for (x, y), (u, v) in zip(plane * 100, picture, strict=True)
        for row in ([x, y, 1, 0, 0, 0, -u * x, -u * y, -u], [0, 0, 0, x, y, 1, -v * x, -v * y, -v])
    ]
    start = np.linalg.svd(np.array(rows))[2][-1]

    def gap(eight: FloatArray) -> FloatArray:
        w = plane * 100 @ eight[6:] + 1.0
        left = np.column_stack([plane * 100, np.ones(9)]) @ eight[:6].reshape(2, 3).T / w[:, None]
        return (left - picture).ravel()

    theirs = least_squares(gap, start[:8] / start[8], xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac")
    ours = mapped(homography(plane, picture), plane) - picture
    assert np.sum(ours**2) == pytest.approx(2.0 * theirs.cost, rel=1e-9)
    assert ours.ravel() == pytest.approx(theirs.fun, abs=1e-5)


def test_points_come_back_through_the_map() -> None:
    there = np.random.default_rng(1).uniform(-1e-2, 1e-2, (20, 2))
    back = mapped(inverse(homography(TARGET, seen(TARGET))), seen(there))
    assert back == pytest.approx(there, abs=1e-12)


def test_an_ellipse_by_marks_has_the_length_of_the_elliptic_integral() -> None:
    """Arc of an ellipse: Abramowitz and Stegun 17.1, through SciPy's ellipeinc."""
    a, b = 1.0, 0.6
    for marks, within in ((9, 1e-3), (17, 1e-4)):
        t = np.linspace(0.0, math.pi, marks)
        line = np.stack([a * np.cos(t), b * np.sin(t)], axis=-1)
        truth = b * (ellipeinc(math.pi, 1.0 - (a / b) ** 2))
        assert float(path_length(line, True)) == pytest.approx(truth, rel=within)
        # chords alone fall short by far more
        assert truth - float(path_length(line, False)) > 3.0 * within * truth


def test_a_square_view_has_the_uncertainty_of_the_closed_form() -> None:
    """Seen squarely at k pixels a metre by a rule: u² = (u_px/k)²·2·(1 + (L/R)²) (GUM 5.1.2)."""
    k, rule, length = 20_000.0, 0.02, 0.006
    marks = np.array([[100.0, 100.0], [100.0 + k * rule, 100.0]])
    path = np.array([[150.0, 130.0], [150.0 + k * length, 130.0]])
    got = measured_length(Scene(np.array([[0.0, 0.0], [rule, 0.0]]), marks, path, 0.8, 0.8))
    u = 0.8 / k * math.sqrt(2.0 * (1.0 + (length / rule) ** 2))
    assert got.length == pytest.approx(length, rel=1e-4)
    assert got.u == pytest.approx(u, rel=1e-3)
    assert (got.low, got.high) == pytest.approx((length - 1.959964 * u, length + 1.959964 * u), rel=1e-4)


@pytest.mark.parametrize("curved", [False, True])
def test_uncertainty_and_mean_equal_those_of_drawn_marks(curved: bool) -> None:
    """JCGM 101:2008: the distribution propagated by 4,000 draws; standard deviation to 5 %, mean to 0.1 u."""
    draw = np.random.default_rng(11)
    t = np.linspace(0.2, 2.0, 7)
    path = seen(5e-3 * np.stack([np.cos(t), np.sin(t)], axis=-1) if curved else TARGET[[0, 2]] * 0.4)
    scene = Scene(TARGET, seen(TARGET), path, 1.0, 0.8, plane_u=2e-5, curved=curved)
    got = measured_length(scene)
    n = 4000
    plane = TARGET + draw.normal(0.0, 2e-5, (n, 4, 2))
    target = scene.target + draw.normal(0.0, 1.0, (n, 4, 2))
    drawn = path + draw.normal(0.0, 0.8, (n, *path.shape))
    lengths = path_length(mapped(inverse(homography(plane, target)), drawn), curved)
    assert got.u == pytest.approx(lengths.std(), rel=0.05)
    truth = 5e-3 * 1.8 if curved else math.hypot(20e-3, 14e-3) * 0.4
    assert got.length + got.correction == pytest.approx(truth, rel=2e-4)
    assert lengths.mean() - truth == pytest.approx(got.correction, abs=0.1 * got.u)


def test_tilt_factor_is_that_of_a_camera_far_and_near() -> None:
    """Against the camera's own equation: a rule along the axis, a short scratch across it or beside it."""
    tilt, focal = 0.5, 900.0
    for distance in (0.08, 50.0):
        rule = np.array([[-2e-3, 0.0], [2e-3, 0.0]])
        for path in (np.array([[0.0, 9.9e-3], [0.0, 10.1e-3]]), np.array([[-1e-4, -8e-3], [1e-4, -8e-3]])):
            marks, ends = seen(rule, tilt, distance, focal), seen(path, tilt, distance, focal)
            scale = 4e-3 / (marks[1, 0] - marks[0, 0])
            true_over_scaled = 2e-4 / (scale * np.hypot(*(ends[1] - ends[0])))
            aside = (ends.mean(axis=0) - marks.mean(axis=0)) * scale / distance
            factors, weights = tilt_factors(marks[1] - marks[0], np.diff(ends, axis=0), tilt, aside)
            assert weights.sum() == pytest.approx(1.0)
            # the largest tilt in either sense bounds every factor; it is met by one of them to its grid
            ours = factors.max() if true_over_scaled > 1.0 else factors.min()
            assert ours == pytest.approx(true_over_scaled, rel=0.012)


def test_interval_of_normal_and_rectangular_parts_by_drawing() -> None:
    """Distribution of the sum by SciPy's draws: probability at each end to 0.3 %."""
    low, high = coverage_interval(10.0, 0.5, 1.0, np.array([0.9, 1.1]), np.array([0.3, 0.7]), 0.95)
    draw = np.random.default_rng(3)
    n = 400_000
    total = norm.rvs(10.0, 0.5, n, random_state=draw) + uniform.rvs(-1.0, 2.0, n, random_state=draw)
    total *= np.where(draw.random(n) < 0.3, 0.9, 1.1)
    assert np.mean(total < low) == pytest.approx(0.025, abs=0.003)
    assert np.mean(total > high) == pytest.approx(0.025, abs=0.003)
    assert cumulative(np.array([0.7]), 1.0, 0.0) == pytest.approx(norm.cdf(0.7))


def test_target_marks_that_cannot_be_are_told() -> None:
    """A mark 12 standard uncertainties off: no chance explains it; sound ones are explained."""
    eight = np.vstack([TARGET, 0.5 * (TARGET + np.roll(TARGET, -1, axis=0))])
    marks = seen(eight) + np.random.default_rng(8).normal(0.0, 0.5, eight.shape)
    scene = Scene(eight, marks, seen(TARGET[:2] * 0.5), 0.5, 0.5)
    assert measured_length(scene).fits is True
    moved = marks.copy()
    moved[2, 0] += 6.0
    assert measured_length(replace(scene, target=moved)).fits is False
    assert measured_length(replace(scene, plane=TARGET, target=marks[:4])).fits is None


BAD: list[tuple[dict[str, object], str]] = [
    ({"target": seen(TARGET)[:3]}, "4 points of the scale are known, 3 are marked"),
    ({"plane": TARGET[:3], "target": seen(TARGET)[:3]}, "3 known points give no scale"),
    ({"target": seen(TARGET)[[0, 2, 1, 3]]}, "no plane is seen like this"),
    ({"plane": TARGET * [1, 0]}, "in a line|are the same"),
    ({"path": seen(TARGET[:1])}, "fewer than two marks"),
    ({"path": np.vstack([seen(TARGET[:1]), seen(TARGET[:1]) + 1.0])}, "closer than four times"),
    ({"path": np.array([[400.0, 400.0], [400.0, 1e6]])}, "horizon"),
    ({"path": seen(TARGET[[0, 1, 3]]), "curved": True}, "turns by more than 60"),
    ({"path_u": 0.0}, "without uncertainty"),
    ({"offset": 0.6}, "offset above 50"),
]


@pytest.mark.parametrize(("change", "told"), BAD)
def test_what_gives_no_length_is_refused(change: dict[str, object], told: str) -> None:
    scene = Scene(TARGET, seen(TARGET), seen(TARGET[:2] * 0.5), 0.5, 0.5)
    with pytest.raises(RangeError, match=told):
        measured_length(replace(scene, **change))  # type: ignore[arg-type]


def test_a_slice_of_the_proof() -> None:
    """Three rendered photographs of each group: nothing farther off than four standard uncertainties."""
    import photo as proof

    covered = 0
    for number, group in enumerate(proof.GROUPS.values()):
        for case in group(np.random.default_rng([1, number]), 3, (0.05, 0.15)):
            got = measured_length(case.scene)
            covered += got.low <= case.truth <= got.high
            assert abs(got.length - case.truth) < 4.0 * got.u
    assert covered >= 13
