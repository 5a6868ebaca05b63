"""Visits assessed whole, on quick runs of the rig, whose truth the reduction never sees."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from spoolwright.constants import ZERO_CELSIUS
from spoolwright.core.measurement.montecarlo import coverage_interval, numerical_tolerance
from spoolwright.core.reduction.point import ChannelMean
from spoolwright.crafts.testcell.acceptance.contents import read_run
from spoolwright.crafts.testcell.diagnosis.lessons import learn_shape, lesson, shape_learnt
from spoolwright.crafts.testcell.ledger import Ledger
from spoolwright.crafts.testcell.model import Assessment, Derivation, Figure, Finding, Verdict
from spoolwright.crafts.testcell.performance.basis import reduction_basis
from spoolwright.crafts.testcell.performance.block import reduce_block
from spoolwright.crafts.testcell.performance.trials import corrected_trials, modelled_trials
from spoolwright.crafts.testcell.performance.visit import Pool, visit_performance
from spoolwright.crafts.testcell.run_sheet import Adjustment
from spoolwright.crafts.testcell.service import Doubts, TypeInForce, VisitRun, assess_runs, no_doubts
from spoolwright.crafts.typefile.model import TypeFile
from spoolwright.errors import InputError
from spoolwright.rig.bench import Ambient
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.result import RigRun
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type

HOLDS = 11


@lru_cache(maxsize=1)
def loaded() -> LoadedType:
    return load_type(shipped_type())


@lru_cache(maxsize=1)
def rig_runs() -> tuple[RigRun, ...]:
    """Two runs of one engine on two days."""
    options = QuickOptions(
        limit_set="overhauled",
        runs_per_engine=2,
        ambient=Ambient(temperature_range=(ZERO_CELSIUS + 8.0, ZERO_CELSIUS + 22.0)),
    )
    return tuple(quick_runs(loaded().type_file, loaded().engine, 2, 4242, options))


@lru_cache(maxsize=1)
def kind() -> TypeInForce:
    return changed(loaded().type_file)


def changed(type_file: TypeFile) -> TypeInForce:
    return TypeInForce(reduction_basis(type_file, loaded().engine), loaded().sha256)


def visit_run(i: int = 0, run: str = "1", **changes: Any) -> VisitRun:
    r = rig_runs()[i]
    return VisitRun(r.recording, r.sheet.model_copy(update={"run": run, **changes}))


def assessed(*runs: VisitRun, of: TypeInForce | None = None, doubts: Doubts = no_doubts) -> Assessment:
    return assess_runs(runs or (visit_run(),), of or kind(), doubts)


@pytest.fixture(scope="module")
def result() -> Assessment:
    return assessed()


def rating_verdicts(a: Assessment) -> list[Verdict]:
    limits = {x.id for x in loaded().type_file.limit if x.regime == "rating"}
    return [v for v in a.verdicts if v.limit in limits]


def figures(of: Any) -> Iterator[Figure]:
    if isinstance(of, Figure):
        yield of
    elif hasattr(of, "model_fields_set"):
        for name in type(of).model_fields:
            yield from figures(getattr(of, name))
    elif isinstance(of, tuple | list):
        for x in of:
            yield from figures(x)


def test_every_number_opens_its_derivation(result: Assessment) -> None:
    every = list(figures(result))
    assert len(every) > 500
    assert {f.how for f in every} <= result.derivations.keys()
    for d in result.derivations.values():
        assert d.formula and d.calculation and d.reference and d.version
        for i in d.inputs:
            assert i.origin in result.derivations or " " in i.origin or i.origin


def test_every_number_that_a_derivation_rests_on_has_a_unit(result: Assessment) -> None:
    inputs = [(d.calculation, i) for d in result.derivations.values() for i in d.inputs]
    assert [(c, i.name) for c, i in inputs if not isinstance(i.value, str) and not i.unit] == []


def given(d: Derivation) -> dict[str, float]:
    """Numbers that a derivation names."""
    return {i.name: float(i.value) for i in d.inputs if not isinstance(i.value, str)}


def told_factor(step: str, x: dict[str, float], of: str = "") -> float:
    """A factor computed again from nothing but what its derivation names, by the formula it states."""
    match step:
        case "temperature":
            return (x["inlet temperature"] / x["reference temperature"]) ** -x[f"theta exponent{of}"]
        case "pressure":
            return (x["inlet pressure"] / x["reference pressure"]) ** -x[f"delta exponent{of}"]
        case "heating value":
            return (x["heating value"] / x["reference heating value"]) ** x[f"heating value exponent{of}"]
        case "humidity":
            wet = x["water air ratio"] - x["reference water air ratio"]
            return 1.0 + x[f"humidity slope{of}"] * wet
        case _:
            return 1.0 + x[f"{step} slope{of}"] * (x[step] - x[f"reference {step}"])


def test_every_step_from_observed_to_corrected_can_be_computed_again(result: Assessment) -> None:
    checked = 0
    for quantity in (q for p in result.points for q in p.corrected):
        for step in quantity.ladder[1:]:  # the first is the cell's factor itself
            x = given(result.derivations[step.value.how])
            if quantity.quantity == "specific_fuel_consumption":
                again = told_factor(step.name, x, " of fuel flow") / told_factor(step.name, x, " of power")
            else:
                again = told_factor(step.name, x)
            assert step.factor == pytest.approx(again, rel=1e-12), (quantity.quantity, step.name)
            checked += 1
    assert checked >= 6 * 5 * 3


def test_the_parts_of_an_uncertainty_add_to_it_in_squares(result: Assessment) -> None:
    """JCGM 100:2008, 5.1.2: what a reading names as parts, squared and added, is its variance."""
    checked = 0
    for v in result.verdicts:
        if v.reading is None or not v.reading.standard_uncertainty or v.reading.unit == "s":
            continue
        inputs = result.derivations[v.reading.how].inputs
        parts = [float(i.value) for i in inputs if i.name.startswith("uncertainty share")]
        assert math.hypot(*parts) == pytest.approx(v.reading.standard_uncertainty, rel=1e-9), v.id
        checked += 1
    assert checked > 20


def test_survives_json(result: Assessment) -> None:
    assert Assessment.model_validate(json.loads(result.model_dump_json())) == result


def test_every_hold_is_a_usable_point_with_a_ladder_from_observed_to_corrected(result: Assessment) -> None:
    assert len(result.points) == HOLDS and all(p.usable and not p.why_not for p in result.points)
    for p in result.points:
        assert {c.quantity for c in p.corrected} >= {"power", "fuel_flow", "specific_fuel_consumption"}
        for c in p.corrected:
            assert c.approved is not None and c.model is not None and c.difference is not None
            product = c.observed.value * math.prod(s.factor or 1.0 for s in c.ladder)
            assert c.approved.value == pytest.approx(product, rel=1e-12)
            assert c.difference.value == pytest.approx(c.approved.value - c.model.value, rel=1e-9)


def test_rated_values_lie_about_the_truth(result: Assessment) -> None:
    truth = rig_runs()[0].truth.standard_day
    assert len(result.rated) == 16
    for r in result.rated:
        for f in (r.approved, r.model):
            assert f is not None and f.standard_uncertainty
            assert abs(f.value - truth[r.rating][r.quantity]) < 4.0 * f.standard_uncertainty


def test_margins_are_positive_on_the_good_side(result: Assessment) -> None:
    for r in result.rated:
        assert r.approved is not None and r.margin is not None
        sign = 1.0 if r.quantity == "power_at_rated_mgt" else -1.0
        assert r.margin.value == pytest.approx(sign * (r.approved.value - r.nominal.value))


def test_curves_pass_through_their_points_within_the_interval(result: Assessment) -> None:
    assert {c.method for c in result.curves} == {"approved", "model"}
    for c in result.curves:
        y = np.interp([p.x for p in c.points], c.x, c.y)
        low, high = (np.interp([p.x for p in c.points], c.x, e) for e in (c.low, c.high))
        inside = [low[i] - 2 * p.uy < p.y < high[i] + 2 * p.uy for i, p in enumerate(c.points)]
        assert all(inside) and np.all(np.array(c.low) < np.array(c.high))
        assert np.max(np.abs(y / np.array([p.y for p in c.points]) - 1.0)) < 0.02


def test_every_limit_of_the_set_is_told(result: Assessment) -> None:
    wanted = {x.id for x in loaded().type_file.limit if "overhauled" in x.sets}
    assert {v.limit for v in result.verdicts} == wanted
    # Quick runs hold no start, transient or shut-down: those limits cannot be told, and say what would tell
    # them.
    untold = [v for v in result.verdicts if v.outcome == "cannot_tell"]
    assert untold and all(v.why and v.next_step for v in untold)
    assert result.disposition.outcome != "all_meet"


def test_all_runs_are_shown_and_pooled(result: Assessment) -> None:
    both = assessed(visit_run(0, "1"), visit_run(1, "2"))
    assert [r.run for r in both.runs] == ["1", "2"] and len(both.points) == 2 * HOLDS
    assert {r.block for r in both.rated} == {0}
    one, two = (
        next(r for r in a.rated if r.rating == "take_off" and r.quantity == "power_at_rated_mgt")
        for a in (result, both)
    )
    assert one.approved is not None and two.approved is not None
    assert one.approved.standard_uncertainty and two.approved.standard_uncertainty
    # What both runs have in common (calibrations) stays; scatter shrinks.
    assert two.approved.standard_uncertainty <= 1.02 * one.approved.standard_uncertainty


def test_points_before_and_after_an_adjustment_are_never_mixed() -> None:
    holds = rig_runs()[0].truth.holds
    at = holds[6].to_s + 3.0
    adjustment = Adjustment(at_s=at, kind="vane_rigging", text="reset to the mark", by="R. Tallis")
    a = assessed(visit_run(0, adjustment=(adjustment,)))
    blocks = {p.id: p.block for p in a.points}
    assert set(blocks.values()) == {0, 1}
    assert all((p.from_s > at) == (p.block == 1) for p in a.points)
    for c in a.curves:
        assert {blocks[p.point] for p in c.points} == {c.block}
    assert {v.block for v in rating_verdicts(a)} == {1}
    assert {r.block for r in a.rated} == {0, 1}


def test_without_an_approved_method_nothing_is_told_but_the_model_advises() -> None:
    a = assessed(of=changed(loaded().type_file.model_copy(update={"correction": None})))
    verdicts = rating_verdicts(a)
    assert verdicts and {v.outcome for v in verdicts} == {"cannot_tell"}
    assert all("no approved correction" in v.sentence for v in verdicts)
    assert all(r.approved is None and r.model is not None for r in a.rated)


def test_outside_the_approved_window_nothing_is_told() -> None:
    t = loaded().type_file
    assert t.correction is not None
    window = t.correction.valid_when[0].model_copy(update={"min": None, "max": -20.0})
    narrow = t.model_copy(update={"correction": t.correction.model_copy(update={"valid_when": (window,)})})
    a = assessed(of=changed(narrow))
    assert {v.outcome for v in rating_verdicts(a)} == {"cannot_tell"}
    gate = next(g for g in a.gates if g.gate == "approved_window")
    assert gate.state == "fails" and "outside the window" in gate.text and gate.mend
    assert all(c.approved is None and c.model is not None for p in a.points for c in p.corrected)


def test_without_the_conformation_factor_power_is_not_guessed() -> None:
    engine = visit_run().sheet.engine.model_copy(update={"torque_conformation": None})
    a = assessed(visit_run(0, engine=engine))
    power = [v for v in rating_verdicts(a) if "power" in v.limit]
    assert power and all(v.outcome == "cannot_tell" and "conformation" in v.sentence for v in power)
    assert all("data plate" in v.next_step for v in power)


def barred_mgt(recording: Any, sheet: Any, type_file: Any) -> list[Finding]:
    finding = Finding(
        id="f1", run=sheet.run, kind="bias", channels=("mgt",), text="MGT reads 20 K high.", mend="Check it.",
        bars_use=True,
    )  # fmt: skip
    return [finding]


def test_a_doubted_channel_bars_performance() -> None:
    a = assessed(doubts=barred_mgt)
    assert {v.outcome for v in rating_verdicts(a)} == {"cannot_tell"}
    assert all(not p.usable and "f1" in " ".join(p.why_not) for p in a.points)
    oil = next(v for v in a.verdicts if v.limit == "oil_temperature")
    assert oil.outcome == "meets"


def test_wrong_calls_say_what_to_do() -> None:
    with pytest.raises(InputError, match="no run"):
        assess_runs([], kind())
    with pytest.raises(InputError, match="run number '1'"):
        assessed(visit_run(0), visit_run(1))
    other = visit_run(1, "2").sheet.engine.model_copy(update={"serial": "FG-9"})
    with pytest.raises(InputError, match="different engines"):
        assessed(visit_run(0), visit_run(1, "2", engine=other))
    with pytest.raises(InputError, match="are the same recording"):
        assessed(visit_run(0), visit_run(0, "2"))
    taught = lesson(visit_run(0), kind().basis)
    with pytest.raises(InputError, match="are the same recording"):
        shape_learnt([taught, taught], kind().basis)


def _well_known(mean: ChannelMean) -> ChannelMean:
    return replace(mean, random_degrees_of_freedom=math.inf)


def test_propagation_agrees_with_monte_carlo_at_a_rating_point() -> None:
    """JCGM 101:2008, 8.1: both ends within half a unit of the second digit of u."""
    r = rig_runs()[0]
    found = [p for p in read_run(r.recording, r.sheet, loaded().type_file).points if p.rating == "take_off"]
    # Student's t of a scatter known by few samples has no counterpart in the law of propagation.
    points = [replace(p, channels={c: _well_known(m) for c, m in p.channels.items()}) for p in found]
    reduction = reduce_block(0, points, {r.sheet.run: r.sheet}, kind().basis)
    for quantity in ("power", "gas_generator_speed", "measured_gas_temperature", "fuel_flow"):
        trials = corrected_trials(reduction, kind().basis, 0, quantity, 400_000, seed=7)
        e = trials.propagated
        low, high = coverage_interval(trials.samples, 0.95, "symmetric")
        allowed = numerical_tolerance(e.standard_uncertainty)
        assert abs(float(low) - (e.value - e.half_width())) <= allowed
        assert abs(float(high) - (e.value + e.half_width())) <= allowed
    model = modelled_trials(reduction, kind().basis, 0, 1101.15, 20_000, seed=7)
    # 20,000 trials know the standard deviation to 0.5 % and the mean to 0.7 % of it (one standard error).
    assert model.samples.std() == pytest.approx(model.propagated.standard_uncertainty, rel=0.02)
    assert abs(model.samples.mean() - model.propagated.value) < 0.03 * model.propagated.standard_uncertainty


def test_a_newest_block_without_points_says_so() -> None:
    r = rig_runs()[0]
    contents = read_run(r.recording, r.sheet, loaded().type_file)
    limits = tuple(x for x in loaded().type_file.limit if "overhauled" in x.sets)
    sheets, run = {r.sheet.run: r.sheet}, r.sheet.run
    late = visit_performance(contents.points, sheets, [Pool(3, run, limits)], kind().basis, Ledger())
    assert late.readings and all("since the last adjustment" in x.why_not for x in late.readings)
    unsteady = [replace(p, why_not=("held for 20 s",)) for p in contents.points]
    none = visit_performance(unsteady, sheets, [Pool(0, run, limits)], kind().basis, Ledger())
    assert all("held for 20 s" in x.why_not for x in none.readings) and not none.curves


def test_runs_under_another_limit_set_are_told_but_neither_mixed_nor_decisive() -> None:
    a = assessed(visit_run(0, "1", limit_set="as_received"), visit_run(1, "2", limit_set="overhauled"))
    assert {p.block for p in a.points if p.run == "1"} == {0}
    assert {p.block for p in a.points if p.run == "2"} == {1}
    judged = {(v.run, v.limit.endswith("as_received")) for v in rating_verdicts(a)}
    assert judged == {("1", True), ("2", False)}
    assert "Before the work now judged" in a.disposition.sentence
    assert a.limit_set == "overhauled"


def test_a_baseline_of_another_type_is_refused() -> None:
    other = replace(kind().basis.baseline, type_id="another")
    with pytest.raises(InputError, match="learnt for type 'another'"):
        reduction_basis(loaded().type_file, loaded().engine, other)


def test_a_shape_is_learnt_from_recorded_runs() -> None:
    learnt = learn_shape([visit_run(0, "1"), visit_run(1, "2")], kind().basis)
    assert learnt.runs == 2 and learnt.engines == 1 and learnt.type_id == "corrie_940"
    basis = reduction_basis(loaded().type_file, loaded().engine, learnt)
    a = assessed(of=TypeInForce(basis, loaded().sha256))
    assert "2 runs of 1 engines" in a.model_basis or "2 runs of 1 engine" in a.model_basis
    rated = next(r for r in a.rated if r.rating == "take_off" and r.quantity == "power_at_rated_mgt")
    assert rated.difference is not None and rated.difference.standard_uncertainty
    assert rated.approved is not None and rated.approved.standard_uncertainty
    # Errors of the instruments are common to both methods and cancel in their difference.
    assert rated.difference.standard_uncertainty < 0.5 * rated.approved.standard_uncertainty


def test_rain_bars_performance_and_says_what_mends_it() -> None:
    cell = visit_run().sheet.cell.model_copy(update={"precipitation": "rain"})
    a = assessed(visit_run(0, cell=cell))
    told = rating_verdicts(a)
    assert {v.outcome for v in told} == {"cannot_tell"}
    assert all("rain" in v.sentence and "dry" in v.next_step and v.reading is not None for v in told)
