"""Notches, sections, removed mass and beam modes against closed forms and an independent series solution."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special
from scipy.integrate import quad
from scipy.optimize import brentq

from spoolwright.core.blade.beam import Blade, bending_frequencies, torsion_frequencies
from spoolwright.core.blade.notch import (
    arc_radius,
    critical_length,
    ellipse_radius,
    endurance_with_crack,
    fatigue_factor,
    peterson_length,
    stress_concentration,
)
from spoolwright.core.blade.removed import (
    permissible_unbalance,
    segment_area,
    segment_centroid,
    stage_unbalance,
)
from spoolwright.core.blade.section import cut_back, section_of
from spoolwright.errors import RangeError

TITANIUM = (114e9, 4430.0)


def uniform(length: float = 1.0, **changes: float) -> Blade:
    """A blade of unit stiffness and mass, as far as nothing else is said."""
    ones = np.ones(2)
    values = {"mass": 1.0, "weak": 1.0, "stiff": 1e6, "angle": 0.0, "torsion": 1.0, "inertia": 1.0} | changes
    root = values.pop("root_radius", 0.0)
    return Blade(np.array([0.0, length]), **{k: v * ones for k, v in values.items()}, root_radius=root)


# ------------------------------------------------------------------------------------------------- notches


@pytest.mark.parametrize(("ratio", "arc", "ellipse"), [(4, 2.2649, 2.0), (8, 1.6860, 1.5), (10, 1.5547, 1.4)])
def test_blends_by_inglis(ratio: float, arc: float, ellipse: float) -> None:
    """Inglis 1913, Kt = 1 + 2 sqrt(d/r), with the radius of an arc (geometry) and of an ellipse; by hand."""
    assert round(stress_concentration(1.0, arc_radius(ratio, 1.0)), 4) == arc
    assert round(stress_concentration(1.0, ellipse_radius(ratio, 1.0)), 4) == ellipse


def test_inglis_agrees_with_kirsch_for_a_circle() -> None:
    """G. Kirsch, VDI-Z 42 (1898): a circular hole gives 3."""
    assert stress_concentration(2.0, 2.0) == pytest.approx(3.0)


def test_a_blend_halves_what_fatigue_feels_of_a_nick() -> None:
    """Peterson 1974 by hand: a nick of 0.5 mm, radius 0.1 mm in steel of 1,000 MPa, then blended 8 to 1."""
    a, el = peterson_length(1000e6), critical_length(4.6e6, 450e6)
    nick = fatigue_factor(0.5e-3, 0.1e-3, a, el)
    blend = fatigue_factor(0.5e-3, arc_radius(4e-3, 0.5e-3), a, el)
    assert (round(nick.stress, 3), round(nick.peterson, 3)) == (5.472, 3.322)
    assert (round(blend.stress, 3), round(blend.peterson, 3)) == (1.686, 1.671)
    assert blend.bracket[0] <= blend.peterson <= blend.bracket[1] <= blend.stress


def test_the_critical_distance_follows_the_field_of_a_blunt_notch() -> None:
    """Creager & Paris 1967: at the root the field gives Kt; far ahead it tends to that of a sharp crack."""
    at_root = fatigue_factor(1e-3, 1e-3, 1e-9, 1e-12)
    assert at_root.critical_distance == pytest.approx(at_root.stress, rel=1e-6)
    d, r, x = 1e-3, 1e-9, 1e-5
    sharp = fatigue_factor(d, r, 1e-9, 2 * x).critical_distance
    intensity_at = math.sqrt(math.pi * d) / math.sqrt(2.0 * math.pi * x)
    assert sharp == pytest.approx(intensity_at, rel=2e-3)


def test_short_cracks() -> None:
    """El Haddad 1979: the limits are the smooth endurance and the long-crack threshold."""
    assert endurance_with_crack(0.0, 4.6e6, 450e6) == pytest.approx(450e6)
    long = endurance_with_crack(1.0, 4.6e6, 450e6)
    assert long == pytest.approx(4.6e6 / (1.12 * math.sqrt(math.pi)), rel=1e-4)


def test_nonsense_is_refused() -> None:
    with pytest.raises(RangeError, match="depth"):
        stress_concentration(0.0, 1.0)
    with pytest.raises(RangeError, match="shorter than none"):
        endurance_with_crack(-1e-6, 4.6e6, 450e6)


# ------------------------------------------------------------------------------------------- removed mass


@pytest.mark.parametrize(("length", "depth"), [(10.0, 1.0), (4.0, 0.5), (5.0, 0.5), (2.0, 1.0), (2.0, 1.7)])
def test_segment_against_quadrature(length: float, depth: float) -> None:
    """Area and centroid by integrating chords of the circle over the depth."""
    radius = (length**2 / 4 + depth**2) / (2 * depth)

    def chord(y: float) -> float:
        return 2.0 * math.sqrt(max(radius**2 - (radius - depth + y) ** 2, 0.0))

    area = quad(chord, 0.0, depth, epsabs=1e-13, limit=200)[0]
    first = quad(lambda y: y * chord(y), 0.0, depth, epsabs=1e-13, limit=200)[0]
    assert segment_area(length, depth) == pytest.approx(area, rel=1e-9)
    assert segment_centroid(length, depth) == pytest.approx(first / area, rel=1e-9)


def test_one_blend_can_use_more_than_the_whole_allowance() -> None:
    """ISO 21940-11 G 2.5, 5 kg, 40,000 rpm: 2.984 g mm; a blend of 10 x 1 mm in 1 mm titanium at 120 mm."""
    mass = segment_area(10e-3, 1e-3) * 1e-3 * 4430.0
    amount, angle = stage_unbalance([(mass, 0.120, math.radians(30.0))])
    assert round(1e6 * amount, 3) == 3.572
    assert math.degrees(angle) == pytest.approx(210.0)
    assert amount > permissible_unbalance(2.5, 5.0, 40000.0)


def test_cuts_opposite_each_other_leave_nothing() -> None:
    around = [(1e-5, 0.1, 2 * math.pi * k / 6) for k in range(6)]
    assert stage_unbalance(around)[0] < 1e-18


# ------------------------------------------------------------------------------------------------ sections


def test_section_of_an_ellipse() -> None:
    """Closed forms: pi a b, pi a³ b / 4; torsion pi a³ b³ / (a² + b²)."""
    a, b = 10.0, 2.0
    t = np.linspace(0.0, 2 * np.pi, 4000, endpoint=False)
    found = section_of(np.column_stack([a * np.cos(t) + 3.0, b * np.sin(t) - 1.0]))
    assert found.area == pytest.approx(np.pi * a * b, rel=1e-5)
    assert found.centroid == pytest.approx((3.0, -1.0), abs=1e-6)
    assert found.moments[:2] == pytest.approx((np.pi * a**3 * b / 4, np.pi * a * b**3 / 4), rel=1e-5)
    assert found.torsion == pytest.approx(np.pi * a**3 * b**3 / (a**2 + b**2), rel=0.014)


def test_cut_back_rectangle_and_the_sense_of_rotation() -> None:
    corners = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 1.0], [0.0, 1.0]])
    for outline in (corners, corners[::-1]):
        left = section_of(cut_back(outline, (1.0, 0.0), (-1.0, 0.0)))
        assert left.area == pytest.approx(3.0)
        assert left.centroid == pytest.approx((2.5, 0.5))
        assert left.moments == pytest.approx((3.0**3 / 12, 3.0 / 12, 0.0))
    with pytest.raises(RangeError, match="nothing"):
        cut_back(corners, (5.0, 0.0), (-1.0, 0.0))


# ---------------------------------------------------------------------------------------------------- beams


def test_uniform_cantilever() -> None:
    """cos x cosh x = -1; the first three squares are 3.5160, 22.0345, 61.6972."""
    roots = [brentq(lambda x: math.cos(x) * math.cosh(x) + 1, a, a + 1.0) for a in (1.5, 4.2, 7.4)]
    found = 2 * np.pi * bending_frequencies(uniform())
    assert found == pytest.approx(np.square(roots), rel=1e-5)
    assert np.square(roots) == pytest.approx([3.5160, 22.0345, 61.6972], abs=5e-5)


def test_titanium_strip_in_hertz() -> None:
    """The same closed form for 60 x 20 x 2 mm titanium: 455.3, 2853.1, 7988.6 Hz."""
    (e, rho), width, thick = TITANIUM, 0.020, 0.002
    strip = uniform(
        0.060, mass=rho * width * thick, weak=e * width * thick**3 / 12, stiff=e * thick * width**3 / 12 * 1e3
    )
    assert bending_frequencies(strip, elements=100).round(1) == pytest.approx([455.3, 2853.1, 7988.6])


def tapered(tip: float, stations: int) -> Blade:
    """Constant width, depth falling linearly to a share at the tip; unit mass and stiffness at the root."""
    x = np.linspace(0.0, 1.0, stations)
    depth = 1.0 - (1.0 - tip) * x
    one = np.ones_like(x)
    return Blade(x, depth, depth**3, 1e6 * one, 0.0 * one, one, one, 0.0)


@pytest.mark.parametrize("tip", [0.2, 0.4, 0.7])
def test_tapered_cantilever_by_bessel_functions(tip: float) -> None:
    """Truncated wedge: Kirchhoff's solution in J, Y, I, K; 4 x 4 determinant, first three roots."""
    whole = 1.0 / (1.0 - tip)  # distance of the root from the wedge's edge

    def determinant(omega: float) -> float:
        beta = omega * whole  # in x from the edge: A = x / whole, I = (x / whole)^3
        rows = []
        for x, kinds in ((whole, ((1, -0.5), (2, -1.0))), (tip * whole, ((3, 1.5), (2, 1.0)))):
            z = 2.0 * math.sqrt(beta * x)
            for order, _ in kinds:
                flip = -1.0 if order == 2 else 1.0
                shear = order == 2 and x != whole
                rows.append(
                    [
                        (1.0 if shear else flip) * special.jv(order, z),
                        (1.0 if shear else flip) * special.yv(order, z),
                        special.ive(order, z) * math.exp(z - 2 * math.sqrt(beta * whole)),
                        -special.kv(order, z) if order == 2 else special.kv(order, z),
                    ]
                )
        return float(np.linalg.det(np.array(rows)))

    grid = np.linspace(0.5, 70.0, 4000)
    values = [determinant(w) for w in grid]
    roots = [
        brentq(determinant, a, b)
        for a, b, u, v in zip(grid[:-1], grid[1:], values[:-1], values[1:], strict=True)
        if u * v < 0
    ][:3]
    found = 2 * np.pi * bending_frequencies(tapered(tip, 81), elements=80)
    assert found == pytest.approx(roots, rel=1e-3)


