"""What a blend does, and the plan of a whole stage. Blades and limits here are invented."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spoolwright.core.blade.removed import segment_area
from spoolwright.crafts.inspection.airfoil import (
    Cut,
    beam_of,
    outline,
    removed,
    shape_at,
    slenderness,
    stations,
)
from spoolwright.crafts.inspection.blend import blend_effect
from spoolwright.crafts.inspection.blend_plan import plan_blends
from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.inspection.model import FindingRecorded, Proposed
from spoolwright.crafts.inspection.rules import judge_stage
from spoolwright.crafts.inspection.stage import Earlier, Stage
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.shop.inspection import (
    Airfoil,
    AirfoilSection,
    Damage,
    DamageLimit,
    EngineOrder,
    InspectedPart,
    InspectionZone,
    NaturalMode,
    OutlineKind,
)
from spoolwright.errors import RangeError

SOURCE = Source(document="OM", paragraph="1")


def airfoil(span: float = 90.0, **changes: object) -> Airfoil:
    """A slender blade without taper or twist."""
    rows = [AirfoilSection(at=a, chord_mm=20.0, thickness_mm=2.0, angle_deg=0.0) for a in (0.0, 1.0)]
    values: dict[str, object] = {
        "span_mm": span,
        "root_radius_mm": 80.0,
        "section": rows,
        "density": 4430.0,
        "elastic_modulus": 114e9,
        "shear_modulus": 44e9,
        "speed_rpm": (20000.0, 40000.0),
        "unbalance_g_mm": 8.0,
        "source": SOURCE,
        "mode": [
            NaturalMode(
                name="first bending",
                kind="bending",
                number=1,
                frequency_hz=700.0,
                speed_rpm=0.0,
                source=SOURCE,
            )
        ],
        "engine_order": [EngineOrder(order=2, cause="distorted inlet")],
    }
    return Airfoil.model_validate(values | changes)


def stage(findings: tuple[FindingRecorded, ...] = (), **changes: object) -> Stage:
    """24 blades: nicks to 0.1 mm stay; blends to 1.0 mm, on four blades at most, not side by side."""
    part = InspectedPart(
        id="rotor",
        name="Rotor",
        module="compressor",
        part="rotor",
        outline=OutlineKind.BLADES,
        count=24,
        view="looking aft",
        numbering="clockwise from the master mark",
        zone=(InspectionZone(id="le", name="Leading edge", side="leading edge"),),
        airfoil=airfoil(),
        source=SOURCE,
    )
    values = {"length_to_depth_min": "8", "blades_max": 4, "adjacent": False, "allowance": "0.05"} | changes
    limits = (
        DamageLimit(
            id="stays", part="rotor", damage=(Damage.NICK,), allows="as is", depth_max="0.1", source=SOURCE
        ),
        DamageLimit(
            id="blend",
            part="rotor",
            damage=(Damage.NICK,),
            allows="blend",
            depth_after_max="1.0",
            source=SOURCE,
            **values,
        ),
    )
    return Stage(part, limits, findings)


def nick(blade: int, depth: str, position: str = "60") -> FindingRecorded:
    return FindingRecorded(
        part="rotor", blade=blade, zone="le", damage=Damage.NICK, depth=Size(value=depth, unit="mm"),
        length=Size(value="1.0", unit="mm"), position=Size(value=position, unit="mm"),
    )  # fmt: skip


def test_an_arc_cut_is_the_exact_segment() -> None:
    """The depth along the span integrates to the circular segment's area (closed form)."""
    cut = Cut(True, 0.04, 8e-3, 1e-3)
    s = np.linspace(0.036, 0.044, 20001)
    area = np.trapezoid([cut.depth_at(x) for x in s], s)
    assert area == pytest.approx(segment_area(8e-3, 1e-3), rel=1e-6)
    assert cut.depth_at(0.04) == pytest.approx(1e-3)


def test_removed_mass_of_a_plate_by_hand() -> None:
    """Between the segment times the edge's thickness and the greatest; its arm is the blend's radius."""
    known = airfoil()
    mass, moment = removed(known, [Cut(True, 0.06, 8e-3, 1e-3)])
    sheet = segment_area(8e-3, 1e-3) * 4430.0
    assert 0.1 * 2e-3 * sheet < mass < 2e-3 * sheet
    assert moment / mass == pytest.approx(0.080 + 0.060, rel=1e-3)


def test_the_outline_has_the_chord_and_thickness_of_the_type() -> None:
    corners = outline(shape_at(airfoil(), 0.5))
    assert np.ptp(corners[:, 0]) == pytest.approx(0.020)
    assert np.ptp(corners[:, 1]) == pytest.approx(0.002, rel=1e-6)


