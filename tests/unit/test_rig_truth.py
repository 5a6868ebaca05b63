"""The truth engine: it departs from the type's model in shape, yet plausibly, and faults act as physics says.

Where a number is expected it follows from an energy balance in closed form; signs and ratios of faults are
those of the published signatures named in `module_faults`.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from spoolwright.core.cycle.condition import HEALTHY
from spoolwright.core.cycle.model import EngineModel
from spoolwright.core.cycle.solve import solve
from spoolwright.errors import InputError
from spoolwright.rig.distortion import NONE, SHAPES, Distortion, distorted, shape
from spoolwright.rig.module_faults import MODULE_FAULTS, SCATTER, with_faults
from spoolwright.rig.truth import reference_condition, stacked, standard_day, truth_engine
from spoolwright.sources.typefile import LoadedType, load_type, shipped_type

TAKE_OFF = "take_off"


@pytest.fixture(scope="module")
def loaded() -> LoadedType:
    return load_type(shipped_type())


@pytest.fixture(scope="module")
def nominal(loaded: LoadedType) -> EngineModel:
    return EngineModel(loaded.engine)


def test_no_distortion_is_the_type_itself(loaded: LoadedType) -> None:
    same = distorted(loaded.engine, NONE)
    m, n = same.compressor.map, loaded.engine.compressor.map
    np.testing.assert_allclose(m.flow, n.flow, rtol=1e-12)
    np.testing.assert_allclose(m.efficiency, n.efficiency, rtol=1e-12)
    assert same.shafts == loaded.engine.shafts and same.ducts == loaded.engine.ducts


@pytest.mark.parametrize("name", [f.name for f in fields(Distortion)])
def test_every_bend_changes_the_engine_data(loaded: LoadedType, name: str) -> None:
    assert distorted(loaded.engine, replace(NONE, **{name: getattr(Distortion(), name)})) != loaded.engine


@pytest.mark.parametrize("number", range(SHAPES))
def test_maps_differ_but_meet_at_the_reference(loaded: LoadedType, nominal: EngineModel, number: int) -> None:
    bent = EngineModel(distorted(loaded.engine, shape(number)))
    for at in (nominal, bent):
        np.testing.assert_allclose(np.exp(at.compressor_map(1.0, 0.0)), 1.0, atol=2e-4)
    places = [(n, b) for n in (0.75, 0.85, 0.95, 1.05) for b in (-0.5, 0.3)]
    off = [np.exp(bent.compressor_map(*p)) / np.exp(nominal.compressor_map(*p)) - 1.0 for p in places]
    largest = np.abs(off).max(axis=0)  # flow, pressure rise, efficiency
    assert np.all(largest > 5e-4) and np.all(largest < 0.06)


@pytest.mark.parametrize("number", range(SHAPES))
def test_average_build_stands_near_the_type(loaded: LoadedType, nominal: EngineModel, number: int) -> None:
    """Within 2 % of the type's model at every rating of power, 8 % at idle, yet not the same."""
    mine = truth_engine(loaded.type_file, loaded.engine, number, scatter=False)
    truth = standard_day(loaded.type_file, mine.model, mine.factors)
    model = standard_day(loaded.type_file, nominal, HEALTHY)
    for rating, values in truth.items():
        for quantity, value in values.items():
            off = abs(float(value[0] / model[rating][quantity][0]) - 1.0)
            assert off < (0.08 if rating == "idle" else 0.02), (rating, quantity)
    shifts = [
        truth[r]["power_at_rated_mgt"][0] / model[r]["power_at_rated_mgt"][0]
        for r in (TAKE_OFF, "oei_2min30")
    ]
    assert abs(shifts[0] - shifts[1]) > 1e-5


def test_shapes_differ_from_the_type_with_weather(loaded: LoadedType, nominal: EngineModel) -> None:
    """The correction from -10 to +15 degC is another one for every shape than for the type's model."""
    rating = next(r for r in loaded.type_file.rating if r.id == TAKE_OFF)
    cold = [
        solve(
            m,
            replace(reference_condition(loaded.type_file, m.data, rating), temperature=t),
            set_by="mgt",
            target=1101.15,
        )
        for m in (nominal, *(truth_engine(loaded.type_file, loaded.engine, k).model for k in range(SHAPES)))
        for t in (263.15, 288.15)
    ]
    ratio = np.array([a.power / b.power for a, b in zip(cold[::2], cold[1::2], strict=True)])
    off = np.abs(ratio[1:] / ratio[0] - 1.0)
    assert np.all(off > 1e-4) and np.all(off < 0.015)


