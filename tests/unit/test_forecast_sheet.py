"""Build sheets, histories and the command: what the how-to page shows, and nonsense told in a sentence."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from command_line import called
from spoolwright import bootstrap
from spoolwright.core.diagnosis.forecast.build import FACTORS
from spoolwright.crafts.testcell.forecast.case import data_sheet_basis
from spoolwright.crafts.testcell.forecast.found import found_of
from spoolwright.crafts.testcell.forecast.model import Forecast
from spoolwright.crafts.testcell.forecast.received import SERVED, received_by_readings
from spoolwright.crafts.testcell.performance.basis import reduction_basis
from spoolwright.errors import BuildHistoryError, BuildSheetError, CostTableError, InputError
from spoolwright.reports.forecast_html import forecast_html
from spoolwright.reports.forecast_view import eaten_rows, limit_rows, option_rows
from spoolwright.reports.jsonfile import record_schema, schema_text
from spoolwright.sources.build_history import read_build_history, read_rules
from spoolwright.sources.build_sheet import read_build_sheet, read_condition, read_cost_table
from spoolwright.sources.typefile import load_type, shipped_type

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to/forecast-a-run.md").read_text(encoding="utf-8")
SHEET, RECEIVED, COSTS, HISTORY = re.findall(r"```toml\n(.*?)```", PAGE, flags=re.S)
LOADED = load_type(shipped_type())
KNOWN = LOADED.type_file
BASIS = data_sheet_basis(reduction_basis(KNOWN, LOADED.engine))
LEAST = """
format = 1
limit_set = "overhauled"
cell = "cell_2"
prepared_on = 2026-05-11
engine = { serial = "H4417" }
stages = { compressor = 3, gas_generator_turbine = 2, power_turbine = 2 }
"""


@pytest.fixture
def files(tmp_path):
    (tmp_path / "a.build.toml").write_text(SHEET)
    (tmp_path / "costs.toml").write_text(COSTS)
    return tmp_path


@pytest.fixture(scope="module")
def forecast(tmp_path_factory) -> Forecast:
    folder = tmp_path_factory.mktemp("forecast")
    (folder / "a.build.toml").write_text(SHEET)
    (folder / "costs.toml").write_text(COSTS)
    return bootstrap.forecast(folder / "a.build.toml", shipped_type(), costs=folder / "costs.toml", draws=256)


def problems(tmp_path, text: str) -> str:
    (tmp_path / "b.toml").write_text(text)
    with pytest.raises(BuildSheetError) as told:
        read_build_sheet(tmp_path / "b.toml", KNOWN)
    return str(told.value)


def test_the_pages_sheet_is_read_as_it_stands(files):
    sheet, sha256 = read_build_sheet(files / "a.build.toml", KNOWN)
    assert (sheet.engine.serial, len(sheet.clearance), len(sha256)) == ("H4417", 2, 64)
    found = {f.finding.name: f for f in found_of(sheet, BASIS.model)}
    gap = found["clearance_gas_generator_turbine_1"]
    assert gap.finding.excess == pytest.approx(100.0 * (0.28 - 0.25) / 22.4)
    assert gap.finding.uncertainty == pytest.approx(100.0 * 0.015 / 22.4)
    assert (gap.as_built, gap.nominal, gap.finding.share) == ("0.28 mm", "0.25 mm", 0.5)
    assert found["clearance_compressor_3"].finding.excess == pytest.approx(0.2)
    assert found["clearance_compressor_3"].finding.share == 0.6
    assert found["nozzle_power_turbine"].finding.excess == pytest.approx(100.0 * (119.1 / 119.6 - 1.0))
    assert found["blend_1"].finding.excess == pytest.approx(100.0 * 168 / 21500)
    assert found["seal_compressor_rear"].finding.excess == pytest.approx(100.0 * (0.17 / 0.15 - 1.0))
    assert found["vanes"].finding.excess == 0.6
    assert found["accessory_drag"].finding.excess == pytest.approx(100.0 * (6.2 / 6.0 - 1.0))


@pytest.mark.parametrize(
    ("extra", "told"),
    [
        ('[[clearance]]\nmodule = "gas_generator_turbine"\nstage = 3\ngap = { value = 1, unit = "%" }\n'
         'nominal_gap = { value = 1, unit = "%" }\nstandard_uncertainty = { value = 0.1, unit = "%" }\n',
         "has 2 stage(s), not 3"),
        ('[[clearance]]\nmodule = "compressor"\nstage = 1\ngap = { value = 1, unit = "mm" }\n'
         'nominal_gap = { value = 1, unit = "%" }\nstandard_uncertainty = { value = 0.1, unit = "mm" }\n',
         "not all lengths or all fractions"),
        ('[[clearance]]\nmodule = "compressor"\nstage = 1\ngap = { value = 1.0, unit = "mm" }\n'
         'nominal_gap = { value = 1.0, unit = "mm" }\nstandard_uncertainty = { value = 0.1, unit = "mm" }\n',
         "'span' is missing"),
        ('[[nozzle]]\nmodule = "compressor"\narea = { value = 1.0, unit = "cm2" }\n'
         'nominal_area = { value = 1.0, unit = "cm2" }\n'
         'standard_uncertainty = { value = 0.1, unit = "cm2" }\n',
         "compressor"),
        ('[[nozzle]]\nmodule = "power_turbine"\narea = { value = 118.0, unit = "mm" }\n'
         'nominal_area = { value = 0.0, unit = "cm2" }\n'
         'standard_uncertainty = { value = -1.0, unit = "cm2" }\n',
         "'mm' is a unit of length"),
        ('[surface]\nstate = "dirty"\n', "dirty"),
        ('[[blend]]\nstage = 1\nblended_area = { value = 9.0, unit = "mm2" }\n', "'row_area' is missing"),
        ('[as_received]\nkept = ["gearbox"]\n', "'gearbox' is not in the type file"),
        ('[vanes]\noffset = { value = 1.0, unit = "deg" }\n'
         'standard_uncertainty = { value = 1.0, unit = "degC" }\n',
         "unit of temperature"),
        ("[leak]\n", "'leak' is not known here"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_line(tmp_path, extra, told):
    text = problems(tmp_path, LEAST + extra)
    assert told in text
    assert re.search(r"b\.toml:\d+ ", text)


def test_every_mistake_is_told_at_once(tmp_path):
    text = problems(
        tmp_path,
        LEAST.replace("overhauled", "overhaul").replace("cell_2", "cell_9")
        + '[[nozzle]]\nmodule = "power_turbine"\narea = { value = 0.0, unit = "cm2" }\n'
        'nominal_area = { value = -1.0, unit = "cm2" }\n'
        'standard_uncertainty = { value = 0.1, unit = "kW" }\n',
    )
    for part in ("5 mistake(s)", "overhauled", "cell_9", "area is zero", "nominal_area is negative", "power"):
        assert part in text


def test_the_same_part_twice_is_a_mistake(tmp_path):
    again = SHEET[SHEET.index("[[blend]]") : SHEET.index("[[roughness]]")]
    assert "was entered already" in problems(tmp_path, SHEET + again)


def test_costs_are_read_and_their_mistakes_told(tmp_path):
    (tmp_path / "c.toml").write_text(COSTS)
    assert read_cost_table(tmp_path / "c.toml").currency == "EUR"
    (tmp_path / "c.toml").write_text(COSTS.replace("hours = 26", "hours = -26"))
    with pytest.raises(CostTableError, match=r"c\.toml:\d+"):
        read_cost_table(tmp_path / "c.toml")


def test_the_forecast_answers_first_and_adds_up(forecast):
    least = min(forecast.limits, key=lambda x: x.passing)
    assert forecast.governing == least.limit
    assert forecast.passing_all <= least.passing + 4.0 * forecast.passing_error
    assert sum(d.share for d in forecast.doubts) == pytest.approx(1.0)
    assert forecast.demonstration
    for x in forecast.limits:
        assert x.margin.low.value < x.margin.mean.value < x.margin.high.value
        assert x.margin.mean.how in forecast.derivations
    assert {e.finding for e in forecast.eaten} == {f.name for f in forecast.findings}
    at = [x.limit for x in forecast.limits].index(forecast.governing)
    taken = [e.effects[at].change.mean.value for e in forecast.eaten]
    assert taken == sorted(taken)


def test_costs_stand_beside_the_changes(forecast):
    hours = {o.id: o.hours for o in forecast.options}
    assert hours["restore_clearance_gas_generator_turbine_1"] == 26
    assert hours["nozzle_power_turbine_D"] == 12
    assert hours["restore_surface"] == 3
    assert hours["restore_vanes"] is None
    both = next(o for o in forecast.options if set(o.findings) == {"nozzle_power_turbine", "surface"})
    assert both.hours == 15


def test_the_result_follows_its_published_schema(forecast):
    import jsonschema

    published = (ROOT / "docs/reference/forecast.schema.json").read_text(encoding="utf-8")
    assert published == schema_text(record_schema(Forecast, "Forecast of an engine's test run"))
    jsonschema.validate(json.loads(forecast.model_dump_json()), json.loads(published))
    assert Forecast.model_validate_json(forecast.model_dump_json()) == forecast


def test_page_and_rows_tell_the_same_figures(forecast):
    page = forecast_html(forecast)
    assert forecast.answer in page.replace("&#39;", "'")
    for row in (*limit_rows(forecast), *option_rows(forecast)):
        assert row.passing in page
    for row in eaten_rows(forecast):
        assert row.title in page
    assert "Demonstration data, not approved." in page
    assert 'id="how-d1"' in page


def test_what_comes_from_the_sheet_cannot_write_into_the_page(files):
    text = SHEET.replace('serial = "H4417"', 'serial = "<script>x</script>"')
    (files / "a.build.toml").write_text(text)
    page = forecast_html(bootstrap.forecast(files / "a.build.toml", shipped_type(), draws=64))
    assert "<script>x" not in page and "&lt;script&gt;x" in page


def test_far_outside_a_rule_nothing_is_told(files):
    (files / "a.build.toml").write_text(SHEET.replace("value = 0.28, unit", "value = 3.28, unit"))
    answer = called("forecast", files / "a.build.toml", "--type", shipped_type())
    assert answer.code == 11
    assert "cannot be told" in answer.out and "measure it again" in " ".join(answer.out.split())


def test_the_command_writes_what_is_asked_for(files):
    out = [files / f"f.{k}" for k in ("json", "html", "pdf")]
    options = [w for p in out for w in (f"--{p.suffix[1:]}", p)]
    answer = called("forecast", files / "a.build.toml", "--type", shipped_type(), *options)
    told = Forecast.model_validate_json(out[0].read_text())
    assert answer.code == {"likely": 0, "uncertain": 12, "unlikely": 10}[told.outcome]
    assert out[2].read_bytes().startswith(b"%PDF")
    assert "What eats the margin" in answer.out and "Demonstration data" in answer.out


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["none.toml"], 4, "cannot be read"),
        (["costs.toml"], 4, "mistake(s) in the build sheet"),
        (["a.build.toml", "--rules", "costs.toml"], 4, "not a rules file"),
        (["a.build.toml", "--costs", "a.build.toml"], 4, "mistake(s) in the cost table"),
        (["a.build.toml", "--json", "a.build.toml"], 6, "overwrite an input"),
        (["a.build.toml", "--guard-band", "-1"], 2, "guard-band"),
    ],
)
def test_nonsense_is_told_in_a_sentence(files, monkeypatch, words, code, told):
    monkeypatch.chdir(files)
    answer = called("forecast", *words, "--type", shipped_type())
    assert answer.code == code
    assert told in answer.err and "Traceback" not in answer.err


# as received


def received(tmp_path, value: float):
    (tmp_path / "r.toml").write_text(LEAST + RECEIVED.replace("value = 931", f"value = {value}"))
    sheet, _ = read_build_sheet(tmp_path / "r.toml", KNOWN)
    return received_by_readings(sheet, BASIS)


def test_a_weak_engine_on_arrival_makes_its_kept_modules_suspect(tmp_path):
    weak, strong = received(tmp_path, 900.0), received(tmp_path, 990.0)
    at = weak.factors.index("power_turbine_efficiency")
    assert weak.mean[at] < 0.0 < strong.mean[at]
    prior = SERVED * BASIS.scatter["power_turbine_efficiency"]
    assert np.sqrt(weak.covariance[at, at]) < prior
    assert set(weak.factors) == {
        f for m in KNOWN.module if m.id in ("power_turbine", "reduction_gearbox") for f in m.factors
    } & set(FACTORS)


def test_a_condition_from_a_file_is_read_and_nonsense_refused(tmp_path):
    path = tmp_path / "c.json"
    good = {"factors": ["gear_loss"], "mean": [0.1], "covariance": [[0.01]]}
    path.write_text(json.dumps({"condition": good}))
    assert read_condition(path).factors == ("gear_loss",)
    for bad in ([], {**good, "mean": [1, 2]}, {**good, "factors": ["x"]}, {**good, "covariance": [[-1]]}):
        path.write_text(json.dumps(bad))
        with pytest.raises(InputError, match="no module condition"):
            read_condition(path)


# learning


def history(tmp_path, text: str):
    (tmp_path / "H4418.build.toml").write_text(SHEET.replace("H4417", "H4418"))
    (tmp_path / "history.toml").write_text(text)
    return tmp_path / "history.toml"


ONE = HISTORY.replace(HISTORY[HISTORY.index("[[build]]") : HISTORY.rindex("[[build]]\n")], "")


def test_learning_by_command_shows_before_and_after_and_goes_on(tmp_path):
    file, rules = history(tmp_path, ONE), tmp_path / "rules.json"
    answer = called("forecast-learn", file, "--type", shipped_type(), "--out", rules)
    assert answer.code == 0, answer.err
    assert "before (90 %)" in answer.out and "Learnt from 1 build" in answer.out
    book, names = read_rules(rules)
    assert (book.builds, book.type_id, names) == (1, "corrie_940", ["H4418 V-2031"])
    again = called(
        "forecast-learn", file, "--type", shipped_type(), "--rules", rules, "--out", tmp_path / "b.json"
    )
    assert again.code == 4 and "learnt from build H4418 V-2031 before" in " ".join(again.err.split())
    (tmp_path / "a.build.toml").write_text(SHEET)
    with_rules = bootstrap.forecast(tmp_path / "a.build.toml", shipped_type(), rules=rules, draws=64)
    assert "1 build(s) of this shop" in with_rules.rules_basis


def test_rules_of_another_type_are_refused(tmp_path):
    rules = tmp_path / "rules.json"
    assert called("forecast-learn", history(tmp_path, ONE), "--type", shipped_type(), "-o", rules).code == 0
    rules.write_text(rules.read_text().replace('"corrie_940"', '"other_type"'))
    (tmp_path / "a.build.toml").write_text(SHEET)
    answer = called("forecast", tmp_path / "a.build.toml", "--type", shipped_type(), "--rules", rules)
    assert answer.code == 4 and "'other_type'" in answer.err


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('unit = "kW"\nstandard', 'unit = "degC"\nstandard', "unit of temperature"),
        ('sheet = "H4418.build.toml"', 'sheet = "none.toml"', "there is no file 'none.toml'"),
        ('cell = "cell_2"', 'cell = "cell_7"', "'cell_7' is not in the type file"),
        ("[[build.reading]]", "[[build.readings]]", "reading"),
    ],
)
def test_mistakes_of_a_history_are_told(tmp_path, old, new, told):
    assert old in ONE
    with pytest.raises(BuildHistoryError) as error:
        read_build_history(history(tmp_path, ONE.replace(old, new)), KNOWN)
    assert told in str(error.value)


def test_a_build_twice_is_refused(tmp_path):
    twice = ONE + ONE[ONE.index("[[build]]") :]
    answer = called(
        "forecast-learn", history(tmp_path, twice), "--type", shipped_type(), "-o", tmp_path / "r.json"
    )
    assert answer.code == 4 and "twice" in answer.err
    assert not (tmp_path / "r.json").exists()
