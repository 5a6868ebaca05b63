"""Damage limits: a fixed part of the proof's cases, and what words, sizes and probabilities say."""

from __future__ import annotations

import importlib.util
import sys
from fractions import Fraction
from pathlib import Path
from types import ModuleType

import pytest
from scipy.stats import norm

from shop.memory import demonstration_type
from spoolwright.crafts.inspection.calc import disposition_calculation, recompute_disposition
from spoolwright.crafts.inspection.dimensions import judge_dimension
from spoolwright.crafts.inspection.entering import finding_from, part_named, quick_words, words_of
from spoolwright.crafts.inspection.model import Proposed
from spoolwright.crafts.inspection.rules import Earlier, Stage, judge_finding, judge_stage, smallest_blend
from spoolwright.crafts.typefile.base import Source
from spoolwright.crafts.typefile.shop.inspection import Damage, DamageLimit, Dimension, misnamed
from spoolwright.errors import InputError

SHOP = demonstration_type().shop
ROTOR = part_named(SHOP.inspected_part, "axial_rotor_1")
NICK = {"blade": "7", "zone": "le_tip", "damage": "nick", "unit": "mm", "depth": "0.4", "length": "2"}
HERE = Source(document="OM-940", paragraph="72-30, 5.2")


def proof() -> ModuleType:
    """The proof, whose file is no module of a package."""
    path = Path(__file__).resolve().parents[1] / "prove" / "inspection.py"
    spec = importlib.util.spec_from_file_location("prove_inspection", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["prove_inspection"] = module
    spec.loader.exec_module(module)
    return module


def test_a_fixed_part_of_the_cases() -> None:
    known = proof()
    wrong = []
    for _, case in known.some(700):
        told, expected = known.answers(case), known.expected_of(case)
        if told != expected:
            wrong.append((case.why, told, expected))
    assert wrong == []


def test_no_limit_no_verdict() -> None:
    finding = finding_from({**NICK, "damage": "spalling"}, ROTOR)
    judged = judge_finding(finding, Stage(ROTOR, SHOP.damage_limit))
    assert judged.proposed is Proposed.REFER
    assert "no limit covers a spalling" in judged.words
    assert judged.paragraph == ""


@pytest.mark.parametrize(
    ("depth", "ratio", "radius"),
    [(0.5, "8", "4.25"), (1.0, "8", "8.5"), (1.0, "4", "2.5"), (1.0, "10", "13")],
)
def test_arc_of_a_blend(depth: float, ratio: str, radius: str) -> None:
    """Arc of chord L, depth d: radius (L²/4 + d²)/(2d): ndi notes 6.3, table of L/d against arc radius."""
    line = DamageLimit(
        id="x", part=ROTOR.id, damage=(Damage.NICK,), allows="blend", depth_after_max="2",
        length_to_depth_min=ratio, source=HERE,
    )  # fmt: skip
    finding = finding_from({**NICK, "depth": str(depth), "length": "0.1"}, ROTOR)
    blend = smallest_blend(finding, line, Stage(ROTOR, (line,)))
    assert blend is not None
    assert blend.radius == Fraction(radius)


def test_probability_near_a_limit() -> None:
    """JCGM 106:2012, 7.3: share of the normal distribution below the limit, here by scipy."""
    words = {**NICK, "depth": "0.12", "length": "1", "uncertainty": "0.02"}
    judged = judge_finding(finding_from(words, ROTOR), Stage(ROTOR, SHOP.damage_limit))
    depth = next(c for c in judged.checks if c.bound == "depth")
    assert depth.probability == pytest.approx(norm.cdf((0.13 - 0.12) / 0.02), rel=1e-12)
    assert "69 % probability of conforming" in judged.words


def test_a_judgement_is_computed_again_from_what_is_stored() -> None:
    findings = tuple(
        finding_from({**NICK, "blade": str(b), "depth": d, "position": "30"}, ROTOR)
        for b, d in ((7, "0.4"), (8, "0.1"), (9, "1.3"))
    )
    blends = (Earlier(7, "le_tip", Fraction("0.3"), Fraction(30), Fraction(4)),)
    limits = tuple(x for x in SHOP.damage_limit if x.part == ROTOR.id)
    stage = Stage(ROTOR, limits, findings, blends)
    for at, judged in enumerate(judge_stage(stage)):
        assert judged is not None
        stored = disposition_calculation(stage, at, judged.model_dump(mode="json"))
        assert recompute_disposition(stored.inputs, lambda _: b"") == stored.result


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("7 l3 n 0.4 2", {"blade": "7", "zone": "l3", "damage": "n", "depth": "0.4", "length": "2"}),
        ("w s 0.02 3", {"zone": "w", "damage": "s", "depth": "0.02", "length": "3"}),
        ("7 L3 N 0.4 2 @30 f12 in", {"position": "30", "fillet_distance": "12", "unit": "in"}),
    ],
)
def test_quick_lines(line: str, words: dict[str, str]) -> None:
    assert quick_words(line, ROTOR).items() >= words.items()


