"""What a solve promises: the setting is met, floats equal arrays, statuses tell why, sheets are met exactly.

Independent values come from the physics' own balances (power = torque times speed, a target that was asked
for) and from the data sheet handed in; agreement with other codes is tested in tests/reference.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from spoolwright.core.cycle.condition import ConditionFactors
from spoolwright.core.cycle.engine import EngineData
from spoolwright.core.cycle.generic import DataSheet, Fill, generic_engine
from spoolwright.core.cycle.mapping import engine_from_mapping, engine_to_mapping
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.rescue import rescue
from spoolwright.core.cycle.setting import SETTINGS
from spoolwright.core.cycle.solution import Status
from spoolwright.core.cycle.solve import Cases, solve
from spoolwright.errors import InputError, RangeError

SHEET = DataSheet("invented", 940e3, 41200.0, 6000.0, 1080.0, 0.0796, 8.6, 26300.0, 3.72)


@cache
def made() -> tuple[EngineData, list[Fill]]:
    return generic_engine(SHEET)


@cache
def model() -> EngineModel:
    return EngineModel(made()[0])


TARGETS = {
    "power": 700e3,
    "torque": 1100.0,
    "ng": 39000.0,
    "mgt": 1000.0,
    "fuel_flow": 0.06,
    "turbine_inlet_temperature": 1250.0,
}
NAMES = {"ng": "gas_generator_speed", "mgt": "measured_gas_temperature", "turbine_inlet_temperature": "T4"}


@pytest.mark.parametrize("set_by", SETTINGS)
def test_the_setting_is_met(set_by: Any) -> None:
    s = solve(model(), model().data.condition(), set_by=set_by, target=TARGETS[set_by])
    assert s.status == Status.SOLVED
    assert s.values[NAMES.get(set_by, set_by)] == pytest.approx(TARGETS[set_by], rel=1e-10)
    assert s.power == pytest.approx(s.torque * 6000.0 * np.pi / 30.0, rel=1e-12)
    assert s.sentence().startswith("Solved")


@pytest.mark.parametrize("air", [None, 3.72, 3.9])
@pytest.mark.parametrize("fuel", [0.077, 0.0796, 0.083])
def test_the_sheet_is_met_exactly(fuel: float, air: float | None) -> None:
    engine, _ = generic_engine(replace(SHEET, fuel_flow=fuel, air_flow=air))
    s = solve(EngineModel(engine), engine.condition(), set_by="power", target=SHEET.power)
    assert s.gas_generator_speed == pytest.approx(SHEET.gas_generator_speed, rel=1e-9)
    assert s.measured_gas_temperature == pytest.approx(SHEET.measured_gas_temperature, rel=1e-9)
    assert s.fuel_flow == pytest.approx(fuel, rel=1e-9)
    assert s.pressure_ratio == pytest.approx(SHEET.pressure_ratio, rel=1e-9)
    if air is not None:
        # the sheet's flow is before the inlet's own loss of pressure
        assert s.air_flow == pytest.approx(air * (1.0 - engine.ducts.inlet_loss), rel=1e-9)


def test_every_fill_names_a_field_and_a_rule() -> None:
    engine, fills = made()
    assert {"compressor.map", "secondary.nozzle_cooling", "shafts.gas_generator_inertia"} <= {
        f.path for f in fills
    }
    for f in fills:
        group, name = f.path.split(".")
        value = getattr(getattr(engine, group), name)
        assert f.rule and (f.value is None or f.value == value)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"fuel_flow": 0.2}, "fuel_flow"),
        ({"measured_gas_temperature": 807.0}, "together|efficiency|mean gas"),
        ({"pressure_ratio": 86.0}, "pressure_ratio"),
        ({"air_flow": 37.2}, "together|efficiency|mean gas"),
        ({"power": 940.0}, "power"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_refused(change: dict[str, float], word: str) -> None:
    with pytest.raises(InputError, match=word):
        generic_engine(replace(SHEET, **change))


def test_floats_equal_arrays() -> None:
    power = np.linspace(100e3, 1000e3, 12)
    temperature = np.linspace(240.0, 315.0, 12)
    batch = solve(model(), model().data.condition(temperature=temperature), set_by="power", target=power)
    for i in range(12):
        one = solve(
            model(),
            model().data.condition(temperature=float(temperature[i])),
            set_by="power",
            target=power[i],
        )
        assert isinstance(one.fuel_flow, float)
        for name in ("fuel_flow", "T45", "p3", "gas_generator_speed", "surge_margin"):
            assert one.values[name] == pytest.approx(batch.values[name][i], rel=1e-9), name


def test_a_start_next_door_gives_the_same_point() -> None:
    first = solve(model(), model().data.condition(), set_by="power", target=600e3)
    near = solve(model(), model().data.condition(), set_by="power", target=610e3, start=first.x)
    fresh = solve(model(), model().data.condition(), set_by="power", target=610e3)
    assert near.fuel_flow == pytest.approx(fresh.fuel_flow, rel=1e-10)


def test_what_cannot_be_given_is_infeasible_and_says_why() -> None:
    power = np.array([940e3, 5e6, 1.0])
    s = solve(model(), model().data.condition(), set_by="power", target=power)
    assert s.solved.tolist()[:2] == [True, False]
    assert s.sentence(1).startswith("Infeasible: output power 5e+06 W at 288.15 K, 101325 Pa:")


def test_surge_is_a_status() -> None:
    """A turbine throat closed by 30 % throttles the compressor beyond its surge line."""
    factors = ConditionFactors(gas_generator_turbine_area=0.7)
    s = solve(model(), model().data.condition(), factors, set_by="ng", target=41200.0)
    assert s.status == Status.SURGE and s.surge_margin < 0.0
    assert "surge" in s.sentence()


def test_a_cold_mgt_is_below_what_the_engine_gives() -> None:
    s = solve(model(), model().data.condition(), set_by="mgt", target=np.array([500.0]))
    assert not s.solved[0] and s.status[0] != Status.SURGE


def test_rescue_finds_what_newton_finds() -> None:
    power = np.linspace(50e3, 1300e3, 9)
    condition = model().data.condition()
    s = solve(model(), condition, set_by="power", target=power)
    x, status, _ = rescue(Cases(model(), condition, ConditionFactors(), "power", power))
    assert np.all(status == s.status)
    assert x == pytest.approx(s.x, abs=1e-9)


def test_arrays_of_different_shape_are_refused() -> None:
    with pytest.raises(InputError, match="different shape"):
        solve(model(), model().data.condition(temperature=np.ones(3) * 290.0), set_by="ng", target=np.ones(4))


@pytest.mark.parametrize(
    ("field", "value", "word"),
    [
        ("temperature", 15.0, "200 to 400 K"),
        ("pressure", -1.0, "pressure"),
        ("temperature", np.nan, "not finite"),
    ],
)
def test_impossible_conditions_are_refused(field: str, value: float, word: str) -> None:
    with pytest.raises((InputError, RangeError), match=word):
        solve(model(), model().data.condition(**{field: value}), set_by="power", target=500e3)


def test_an_unknown_setting_is_refused() -> None:
    with pytest.raises(InputError, match="unknown setting"):
        solve(model(), model().data.condition(), set_by="thrust", target=1.0)  # type: ignore[arg-type]


def test_mapping_and_back() -> None:
    engine = made()[0]
    assert engine_from_mapping(engine_to_mapping(engine)) == engine


def test_a_faulty_mapping_tells_every_mistake() -> None:
    mapping = engine_to_mapping(made()[0])
    del mapping["shafts"]["gear_ratio"]
    mapping["compressor"]["efficiency"] = "good"
    mapping["ducts"]["volume"] = 1.0
    with pytest.raises(InputError) as caught:
        engine_from_mapping(mapping)
    for word in ("shafts.gear_ratio: missing", "compressor.efficiency: expected", "ducts.volume: unknown"):
        assert word in str(caught.value)