def test_build_scatter_has_the_documented_size(loaded: LoadedType) -> None:
    engines = [truth_engine(loaded.type_file, loaded.engine, s) for s in range(0, 3000 * SHAPES, SHAPES)]
    factors = stacked([e.factors for e in engines])
    for name, sigma in SCATTER.items():
        values = getattr(factors, name)
        assert values.std() == pytest.approx(sigma, rel=4 / np.sqrt(6000))
        assert abs(values.mean() - 1.0) < 4 * sigma / np.sqrt(3000)
    assert factors.leak.min() >= 0.0


def test_the_same_seed_is_the_same_engine(loaded: LoadedType) -> None:
    one, same, other = (truth_engine(loaded.type_file, loaded.engine, s) for s in (7, 7, 13))
    assert one.factors == same.factors and one.model is same.model
    assert one.factors != other.factors


def at_take_off(loaded: LoadedType, faults: dict[str, float]) -> dict[str, float]:
    engine = truth_engine(loaded.type_file, loaded.engine, 4, faults, scatter=False)
    values = standard_day(loaded.type_file, engine.model, engine.factors)[TAKE_OFF]
    return {k: float(v[0]) for k, v in values.items()}


def test_gear_loss_costs_what_it_says(loaded: LoadedType) -> None:
    """At constant MGT the gas path does not notice the gear: 1 % of power lost is 1 % less output."""
    healthy, faulty = at_take_off(loaded, {}), at_take_off(loaded, {"gear_loss": 1.0})
    lost = (healthy["power_at_rated_mgt"] - faulty["power_at_rated_mgt"]) / loaded.engine.reference.power
    assert lost == pytest.approx(0.01, rel=0.02)
    assert faulty["ng_at_rated_mgt"] == pytest.approx(healthy["ng_at_rated_mgt"], rel=1e-9)


def test_power_turbine_efficiency_costs_its_share_of_turbine_power(loaded: LoadedType) -> None:
    """At constant MGT the gas generator does not notice the power turbine: power falls with it."""
    engine = truth_engine(loaded.type_file, loaded.engine, 4, scatter=False)
    shafts, healthy = engine.model.data.shafts, at_take_off(loaded, {})
    faulty = at_take_off(loaded, {"power_turbine_efficiency": 2.0})
    turbine = (
        healthy["power_at_rated_mgt"] + shafts.gear_drag
    )  # before the drag, behind the proportional loss
    lost = healthy["power_at_rated_mgt"] - faulty["power_at_rated_mgt"]
    # the turbine's exit runs a little hotter, which changes the exhaust loss: a few per cent of the effect
    assert lost == pytest.approx(0.02 * turbine, rel=0.04)


@pytest.mark.parametrize(
    ("fault", "size", "ng_at_power"),
    [
        ("compressor_fouling", 2.0, +1),  # dirty compressor: speed up at the same power
        ("turbine_tip_clearance", 2.0, -1),  # hot section: speed down
        ("turbine_erosion", 2.0, -1),
        ("bleed_leak", 1.5, +1),
        ("power_turbine_efficiency", 2.0, +1),
        ("exhaust_back_pressure", 1.5, +1),
    ],
)
def test_faults_move_speed_and_temperature_as_published(
    loaded: LoadedType, fault: str, size: float, ng_at_power: int
) -> None:
    """Directions of Army TM 55-2840-251-23 p. 1-94 (compressor up, hot section down) and of mass balance."""
    healthy, faulty = at_take_off(loaded, {}), at_take_off(loaded, {fault: size})
    assert faulty["power_at_rated_mgt"] < healthy["power_at_rated_mgt"]
    assert faulty["mgt_at_rated_power"] > healthy["mgt_at_rated_power"] + 1.0
    assert faulty["sfc_at_rated_power"] > healthy["sfc_at_rated_power"]
    assert np.sign(faulty["ng_at_rated_power"] - healthy["ng_at_rated_power"]) == ng_at_power


@pytest.mark.parametrize("name", MODULE_FAULTS)
def test_a_fault_changes_what_it_names_and_nothing_without_size(loaded: LoadedType, name: str) -> None:
    assert with_faults(HEALTHY, {name: 0.0}, loaded.engine) == HEALTHY
    assert with_faults(HEALTHY, {name: 1.0}, loaded.engine) != HEALTHY


def test_an_unknown_fault_is_refused(loaded: LoadedType) -> None:
    with pytest.raises(InputError, match="compressor_fouling"):
        truth_engine(loaded.type_file, loaded.engine, 1, {"gremlins": 1.0})
