"""Every kind of mistake in a type file is told, with its line and how to mend it, and all of them at once."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

from spoolwright.errors import Problem, TypeFileError
from spoolwright.sources.typefile import load_type, shipped_type

CORRIE = shipped_type().read_text(encoding="utf-8")
TABLE = Path(__file__).with_name("typefile_mistakes.toml")


@dataclass(frozen=True)
class Plant:
    """A mistake to plant; see the head of typefile_mistakes.toml."""

    name: str
    place: str
    old: str
    new: str
    told: str
    mend: str = ""
    head: bool = False


PLANTS = [
    Plant(**{**fields, "name": f"{group}: {fields['name']}"})
    for group, rows in tomllib.loads(TABLE.read_text(encoding="utf-8")).items()
    for fields in rows
]


def start_of(text: str, place: str) -> int:
    """Where a place begins: a heading, or the heading of the element with an id."""
    if place.startswith("["):
        return text.index(place)
    table, _, name = place.partition(" ")
    found = re.search(rf'\[\[{re.escape(table)}\]\][^\n]*\n(id|quantity) = "{re.escape(name)}"', text)
    assert found, f"no {place} in the shipped file"
    return found.start()


def planted(text: str, plant: Plant, tag: str) -> str:
    """The text with the mistake in it, and the tag as a comment on the line that must be told."""
    start = start_of(text, plant.place)
    at = text.index(plant.old, start)
    text = text[:at] + plant.new + text[at + len(plant.old) :]
    end = text.index("\n", start if plant.head else at)
    return f"{text[:end]}  # {tag}{text[end:]}"


def line_of(text: str, tag: str) -> int:
    return text[: text.index(tag)].count("\n") + 1


def problems(text: str, tmp_path: Path) -> list[Problem]:
    path = tmp_path / "type.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TypeFileError) as caught:
        load_type(path)
    return caught.value.problems


def answers(p: Problem, plant: Plant, line: int) -> bool:
    return p.line == line and plant.told in p.what and plant.mend in p.mend


@pytest.mark.parametrize("plant", PLANTS, ids=lambda p: p.name)
def test_a_planted_mistake_is_told_where_it_stands(plant: Plant, tmp_path: Path) -> None:
    text = planted(CORRIE, plant, "@here@")
    found = problems(text, tmp_path)
    line = line_of(text, "@here@")
    assert [p for p in found if answers(p, plant, line)], "\n".join(map(str, found))
    assert all(p.mend and p.file == "type.toml" and p.line for p in found)


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    text, tags, touched = CORRIE, {}, set()
    for i, plant in enumerate(PLANTS):
        if plant.place in touched or plant.name.startswith("model:"):
            continue  # one mistake to a place, so that each keeps its own words; [model] see the next test
        touched.add(plant.place)
        tags[f"@{i}@"] = plant
        text = planted(text, plant, f"@{i}@")
    found = problems(text, tmp_path)
    missed = [p.name for tag, p in tags.items() if not any(answers(f, p, line_of(text, tag)) for f in found)]
    assert missed == []
    assert len(tags) >= 60
    assert [p.line or 0 for p in found] == sorted(p.line or 0 for p in found)


def test_several_mistakes_in_one_table_are_told_together(tmp_path: Path) -> None:
    names = [p for p in PLANTS if p.place == "limit oil_pressure_min" and "value and" not in p.name]
    text = CORRIE
    for i, plant in enumerate(names):
        text = planted(text, plant, f"@{i}@")
    found = problems(text, tmp_path)
    for i, plant in enumerate(names):
        if "x_unit" not in plant.old and plant.old != 'of = "ng"':
            assert any(answers(f, plant, line_of(text, f"@{i}@")) for f in found), plant.name
    assert len(names) >= 4


def test_model_mistakes_are_told_beside_others(tmp_path: Path) -> None:
    text = CORRIE.replace("noise = 6.0", "nose = 6.0")
    for i, plant in enumerate(
        p for p in PLANTS if p.name in ("model: unknown parameter", "model: bad parameter")
    ):
        text = planted(text, plant, f"@{i}@")
    told = " ".join(p.what for p in problems(text, tmp_path))
    assert "'idle_sped'" in told and "finite number" in told and "'nose'" in told


def test_a_misspelt_key_is_told_once_not_as_missing_too(tmp_path: Path) -> None:
    found = problems(CORRIE.replace("noise = 6.0", "nose = 6.0"), tmp_path)
    assert len(found) == 1


def test_a_rating_with_limits_must_be_in_the_schedule(tmp_path: Path) -> None:
    start = CORRIE.index('id = "intermediate"\nname = "Intermediate"\nkind = "hold"')
    text = CORRIE[:start] + CORRIE[start:].replace('rating = "intermediate"\n', "", 1)
    found = [p for p in problems(text, tmp_path) if "holds no point of rating 'intermediate'" in p.what]
    assert {p.where.partition(".")[2] for p in found} == {"sets"}
    assert len(found) == CORRIE.count('regime = "rating"\nrating = "intermediate"')


@pytest.mark.parametrize(
    ("role", "told"),
    [
        ("relative_humidity", "humidity channel"),
        ("measured_gas_temperature", "'start_peak_mgt' needs a channel of role 'measured_gas_temperature'"),
        ("power_turbine_speed", "'governing_droop' needs a channel of role 'power_turbine_speed'"),
        ("gas_generator_speed", "kind 'start' needs a channel of role 'gas_generator_speed'"),
        (
            "dynamometer_torque",
            "'torque_conformation_difference' needs a channel of role 'dynamometer_torque'",
        ),
    ],
)
def test_a_role_that_something_needs_is_missed(role: str, told: str, tmp_path: Path) -> None:
    found = problems(CORRIE.replace(f'role = "{role}"', 'role = "other"'), tmp_path)
    assert any(told in p.what for p in found)


def test_another_role_can_stand_for_a_missing_one(tmp_path: Path) -> None:
    """Without a mass flow meter, volume flow and fuel temperature give the mass flow."""
    text = CORRIE.replace('role = "fuel_mass_flow"', 'role = "other"')
    path = tmp_path / "type.toml"
    path.write_text(text, encoding="utf-8")
    assert load_type(path).type_file.type.id == "corrie_940"


def test_limits_in_windows_that_do_not_meet_do_not_contradict(tmp_path: Path) -> None:
    """A least pressure with warm oil and a lower greatest one with cold oil hold, but never together."""
    cold = 'value = 300\nvalid_when = [{ channel = "t_oil", max = 60, unit = "degC" }]'
    path = tmp_path / "type.toml"
    path.write_text(CORRIE.replace("value = 520", cold), encoding="utf-8")
    assert load_type(path).type_file.limit
    overlapping = CORRIE.replace("value = 520", cold.replace("60", "80"))
    assert any("contradicts" in p.what for p in problems(overlapping, tmp_path))


@pytest.mark.parametrize("figure", ["power = { value = 940,", "measured_gas_temperature = { value = 828,"])
def test_a_data_sheet_no_engine_can_meet_is_told(figure: str, tmp_path: Path) -> None:
    """Far less fuel for the same power needs component efficiencies above what turbomachinery reaches."""
    start = CORRIE.index('[[rating]]\nid = "take_off"')
    part = CORRIE[start : start + 900]
    wrong = part.replace("value = 0.285", "value = 0.215").replace("value = 276.5", "value = 208.5")
    assert wrong != part and figure in part
    found = problems(CORRIE.replace(part, wrong), tmp_path)
    assert any(p.where == "data_sheet" for p in found), "\n".join(map(str, found))


@pytest.mark.parametrize(
    ("parameters", "told"),
    [
        ("[model.secondary]\nnozzle_cooling = 0.05\n", "misses the data sheet"),
        ("[model.shafts]\ngear_ratio = 2.0\n", "misses the data sheet: output speed"),
        ("[model.compressor]\nefficiency = 83.0\n", "an efficiency of 83"),
        ("[model.vanes.schedule]\nx = [1.0]\ny = [2.0]\n", "vane schedule"),
        ("[model.reference]\ntemperature = 1e200\n", "nothing of it can be computed"),
    ],
)
def test_given_parameters_must_not_spoil_the_model(parameters: str, told: str, tmp_path: Path) -> None:
    """The energy balance of the reference point is the judge: cooling air taken twice costs fuel."""
    found = problems(f"{CORRIE}\n{parameters}", tmp_path)
    assert len(found) == 1 and told in found[0].what and "model" in found[0].where


def test_a_given_parameter_that_spoils_nothing_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "type.toml"
    path.write_text(f"{CORRIE}\n[model.shafts]\ngas_generator_inertia = 0.02\n", encoding="utf-8")
    loaded = load_type(path)
    assert loaded.engine.shafts.gas_generator_inertia == 0.02
    assert "shafts.gas_generator_inertia" not in {f.path for f in loaded.filled}