def series_frequency(eta: float, hub: float, low: float, high: float) -> float:
    """Uniform rotating beam, flapping: the equation's power series, matched at the free end.

    EI w'''' - (T w')' = m omega² w with T = m Omega² [hub (1 - x) + (1 - x²) / 2], all made dimensionless.
    """

    def end(omega: float) -> float:
        sums = []
        for start in ((2, 0.5), (3, 1 / 6)):
            c = np.zeros(120)
            c[start[0]] = start[1]
            tension = eta**2 * (hub + 0.5)
            for k in range(len(c) - 4):
                # T = tension - eta² hub x - eta² x² / 2; the x^k coefficient of (T w')'
                spread = tension * (k + 2) * (k + 1) * c[k + 2]
                spread -= eta**2 * hub * (k + 1) ** 2 * c[k + 1]
                spread -= 0.5 * eta**2 * (k + 1) * k * c[k]
                c[k + 4] = (spread + omega**2 * c[k]) / ((k + 4) * (k + 3) * (k + 2) * (k + 1))
            n = np.arange(len(c))
            sums.append((np.sum(n * (n - 1) * c), np.sum(n * (n - 1) * (n - 2) * c)))
        (m1, v1), (m2, v2) = sums
        return float(m1 * v2 - m2 * v1)

    return float(brentq(end, low, high))


