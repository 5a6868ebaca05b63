"""Sister engines against tables made by hand: the expected lists are read off the table by eye."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from spoolwright import bootstrap
from spoolwright.cli.main import app
from spoolwright.core.diagnosis.causes import Cause
from spoolwright.crafts.testcell.diagnosis.sisters import columns_for, sisters_of
from spoolwright.errors import InputError, ShopHistoryError
from spoolwright.sources.shop_history import read_shop_history

TABLE = """\
engine,visit,released_on,measured_on,compressor_lot,power_turbine_lot,gauge,gauge_calibrated_on,balancer,cell,cell_calibrated_on,assembler
H1,1,2026-01-20,2026-01-15,L-1,P-1,G-12,2025-12-01,B1,bench_1,2025-11-01,ka
H2,1,2026-02-20,2026-02-15,L-2,P-1,G-12,2026-02-01,B1,bench_1,2025-11-01,ka
H3,1,2026-03-20,2026-03-15,L-2,P-2,G-12; G-13,2026-02-01; 2026-01-01,B2,bench_1,2026-03-01,lo
H4,1,2026-04-20,2026-04-15,L-1,P-2,G-12,2026-04-01,B1,bench_1,2026-03-01,lo
H5,1,2026-03-05,,L-3,P-3,G-12,,B1,bench_2,,lo
H6,1,,2026-04-20,L-2,P-1,,,B1,bench_1,2026-03-01,
H3,0,2024-01-10,2024-01-05,L-2,P-2,G-12,2023-12-01,B2,bench_1,2023-11-01,lo
"""


def table(folder: Path, text: str = TABLE) -> Path:
    path = folder / "history.csv"
    path.write_text(text, encoding="utf-8")
    return path


def found(folder: Path, *shares: str, engine: str = "H3", visit: str | None = None) -> list[str]:
    result = bootstrap.sisters(table(folder), engine, visit=visit, shares=shares)
    return [s.engine for s in result.sisters]


def test_a_lot_is_shared_by_those_that_have_it_newest_first(tmp_path: Path) -> None:
    assert found(tmp_path, "compressor_lot") == ["H6", "H2"]
    assert found(tmp_path, "compressor_lot=L-1") == ["H4", "H1"]


def test_a_gauge_is_shared_between_its_calibrations_alone(tmp_path: Path) -> None:
    """H1 was measured before the calibration of 1 February, H4 after that of 1 April; H5 has no day."""
    assert found(tmp_path, "gauge") == ["H5", "H2"]
    assert found(tmp_path, "gauge=G-12", engine="H4") == []
    assert found(tmp_path, "gauge", engine="H1") == ["H5"]


def test_a_gauge_found_wrong_now_reaches_back_to_its_last_good_calibration(tmp_path: Path) -> None:
    rows = [
        "engine,visit,released_on,measured_on,gauge,gauge_calibrated_on",
        "A,1,2026-02-02,2026-01-31,G,2025-12-01",
        "B,1,2026-02-10,2026-02-01,G,2025-12-01",  # measured on the day of calibration: cannot be ruled out
        "C,1,2026-02-20,2026-02-12,G,2026-02-01",
        "D,1,2026-05-20,2026-05-12,G,2026-02-01",
        "E,1,,2026-06-01,G,2026-02-01",
    ]
    result = bootstrap.sisters(table(tmp_path, "\n".join(rows)), "E", shares=["gauge=G"])
    assert [s.engine for s in result.sisters] == ["D", "C", "B"]
    assert all("2026-02-01" in s.shares[0] for s in result.sisters)


def test_an_engine_without_a_day_of_use_is_ruled_out_only_by_its_release(tmp_path: Path) -> None:
    rows = [
        "engine,visit,released_on,gauge,gauge_calibrated_on",
        "A,1,2026-01-20,G,",  # released before the calibration of 1 February
        "B,1,2026-02-10,G,",
        "C,1,2026-05-20,G,2026-02-01",
    ]
    result = bootstrap.sisters(table(tmp_path, "\n".join(rows)), "C", shares=["gauge"])
    assert [s.engine for s in result.sisters] == ["B"]
    assert "not recorded" in result.sisters[0].shares[0]


def test_a_gauge_that_is_never_calibrated_is_shared_by_all_that_used_it(tmp_path: Path) -> None:
    rows = ["engine;visit;released_on;balancer", "A;1;2020-01-01;B1", "C;1;2026-05-20;B1"]
    result = bootstrap.sisters(table(tmp_path, "\n".join(rows)), "C", shares=["balancer"])
    assert [(s.engine, s.released_on, s.shares) for s in result.sisters] == [
        ("A", "2020-01-01", ("balancer B1",))
    ]


def test_what_was_not_written_down_cannot_be_ruled_out(tmp_path: Path) -> None:
    assert bootstrap.sisters(table(tmp_path), "H3", shares=["gauge"]).not_recorded == ("H6",)


def test_the_last_visit_counts_unless_another_is_named(tmp_path: Path) -> None:
    assert found(tmp_path, "compressor_lot", "balancer", visit="0") == ["H6", "H2"]
    assert found(tmp_path, "gauge", visit="0") == ["H5"]
    assert found(tmp_path, "cell", visit="1") == ["H6", "H4"]


def test_a_cause_looks_in_the_columns_of_its_module(tmp_path: Path) -> None:
    history = read_shop_history(table(tmp_path))
    compressor = Cause("compressor_clearance", "", "module", "compressor", "%")
    reading = Cause("reading:mgt", "", "reading", "mgt", "steps")
    exhaust = Cause("exhaust_back_pressure", "", "module", "exhaust", "%")
    assert columns_for(compressor, history) == ("compressor_lot", "gauge", "balancer")
    assert columns_for(reading, history) == ("cell",)
    assert columns_for(exhaust, history) == ("gauge", "balancer", "cell")
    assert [s.engine for s in sisters_of(reading, "H3", history)] == ["H6", "H4"]
    shared = {s.engine: s.shares for s in sisters_of(compressor, "H3", history)}
    assert set(shared) == {"H6", "H5", "H2"}
    assert shared["H6"] == ("compressor lot L-2",)
    assert shared["H2"][0] == "compressor lot L-2" and shared["H2"][1].startswith("gauge G-12")
    assert history.visits[2].measured_on == date(2026, 3, 15)


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (["--engine", "H33"], "Did you mean 'H3'?"),
        (["--engine", "H3", "--visit", "9"], "has no visit '9'"),
        (["--engine", "H3", "--shares", "gage"], "Did you mean 'gauge'?"),
        (["--engine", "H3", "--shares", "gauge=G-99"], "no engine of the shop history has gauge 'G-99'"),
        (["--engine", "H3", "--shares", "gauge="], "names nothing"),
        (["--engine", "H6", "--shares", "gauge"], "was left empty"),
    ],
)
def test_a_call_that_cannot_be_met_is_told_in_one_sentence(
    tmp_path: Path, call: list[str], told: str
) -> None:
    result = CliRunner().invoke(app, ["sisters", str(table(tmp_path)), *call])
    assert isinstance(result.exception, InputError)
    assert told in str(result.exception)


def test_the_list_is_printed(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["sisters", str(table(tmp_path)), "--engine", "H3", "--shares", "gauge"])
    assert result.exit_code == 0
    assert result.output.index("H5") < result.output.index("H2")
    assert "cannot be ruled out: H6" in result.output


MISTAKES = """\
engine,visit,released_on,measured_on,gauge,gauge_calibrated_on
A,1,20.1.2026,,G,
,1,2026-01-20,,G,
C,1,2026-01-20,2026-02-20,G,
D,1,2026-03-20,2026-02-20,G,2026-03-01
E,1,2026-03-20,,G; H,2026-03-01
E,1,2026-03-20,,G,
F,1,2026-03-20,,G,,spare
"""


def test_every_mistake_of_a_table_is_told_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(ShopHistoryError) as caught:
        read_shop_history(table(tmp_path, MISTAKES))
    told = [(p.line, p.where) for p in caught.value.problems]
    assert told == [
        (2, "released_on"),
        (3, "engine"),
        (4, "measured_on"),
        (5, "gauge_calibrated_on"),
        (6, "gauge_calibrated_on"),
        (7, "engine"),
        (8, "row"),
    ]
    assert all(p.mend for p in caught.value.problems)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no header line"),
        ("engine,visit,released_on\n", "no row below the header"),
        ("engine,visit,released\nA,1,2026-01-01\n", "Is 'released' meant?"),
        ("engine,visit,released_on,Part Lot\nA,1,,x\n", "is called 'Part Lot'"),
        ("engine,visit,released_on,lot,lot\nA,1,,x,y\n", "stands twice"),
        ("engine,visit,released_on,gauge_calibrated_on\nA,1,,\n", "no column 'gauge' beside it"),
        ('engine,visit,released_on\n"A,1,2026-01-01\n', "cannot be read"),
    ],
)
def test_a_table_that_is_none_is_told(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(ShopHistoryError) as caught:
        read_shop_history(table(tmp_path, text))
    assert told in str(caught.value)


def test_bytes_that_are_no_text_are_told(tmp_path: Path) -> None:
    path = tmp_path / "history.csv"
    path.write_bytes(b"engine,visit,released_on\nM\xfcller,1,2026-01-01\n")
    with pytest.raises(ShopHistoryError) as caught:
        read_shop_history(path)
    assert caught.value.problems[0].line == 2