def test_a_cut_at_the_root_lowers_the_first_mode_and_at_the_tip_raises_it() -> None:
    """Rayleigh: stiffness counts at the root, mass at the tip."""
    known = airfoil()
    shifts = []
    for position in ("8", "82"):
        effect = blend_effect(nick(3, "0.9", position), stage().limits[1], stage((nick(3, "0.9", position),)))
        assert effect is not None and slenderness(known) > 3.0
        shifts.append(effect.modes[0].shift)
    assert shifts[0] < 0.0 < shifts[1]
    assert max(map(abs, shifts)) < 0.02


def test_a_stubby_blade_is_referred() -> None:
    stubby = replace(stage(), part=stage().part.model_copy(update={"airfoil": airfoil(span=40.0)}))
    effect = blend_effect(nick(3, "0.3", "20"), stubby.limits[1], stubby)
    assert effect is not None and effect.modes == () and "Refer to engineering" in effect.modes_referred


def test_crossings_are_where_order_times_speed_meets_the_mode() -> None:
    """Order 2 meets 700 Hz at 60 * 700 / 2 = 21,000 rpm, inside 20,000 to 40,000."""
    effect = blend_effect(nick(3, "0.3"), stage().limits[1], stage())
    assert effect is not None
    (crossing,) = effect.lines[0].crossings_before
    assert crossing.speed_rpm == pytest.approx(21000.0)


def test_beam_of_a_uniform_blade_has_its_section() -> None:
    known = airfoil()
    blade = beam_of(known, (), stations(known, ()))
    assert blade.length == pytest.approx(0.090)
    assert np.ptp(blade.mass) < 1e-12
    assert 0.5 * 4430 * 0.02 * 0.002 < blade.mass[0] < 4430 * 0.02 * 0.002


def test_fewest_blades_are_replaced_and_balance_is_kept() -> None:
    damaged = tuple(nick(b, "0.5") for b in (1, 2, 9, 13, 17, 21))
    found = plan_blends(stage(damaged))
    assert found is not None
    assert len(found.plan.blend) == 4, "four blends are allowed; 1 and 2 are neighbours"
    assert found.plan.unbalance <= 8e-6
    assert {b for b, _ in found.replaced_for} == set(found.plan.replace)


def test_beyond_every_blend_is_replaced_with_the_reason() -> None:
    found = plan_blends(stage((nick(5, "1.2"), nick(9, "0.4"))))
    assert found is not None
    assert found.plan.replace == (5,) and found.plan.blend == (9,)
    assert "Outside limits" in found.replaced_for[0][1]


NICKS = st.lists(
    st.tuples(st.integers(1, 24), st.sampled_from(["0.05", "0.3", "0.6", "0.94", "0.96", "1.5"])),
    min_size=1, max_size=9, unique_by=lambda x: x[0],
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(NICKS)
def test_no_plan_is_outside_the_limits(drawn: list[tuple[int, str]]) -> None:
    """Judged again with the replaced blades gone, everything that is left meets its limits or is a blend."""
    findings = tuple(nick(b, d) for b, d in drawn)
    whole = stage(findings)
    found = plan_blends(whole)
    assert found is not None
    left = tuple(f for f in findings if f.blade not in found.plan.replace)
    judged = judge_stage(replace(whole, findings=left))
    assert all(j is not None and j.proposed in (Proposed.AS_IS, Proposed.BLEND) for j in judged)
    angle = {b: 2 * math.pi * (b - 1) / 24 for b in range(1, 25)}
    total = sum(
        -b.taken.unbalance_g_mm * complex(math.cos(angle[b.finding.blade]), math.sin(angle[b.finding.blade]))
        for b in found.blended
        if b.finding.blade
    )
    assert abs(total) <= 8.0 + 1e-6
    assert abs(total) == pytest.approx(1e6 * found.plan.unbalance, abs=1e-6)


def test_blends_of_this_visit_use_the_allowance_and_go_with_their_blade() -> None:
    """Made blends leave 1 + 2 cos 30° = 2.73 times one of 2.8 allowed: one more on their side does not fit,
    one there with one opposite does; where they alone leave too much there is no plan."""
    made = tuple(Earlier(b, "le", Fraction(1), Fraction(60), Fraction(8)) for b in (1, 3, 23))
    airfoil_of = stage().part.airfoil
    assert airfoil_of is not None
    each = 1e6 * removed(airfoil_of, [Cut(True, 0.06, 8e-3, 1e-3)])[1]
    just = airfoil_of.model_copy(update={"unbalance_g_mm": 2.8 * each})
    known = stage((nick(13, "0.9"), nick(21, "0.9")), blades_max=None, adjacent=True)
    known = replace(known, part=known.part.model_copy(update={"airfoil": just}), blends=made)
    found = plan_blends(known, done=made)
    assert found is not None and found.plan.blend == (13, 21)
    beside = plan_blends(replace(known, findings=(nick(2, "0.9"),)), done=made)
    assert beside is not None and beside.plan.replace == (2,)
    tight = just.model_copy(update={"unbalance_g_mm": 0.5 * each})
    with pytest.raises(RangeError, match="more unbalance than allowed"):
        plan_blends(replace(known, part=known.part.model_copy(update={"airfoil": tight})), done=made)