@pytest.mark.parametrize(("eta", "hub"), [(0, 0.0), (2, 0.0), (4, 0.0), (6, 0.0), (3, 1.0), (5, 0.5)])
def test_rotating_beam_by_its_power_series(eta: float, hub: float) -> None:
    """Flap mode 1 of a uniform rotating blade against the series; Southwell's form is only a bound."""
    southwell = math.sqrt(3.5160**2 + (1.1933 + 1.5709 * hub) * eta**2)
    exact = series_frequency(eta, hub, 0.95 * southwell, 1.08 * southwell)
    blade = uniform(stiff=1.0, weak=1e8, root_radius=hub)  # chord around the rotor: flap is axial
    found = 2 * np.pi * bending_frequencies(blade, speed=eta, modes=1)[0]
    assert found == pytest.approx(exact, rel=1e-3)
    assert math.hypot(3.5160, eta) * (1 - 1e-6) <= exact <= southwell * (1 + 1e-5)


def test_twist_leaves_a_round_section_alone_and_couples_a_flat_one() -> None:
    """With equal stiffness any twist is the same beam; with unequal, mode 1 rises towards neither limit."""
    x = np.linspace(0.0, 1.0, 41)
    one = np.ones_like(x)
    round_one = Blade(x, one, one, one, 1.2 * x, one, one, 0.0)
    assert 2 * np.pi * bending_frequencies(round_one, modes=2) == pytest.approx([3.5160, 3.5160], rel=1e-4)
    flat = Blade(x, one, one, 400.0 * one, np.radians(40.0) * x, one, one, 0.0)
    lowest = 2 * np.pi * bending_frequencies(flat, modes=1)[0]
    assert 3.5160 < lowest < 3.5160 * 1.05


