"""The shipped Corrie 940: whole, coherent with its own engine model, its schema the published one."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.crafts.typefile.lookup import channels_of, limits_of, source_text
from spoolwright.crafts.typefile.model import DERIVED_QUANTITIES, Amount, CorrectionLaw, Rating
from spoolwright.crafts.typefile.schema import schema, schema_text
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type
from spoolwright.units import to_inner

SETS = ("new", "overhauled", "repaired", "as_received", "penalty_run")


@pytest.fixture(scope="module")
def corrie() -> LoadedType:
    return load_type(shipped_type())


@pytest.fixture(scope="module")
def model(corrie: LoadedType) -> EngineModel:
    return EngineModel(corrie.engine)


def inner(a: Amount | None) -> float:
    assert a is not None
    return to_inner(a.value, a.unit)


def test_it_is_marked_as_demonstration(corrie: LoadedType) -> None:
    assert corrie.type_file.type.demonstration


@pytest.mark.parametrize("limit_set", SETS)
def test_every_limit_set_judges_what_an_acceptance_run_judges(corrie: LoadedType, limit_set: str) -> None:
    quantities = {x.quantity for x in limits_of(corrie.type_file, limit_set)}
    common = set(DERIVED_QUANTITIES) - {"torque_conformation_difference", "mgt_trim_difference"}
    wanted = common if limit_set == "as_received" else set(DERIVED_QUANTITIES)
    if limit_set == "as_received":
        wanted -= {"ng_at_rated_power", "sfc_at_rated_power"}
    pickups = {c.id for c in channels_of(corrie.type_file, "vibration")}
    assert wanted | pickups | {"p_oil", "t_oil", "mgt", "ng", "np", "torque", "chip_detector"} <= quantities
    assert len(pickups) == 4


def test_limit_sets_differ_in_the_sensible_direction(corrie: LoadedType) -> None:
    """Newly built engines must show the most in hand, engines as received the least."""
    power = {
        s: next(
            x.value
            for x in limits_of(corrie.type_file, s)
            if x.quantity == "power_at_rated_mgt" and x.rating == "take_off"
        )
        for s in SETS
    }
    assert power["new"] == power["penalty_run"]
    assert power["new"] > power["overhauled"] > power["repaired"] == 940 > power["as_received"]


def test_every_limit_prints_its_document_revision_and_paragraph(corrie: LoadedType) -> None:
    for limit in corrie.type_file.limit:
        text = source_text(corrie.type_file, limit.source)
        assert text.count(",") == 2 and "?" not in text, limit.id


@pytest.mark.parametrize("name", ["oei_2min30", "take_off", "intermediate", "max_continuous", "idle"])
def test_nominal_figures_are_those_of_the_engine_model(
    corrie: LoadedType, model: EngineModel, name: str
) -> None:
    """The file states a nominal engine; the model at the rated MGT must give it, to the file's rounding."""
    r = rating(corrie, name)
    s = solve(model, corrie.engine.condition(), set_by="mgt", target=inner(r.measured_gas_temperature))
    assert s.power == pytest.approx(inner(r.nominal_power), rel=1e-3)
    assert s.gas_generator_speed == pytest.approx(inner(r.gas_generator_speed), abs=12)
    assert s.specific_fuel_consumption == pytest.approx(inner(r.specific_fuel_consumption), rel=1e-3)


def test_a_nominal_engine_has_two_per_cent_in_hand_after_overhaul(corrie: LoadedType) -> None:
    for limit in limits_of(corrie.type_file, "overhauled"):
        if limit.quantity == "power_at_rated_mgt":
            assert limit.value is not None and limit.rating is not None
            hand = inner(rating(corrie, limit.rating).nominal_power) / to_inner(limit.value, limit.unit) - 1.0
            assert 0.02 < hand < 0.035, limit.id


def test_a_nominal_engine_meets_every_limit_at_rated_power(corrie: LoadedType, model: EngineModel) -> None:
    outputs = {
        "mgt_at_rated_power": "measured_gas_temperature",
        "ng_at_rated_power": "gas_generator_speed",
        "sfc_at_rated_power": "specific_fuel_consumption",
    }
    judged = [x for x in corrie.type_file.limit if x.quantity in outputs]
    for limit in judged:
        assert limit.rating is not None and limit.value is not None
        power = inner(rating(corrie, limit.rating).power)
        s = solve(model, corrie.engine.condition(), set_by="power", target=power)
        assert getattr(s, outputs[limit.quantity]) < to_inner(limit.value, limit.unit), limit.id
    assert len(judged) > 30


