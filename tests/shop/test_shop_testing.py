"""The test cell in a shop on disk: real recordings assessed in the worker, kept, and run again by verify."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest

from shop.fixtures import NOON, FilledShop
from spoolwright.bootstrap.jobs import Job
from spoolwright.bootstrap.shop_sisters import history_of
from spoolwright.bootstrap.shop_testing import Testing
from spoolwright.crafts.installation.model import ChecksCompared
from spoolwright.crafts.installation.service import enter_checks
from spoolwright.crafts.supply.model import KitLine
from spoolwright.crafts.testcell.visit.history import sisters_in
from spoolwright.crafts.testcell.visit.model import (
    LookTaken,
    RunAttached,
    RunDisposed,
    RunsAssessed,
    RunsDiagnosed,
)
from spoolwright.crafts.testcell.visit.service import attach_run, dispose, take_look
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.visit.entry import Entry, New
from spoolwright.crafts.visit.folder import Folder
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.crafts.visit.people import Role
from spoolwright.rig.aircraft import aircraft_checks
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.truth import truth_engine
from spoolwright.rig.write import write_run
from spoolwright.sources.runsheet import read_run_sheet
from spoolwright.sources.typefile import load_type, shipped_type

LOADED = load_type(shipped_type())


@dataclass(frozen=True)
class Recorded:
    recording: Path
    sheet: Path


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Recorded]:
    """Runs of the rig, once for all: a sound engine, and one with worn turbine tips."""
    folder = tmp_path_factory.mktemp("runs")
    options = QuickOptions(faults=lambda i: {"turbine_tip_clearance": 2.5} if i else {})
    out = {}
    for name, run in zip(
        ("sound", "worn"), quick_runs(LOADED.type_file, LOADED.engine, 2, 64, options), strict=True
    ):
        files = write_run(run, folder, name, "parquet")
        out[name] = Recorded(files.recording, files.sheet)
    return out


class Bench:
    """A shop with a test operator, and the calculations beside it."""

    def __init__(self, shop: FilledShop) -> None:
        self.filled, self.shop = shop, shop.shop
        self.testing = Testing(self.shop, lambda: NOON)
        shop.hire("tom", "Tom Reuss", Role.TEST_OPERATOR)

    def visit(self, serial: str, number: str) -> str:
        return self.filled.open_visit(number, serial)

    def folder(self, number: str) -> Folder:
        return self.shop.folder(number, NOON.date())

    def attach(self, number: str, run: Recorded) -> Entry[RunAttached]:
        desk = self.shop.desk("tom", NOON)
        (visit,) = self.folder(number).of(VisitOpened)
        kept = [desk.attachments.keep(p.read_bytes(), p.name, "x/y") for p in (run.recording, run.sheet)]
        sheet = read_run_sheet(run.sheet, LOADED.type_file)
        return attach_run(desk, visit, sheet, *kept)  # type: ignore[return-value]

    def wait(self, job: Job) -> Job:
        for _ in range(1200):
            if job.over:
                assert job.state == "done", job.error
                return job
            time.sleep(0.05)
        raise AssertionError(f"not done: {job.progress}")


@pytest.fixture
def bench(shop: FilledShop) -> Iterator[Bench]:
    made = Bench(shop)
    yield made
    made.testing.jobs.close()


def test_from_an_attached_run_to_a_check_on_the_aircraft_and_verify_runs_all_of_it_again(
    bench: Bench, recorded: dict[str, Recorded]
) -> None:
    bench.visit("D00064", "V-D00064")
    run = bench.attach("V-D00064", recorded["sound"])
    content = recorded["sound"].recording.read_bytes()
    assert bench.shop.attachments.read(run.body.recording.sha256) == content
    bench.wait(bench.testing.assess(bench.folder("V-D00064"), "tom"))
    (assessed,) = bench.folder("V-D00064").of(RunsAssessed)
    assert assessed.body.outcome == assessed.body.calculation.result["outcome"]
    desk = bench.shop.desk("tom", NOON)
    take_look(desk, "V-D00064", LookTaken(assessment=assessed.subject, view="meets", words="steady, cool"))
    now = standing(bench.folder("V-D00064"))
    made = RunDisposed(assessment=assessed.subject, runs=now.undecided, decision="accepted")
    dispose(desk, bench.folder("V-D00064"), made)
    kind = bench.folder("V-D00064").kind
    engine = truth_engine(LOADED.type_file, LOADED.engine, 64)
    assert kind.shop.power_check is not None
    hours = [2.0, 30, 61, 88, 120, 149]
    checks = aircraft_checks(engine, kind.shop.power_check, date(2026, 1, 5), hours, 64)
    enter_checks(desk, "V-D00064", checks, LOADED.type_file, "k")
    bench.wait(bench.testing.compare(bench.folder("V-D00064"), "tom"))
    (compared,) = bench.folder("V-D00064").of(ChecksCompared)
    assert [c.agreement for c in compared.body.result.checks][:2] == ["agrees", "agrees"]
    found = bench.shop.verify()
    assert found.holds, found.faults
    assert found.recomputed == 2 and not found.not_recomputed


def test_a_failed_run_is_diagnosed_and_verify_runs_it_again(
    bench: Bench, recorded: dict[str, Recorded]
) -> None:
    bench.visit("D00065", "V-D00065")
    bench.attach("V-D00065", recorded["worn"])
    bench.wait(bench.testing.diagnose(bench.folder("V-D00065"), "tom"))
    (found,) = bench.folder("V-D00065").of(RunsDiagnosed)
    first = found.body.calculation.result["suspects"][0]
    assert first["id"] == "turbine_clearance"
    surely = found.body.outcome in ("cause_found", "group_found")
    assert bool(found.body.calculation.result["cause"]) == surely
    checked = bench.shop.verify()
    assert checked.holds and checked.recomputed == 1


def test_the_same_work_waits_once_and_a_fault_is_told(bench: Bench, recorded: dict[str, Recorded]) -> None:
    bench.visit("D00065", "V-D00065")
    run = bench.attach("V-D00065", recorded["worn"])
    first = bench.testing.assess(bench.folder("V-D00065"), "tom")
    assert bench.testing.assess(bench.folder("V-D00065"), "tom") is first
    bench.shop.attachments.path_of(run.body.recording.sha256).unlink()
    for _ in range(1200):
        if first.over:
            break
        time.sleep(0.05)
    if first.state == "done":  # the worker had read the file before it was taken away
        again = bench.testing.assess(bench.folder("V-D00065"), "tom")
        while not again.over:
            time.sleep(0.05)
        first = again
    assert first.state == "failed" and first.error
    assert bench.testing.jobs.of_visit("V-D00065") == [first]


def test_sisters_are_looked_for_in_the_records_of_every_craft(
    bench: Bench, recorded: dict[str, Recorded]
) -> None:
    """Two engines ran in one cell between the same calibrations; a lot of the module went into both."""
    for serial, name in (("D00064", "sound"), ("D00065", "worn")):
        number = f"V-{serial}"
        bench.visit(serial, number)
        bench.attach(number, recorded[name])
        lot = KitLine(
            part="seal",
            module="hot_section",
            part_number="940-7",
            tag="L5",
            serialised=False,
            quantity=2,
            arrival=1,
        )
        new = New(f"visit/{number}/supply/kit/940-7/L5", lot, visit=number)
        bench.shop.records.add([new], by="tom", at=NOON)
    history = history_of(bench.shop, bench.folder("V-D00065"))
    (by_lot,) = sisters_in(history, "V-D00065", "module", "gas_generator_turbine")
    assert by_lot.engine == "D00064" and "lot 940-7 lot L5" in by_lot.text
    (by_cell,) = sisters_in(history, "V-D00065", "reading", "torque")
    assert by_cell.engine == "D00064" and "cell" in by_cell.text
    assert sisters_in(history, "V-D00065", "module", "gearbox") == ()