def test_softening_in_the_plane_of_rotation() -> None:
    """Equal stiffness both ways: omega² around = omega² axial - Omega², exactly."""
    both = bending_frequencies(uniform(stiff=1.0, root_radius=0.7), speed=2.0, modes=2) * 2 * np.pi
    assert both[1] ** 2 - both[0] ** 2 == pytest.approx(4.0, rel=1e-7)


def test_uniform_torsion() -> None:
    """(2k - 1) pi / 2."""
    assert 2 * np.pi * torsion_frequencies(uniform()) == pytest.approx([np.pi / 2, 3 * np.pi / 2], rel=1e-4)


@pytest.mark.parametrize(
    ("mode", "shifts"),
    [(0, (-1.499, -0.668, 0.0, 0.668, 1.499)), (1, (-0.660, 0.304, 0.0, -0.304, 0.660))],
)
def test_where_along_the_span_a_cut_lowers_or_raises_a_mode(mode: int, shifts: tuple[float, ...]) -> None:
    """First-order perturbation of the exact cantilever mode: 5 % of stiffness and mass lost in a fifth.

    Oracle: Rayleigh's quotient with the closed-form mode shape, by quadrature.
    """
    root = (1.875104068711961, 4.694091132974174)[mode]
    share = (math.sinh(root) - math.sin(root)) / (math.cosh(root) + math.cos(root))

    def shape(x: float) -> float:
        return math.cosh(root * x) - math.cos(root * x) - share * (math.sinh(root * x) - math.sin(root * x))

    def bend(x: float) -> float:
        return math.cosh(root * x) + math.cos(root * x) - share * (math.sinh(root * x) + math.sin(root * x))

    base = bending_frequencies(uniform(), elements=100)[mode]
    for k, expected in enumerate(shifts):
        a, b = k / 5, (k + 1) / 5
        stored = quad(lambda x: bend(x) ** 2, a, b)[0] / quad(lambda x: bend(x) ** 2, 0, 1)[0]
        moved = quad(lambda x: shape(x) ** 2, a, b)[0] / quad(lambda x: shape(x) ** 2, 0, 1)[0]
        first_order = 100 * 0.5 * 0.05 * (moved - stored)
        assert first_order == pytest.approx(expected, abs=6e-4)
        x = np.unique(np.concatenate([[0, 1], [a, b], [max(a - 1e-3, 0)], [min(b + 1e-3, 1)]]))
        left = np.where((x >= a) & (x <= b), 0.995, 1.0)  # a tenth of the cut, where first order holds
        one = np.ones_like(x)
        cut = Blade(x, left, left, 1e6 * one, 0 * one, one, one, 0.0)
        found = 100 * (bending_frequencies(cut, elements=100)[mode] / base - 1)
        assert 10.0 * found == pytest.approx(first_order, abs=0.03)


def test_stations_out_of_order_are_refused() -> None:
    one = np.ones(3)
    with pytest.raises(RangeError, match="ascend"):
        bending_frequencies(Blade(np.array([0.0, 2.0, 1.0]), one, one, one, one, one, one, 0.0))