@pytest.mark.parametrize(
    "quantity", ["power", "gas_generator_speed", "measured_gas_temperature", "fuel_flow"]
)
def test_correction_exponents_follow_from_the_engine_model(
    corrie: LoadedType, model: EngineModel, quantity: str
) -> None:
    """Central logarithmic derivatives at constant corrected speed (independent of the fit they came from)."""
    assert corrie.type_file.correction is not None
    law = next(x for x in corrie.type_file.correction.laws if x.quantity == quantity)
    assert mean_slope(model, quantity, "temperature", (263.15, 308.15)) == pytest.approx(
        law.theta_exponent, abs=0.006
    )
    assert mean_slope(model, quantity, "pressure", (80e3, 106e3)) == pytest.approx(
        law.delta_exponent, abs=0.004
    )
    assert humidity_slope(model, law) == pytest.approx(law.humidity_slope, abs=0.01)


def mean_slope(model: EngineModel, quantity: str, name: str, ends: tuple[float, float]) -> float:
    values = [[at_corrected_speed(model, n, quantity, **{name: x}) for x in ends] for n in (0.97, 1.0, 1.023)]
    return float(np.mean([math.log(b / a) / math.log(ends[1] / ends[0]) for a, b in values]))


def humidity_slope(model: EngineModel, law: CorrectionLaw) -> float:
    dry = at_corrected_speed(model, 1.0, law.quantity, temperature=298.15)
    damp = at_corrected_speed(model, 1.0, law.quantity, temperature=298.15, water_air_ratio=0.01)
    return (dry / damp - 1.0) / 0.01


def at_corrected_speed(model: EngineModel, corrected_speed: float, quantity: str, **ambient: float) -> float:
    condition = model.data.condition(**ambient)
    ng = model.data.reference.gas_generator_speed * corrected_speed
    for _ in range(2):  # speed is proportional to corrected speed: the second solve is exact
        s = solve(model, condition, set_by="ng", target=ng)
        ng *= corrected_speed / s.corrected_speed
    return float(getattr(s, quantity))


def rating(corrie: LoadedType, name: str) -> Rating:
    return next(r for r in corrie.type_file.rating if r.id == name)


def test_filled_parameters_are_told_and_given_ones_are_not(corrie: LoadedType) -> None:
    filled = {f.path for f in corrie.filled}
    assert "compressor.efficiency" in filled and "shafts.gas_generator_inertia" in filled
    assert not filled & {"control.idle_speed", "control.speed_limit", "control.temperature_limit"}
    assert all(f.rule for f in corrie.filled)
    assert corrie.engine.control is not None and corrie.engine.control.speed_limit == 1.075


def test_the_published_schema_is_current(repository: Path) -> None:
    published = repository / "docs" / "reference" / "typefile.schema.json"
    assert published.read_text(encoding="utf-8") == schema_text(), (
        "run: spoolwright type schema --out " + str(published.relative_to(repository))
    )


def test_the_schema_is_one_and_holds_the_shipped_file() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    raw = tomllib.loads(shipped_type().read_text(encoding="utf-8"))
    document = json.loads(json.dumps(raw, default=str))  # JSON has no dates: ISO 8601 texts
    assert list(jsonschema.Draft202012Validator(schema()).iter_errors(document)) == []


@pytest.mark.parametrize(
    ("table", "key", "bad"),
    [("channel", "noise", "0.7"), ("limit", "bound", "most"), ("rating", "colour", 1)],
)
def test_the_schema_refuses_what_the_check_refuses(table: str, key: str, bad: object) -> None:
    raw = tomllib.loads(shipped_type().read_text(encoding="utf-8"))
    raw[table][0][key] = bad
    document = json.loads(json.dumps(raw, default=str))
    assert list(jsonschema.Draft202012Validator(schema()).iter_errors(document))
