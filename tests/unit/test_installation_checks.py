"""Checks on the aircraft: the file, the manual's table, doubts about readings, what may be entered."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

sys.path.insert(0, str(Path(__file__).parents[1] / "shop"))
sys.path.insert(0, str(Path(__file__).parents[1] / "prove"))
from _rig_points import HoldReader
from memory import MemoryShop

from spoolwright.bootstrap.installing import bench_of
from spoolwright.crafts.installation.compare import Subject, compare_checks
from spoolwright.crafts.installation.manual import judge_by_manual
from spoolwright.crafts.installation.model import CheckEntered, CheckReading
from spoolwright.crafts.installation.service import confirm_check, correct_check, enter_checks
from spoolwright.crafts.testcell.performance.basis import reduction_basis
from spoolwright.crafts.testcell.performance.block import reduce_block
from spoolwright.crafts.typefile.base import Amount
from spoolwright.crafts.visit.people import NotEntitledError, Role
from spoolwright.errors import InputError
from spoolwright.rig.aircraft import Wear, aircraft_checks, checks_csv
from spoolwright.rig.quick import quick_runs
from spoolwright.sources.installation_checks import ChecksError, checks_from
from spoolwright.sources.shop_part import load_shop_part, shop_folder
from spoolwright.sources.typefile import load_type, shipped_type

LOADED = load_type(shipped_type())
KNOWN = LOADED.type_file
POWER_CHECK = load_shop_part(shop_folder(shipped_type())).shop.power_check
assert POWER_CHECK is not None
HEAD = "date,hours [h],pressure_altitude [ft],oat [degC],ng [rpm],np [rpm],torque [N m],mgt [degC],bleed"
ROW = "2026-06-02,3,3410,18.8,36905,5831,1024,770,off"
LATER = datetime(2026, 7, 1, tzinfo=UTC)
HOURS = [3.0, 28, 55, 77, 103, 130, 152, 178]


def reading(**changes: object) -> CheckReading:
    (made,) = checks_from(f"{HEAD}\n{ROW}\n".encode(), "checks.csv", KNOWN).readings
    return made.model_copy(update=changes)


@pytest.fixture(scope="module")
def flown() -> tuple[Subject, list[CheckReading]]:
    """An engine of the rig: its bench run, and checks of the same engine without any wear."""
    (run,) = quick_runs(KNOWN, LOADED.engine, 1, seed=64)
    basis = reduction_basis(KNOWN, LOADED.engine)
    method = reduce_block(0, HoldReader(KNOWN).points(run), {run.sheet.run: run.sheet}, basis).model
    assert method is not None and POWER_CHECK is not None
    subject = Subject("D64", "1", KNOWN, POWER_CHECK, bench_of(method, basis, POWER_CHECK.rating))
    engine = run.truth.day.engine
    made = aircraft_checks(engine, POWER_CHECK, date(2026, 6, 1), HOURS, 64, Wear(per_hour=0.0))
    return subject, made


def test_a_file_is_read_with_its_units(flown: tuple[Subject, list[CheckReading]]) -> None:
    _, made = flown
    read = checks_from(checks_csv(made).encode(), "checks.csv", KNOWN)
    assert list(read.readings) == made
    assert read.lines == tuple(range(2, 2 + len(made)))


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        ("", 1, "there is no header line"),
        (HEAD, 1, "there is no check below the header"),
        (HEAD.replace("ng [rpm]", "ng") + "\n" + ROW, 1, "column 'ng' does not state its unit"),
        (HEAD.replace("[ft]", "[fathom]") + "\n" + ROW, 1, "unit 'fathom' is not known"),
        (
            HEAD.replace("oat [degC]", "oat [kPa]") + "\n" + ROW,
            1,
            "is a unit of pressure, not of temperature",
        ),
        (HEAD.replace(",mgt [degC]", "") + "\n" + ROW, 1, "column 'mgt' is missing"),
        (HEAD.replace("bleed", "bleeed") + "\n" + ROW, 1, "column 'bleeed' is not known"),
        (HEAD + ",np [%]\n" + ROW, 1, "column 'np' stands twice"),
        (HEAD + ",pressure [hPa]\n" + ROW, 1, "not both"),
        (HEAD + "\n" + ROW.replace("770", "seven"), 2, "'seven' is not a number"),
        (HEAD + "\n" + ROW.replace("770", "nan"), 2, "'nan' is not a number"),
        (HEAD + "\n" + ROW.replace("770", ""), 2, "the cell is empty"),
        (HEAD + "\n" + ROW.replace("2026-06-02", "02.06.26"), 2, "is not a day"),
        (HEAD + "\n" + ROW.replace("off", "half"), 2, "neither on nor off"),
        (HEAD + "\n" + ROW.replace("3410", "3,410"), 2, "cells, the header has"),
        (HEAD + "\n" + ROW + "\n" + ROW.replace("36905", "770"), 3, "gas generator speed 770 rpm cannot be"),
        (HEAD + "\n" + ROW.replace("770", "18.8"), 2, "MGT 18.8 degC cannot be"),
        (HEAD + "\n" + ROW.replace("18.8", "188"), 2, "outside air temperature 188 degC cannot be"),
        (HEAD + "\n" + ROW.replace("3410", "34100"), 2, "pressure altitude 34100 ft cannot be"),
        (HEAD + "\n" + ROW.replace(",3,", ",-3,"), 2, "greater than or equal to 0"),
        (HEAD + '\n"' + ROW, 2, "the row cannot be read"),
    ],
)
def test_a_fault_of_the_file_is_told_with_line_and_sentence(text: str, line: int, told: str) -> None:
    with pytest.raises(ChecksError) as caught:
        checks_from(text.encode(), "checks.csv", KNOWN)
    (problem,) = caught.value.problems
    assert problem.line == line
    assert told in problem.what
    assert problem.mend


def test_all_faults_are_told_at_once() -> None:
    text = "\n".join([HEAD, ROW.replace("770", "x"), ROW, ROW.replace("1024", "y").replace("off", "z")])
    with pytest.raises(ChecksError) as caught:
        checks_from(text.encode(), "checks.csv", KNOWN)
    assert [p.line for p in caught.value.problems] == [2, 4, 4]


def test_the_manuals_table_is_read_straight_between_its_corners() -> None:
    """Against scipy's linear interpolation on the same corners."""
    assert POWER_CHECK is not None
    rule = POWER_CHECK.check
    axes = ([s.torque.value for s in rule.sheet], rule.pressure_altitude, rule.temperature)
    table = RegularGridInterpolator(axes, np.array([s.max_mgt for s in rule.sheet]))
    rng = np.random.default_rng(3)
    for _ in range(200):
        at = [float(rng.uniform(a[0], a[-1])) for a in axes]
        one = reading(
            torque=Amount(value=at[0], unit="N m"),
            pressure_altitude=Amount(value=at[1], unit="ft"),
            outside_air_temperature=Amount(value=at[2], unit="degC"),
        )
        found = judge_by_manual(one, POWER_CHECK, KNOWN)
        assert found.limit == pytest.approx(float(table(at)[0]), rel=1e-12)
        assert found.outcome == ("meets" if found.limit >= 770 else "does not meet")


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"bleed": True}, "bleed was on"),
        ({"anti_ice": True}, "anti-ice was on"),
        ({"power_turbine_speed": Amount(value=5600, unit="rpm")}, "Np is not between 5780 and 5900 rpm"),
        ({"torque": Amount(value=700, unit="N m")}, "outside its table"),
        ({"outside_air_temperature": Amount(value=-30, unit="degC")}, "outside its table"),
    ],
)
def test_outside_its_conditions_the_manual_does_not_judge(changes: dict[str, object], told: str) -> None:
    assert POWER_CHECK is not None
    found = judge_by_manual(reading(**changes), POWER_CHECK, KNOWN)
    assert found.outcome == "cannot tell" and told in found.sentence and found.limit is None