@pytest.mark.parametrize("line", ["", "7", "7 l3", "7 l3 n 1 2 3 4", "7 l3 n @1 @2"])
def test_lines_that_are_no_finding(line: str) -> None:
    with pytest.raises(InputError):
        quick_words(line, ROTOR)


def test_words_of_two_units_are_refused() -> None:
    one, two = finding_from(NICK, ROTOR), finding_from({**NICK, "unit": "in", "depth": "0.1"}, ROTOR)
    mixed = one.model_copy(update={"depth": two.depth})
    with pytest.raises(InputError, match="two units"):
        words_of(mixed)


def test_a_bound_on_what_nothing_allows_is_a_mistake() -> None:
    with pytest.raises(ValueError, match="allows nothing, so a bound means nothing"):
        DamageLimit(id="x", part="a", damage=(Damage.CRACK,), allows="nothing", length_max="2", source=HERE)


def test_limits_of_parts_and_zones_that_are_not_there() -> None:
    line = DamageLimit(
        id="x", part=ROTOR.id, zone=("nose",), damage=(Damage.CRACK,), allows="nothing", source=HERE
    )
    size = Dimension(id="y", name="Y", part="absent", unit="mm", source=HERE)
    assert list(misnamed([ROTOR], [line], [size])) == [
        "'y' is of 'absent', which is no inspected part",
        "'x' holds for zone 'nose', which 'axial_rotor_1' does not have",
    ]


LIMITS = {"new_min": "0.22", "new_max": "0.34", "service_min": "0.20", "service_max": "0.48"}


@pytest.mark.parametrize(
    ("value", "unit", "verdict"),
    [
        ("0.34", "mm", "meets the limits for new parts"),
        ("0.341", "mm", "meets the limits for service"),
        ("0.20", "mm", "meets the limits for service"),
        ("0.199", "mm", "outside limits"),
        ("0.0134", "in", "meets the limits for service"),
        ("0.0133", "in", "meets the limits for new parts"),
    ],
)
def test_dimensions_against_new_and_service(value: str, unit: str, verdict: str) -> None:
    """0.0133 in is 0.33782 mm, 0.0134 in is 0.34036 mm (an inch is 25.4 mm)."""
    inputs = {"value": value, "unit": unit, "uncertainty": "", "limit_unit": "mm", **LIMITS}
    assert judge_dimension(inputs) == {"verdict": verdict, "probability": None}


def test_probability_of_a_dimension_between_two_limits() -> None:
    """JCGM 106:2012, 7.4: between two limits, by scipy."""
    inputs = {"value": "0.47", "unit": "mm", "uncertainty": "0.01", "limit_unit": "mm", **LIMITS}
    expected = norm.cdf((0.48 - 0.47) / 0.01) - norm.cdf((0.20 - 0.47) / 0.01)
    assert judge_dimension(inputs)["probability"] == pytest.approx(expected, rel=1e-12)