def test_percent_is_of_the_type_files_full_scale() -> None:
    assert POWER_CHECK is not None
    percent = reading(torque=Amount(value=100.0 * 1024 / 1537, unit="%"))
    one, other = (judge_by_manual(r, POWER_CHECK, KNOWN) for r in (reading(), percent))
    assert other.limit == pytest.approx(one.limit, rel=1e-12)


def test_a_sound_engine_agrees_and_nothing_is_doubted(flown: tuple[Subject, list[CheckReading]]) -> None:
    subject, made = flown
    found = compare_checks(made, subject)
    assert [c.doubts for c in found.checks] == [()] * len(made)
    assert all(c.used and c.agreement == "agrees" for c in found.checks)
    assert "cannot tell" in found.trend.sentence.lower() or found.trend.zero_high is None


def test_order_of_checks_changes_nothing(flown: tuple[Subject, list[CheckReading]]) -> None:
    subject, made = flown
    forth, back = compare_checks(made, subject), compare_checks(made[::-1], subject)
    assert back.checks[::-1] == forth.checks
    assert back.trend.level == pytest.approx(forth.trend.level, rel=1e-9)


def percent_of(amount: Amount, full: float) -> Amount:
    return Amount(value=100.0 * amount.value / full, unit="%")


@pytest.mark.parametrize("fault", ["swap", "metres", "fahrenheit"])
def test_a_slip_is_doubted_and_left_out_until_a_person_confirms(
    flown: tuple[Subject, list[CheckReading]], fault: str
) -> None:
    subject, made = flown
    one, *rest = made
    slips: dict[str, tuple[dict[str, object], dict[str, object], str]] = {
        "swap": (
            {},
            {
                "gas_generator_speed": percent_of(one.power_turbine_speed, 5840),
                "power_turbine_speed": percent_of(one.gas_generator_speed, 38650),
            },
            "Ng and Np were exchanged",
        ),
        "metres": (
            {"pressure_altitude": Amount(value=6000, unit="ft")},
            {"pressure_altitude": Amount(value=1829, unit="ft")},
            "altitude were in m",
        ),
        "fahrenheit": (
            {"outside_air_temperature": Amount(value=4, unit="degC")},
            {"outside_air_temperature": Amount(value=39.2, unit="degC")},
            "temperature were in degF",
        ),
    }
    truly, read, told = slips[fault]
    if truly:
        one = _expected(subject, truly)
    bad = [one.model_copy(update=read), *rest]
    found = compare_checks(bad, subject)
    assert any(told in d for d in found.checks[0].doubts)
    assert not found.checks[0].used and found.checks[0].agreement == "cannot tell"
    assert found.trend.checks == len(made) - 1
    kept = compare_checks(bad, subject, [True, *[False] * (len(bad) - 1)])
    assert kept.checks[0].used and kept.trend.checks == len(made)


def _expected(subject: Subject, changes: dict[str, object]) -> CheckReading:
    """A check of the engine elsewhere, as the model and the bench run expect it."""
    from spoolwright.crafts.installation.airframe import airframe
    from spoolwright.crafts.installation.calc import against_bench
    from spoolwright.crafts.installation.reading import checks_of

    one = reading(**changes)
    found = against_bench(checks_of([one], KNOWN), subject.bench, airframe(subject.power_check))
    speed = one.power_turbine_speed.value * np.pi / 30
    return one.model_copy(
        update={
            "torque": Amount(value=float(found.expected_power[0]) / speed, unit="N m"),
            "gas_generator_speed": Amount(value=float(found.expected_speed[0]), unit="rpm"),
        }
    )


@pytest.fixture
def shop() -> MemoryShop:
    shop = MemoryShop()
    shop.hire("ros", "Ros Eide", Role.RECORDS)
    shop.hire("vic", "Vic Moe", Role.VIEWER)
    shop.open_visit("W100", "D64")
    return shop


def test_checks_are_kept_all_or_none_and_never_twice(shop: MemoryShop) -> None:
    desk = shop.desk("ros", LATER)
    entered = enter_checks(desk, "W100", [reading()], KNOWN, "k1")
    assert entered[0].subject == "visit/W100/installation/check/k1-1"
    both = [reading(hours=9.0), reading()]
    with pytest.raises(InputError, match="is kept already"):
        enter_checks(desk, "W100", both, KNOWN, "k2")
    with pytest.raises(InputError, match="cannot be"):
        enter_checks(desk, "W100", [reading(hours=9.0, torque=Amount(value=5.0, unit="N m"))], KNOWN, "k3")
    with pytest.raises(InputError, match="still to come"):
        enter_checks(shop.desk("ros"), "W100", [reading(hours=9.0)], KNOWN, "k5")
    with pytest.raises(NotEntitledError):
        enter_checks(shop.desk("vic", LATER), "W100", [reading(hours=9.0)], KNOWN, "k4")
    assert len(shop.records.current(CheckEntered)) == 1


def test_a_correction_keeps_the_first_entry_and_takes_a_confirmation_back(shop: MemoryShop) -> None:
    desk = shop.desk("ros", LATER)
    (entry,) = enter_checks(desk, "W100", [reading()], KNOWN, "k1")
    confirmed = confirm_check(desk, entry, "gauge compared with the spare")  # type: ignore[arg-type]
    assert isinstance(confirmed.body, CheckEntered) and confirmed.body.confirmed
    with pytest.raises(InputError, match="reason"):
        correct_check(desk, confirmed, reading(hours=4.0), KNOWN, " ")  # type: ignore[arg-type]
    mended = correct_check(desk, confirmed, reading(hours=4.0), KNOWN, "misread log")  # type: ignore[arg-type]
    assert isinstance(mended.body, CheckEntered)
    assert (mended.body.reading.hours, mended.body.confirmed) == (4.0, "")
    assert len(shop.records.history(entry.subject)) == 3
    assert replace(entry, revision=1) == shop.records.history(entry.subject)[0]
