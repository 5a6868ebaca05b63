"""Test runs of the demonstration: recorded on the simulated bench, attached, assessed, judged by people."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from spoolwright.bootstrap.demo.story import Story
from spoolwright.bootstrap.jobs import Job, Jobs
from spoolwright.bootstrap.shop_testing import Testing
from spoolwright.constants import ZERO_CELSIUS
from spoolwright.crafts.installation.service import enter_checks
from spoolwright.crafts.testcell.visit.model import (
    LookTaken,
    ModuleReopened,
    RunDisposed,
    RunsAssessed,
    RunsDiagnosed,
)
from spoolwright.crafts.testcell.visit.service import (
    acknowledge,
    attach_run,
    dispose,
    reopen_module,
    take_look,
)
from spoolwright.crafts.testcell.visit.standing import standing
from spoolwright.crafts.visit.model import VisitOpened
from spoolwright.errors import SpoolwrightError
from spoolwright.rig.bench import Ambient
from spoolwright.rig.record import RecordOptions, record_run
from spoolwright.rig.sheet import SheetOptions
from spoolwright.rig.write import write_run
from spoolwright.sources.runsheet import read_run_sheet
from spoolwright.sources.typefile import LoadedType


@dataclass(frozen=True)
class Bench:
    """The simulated bench, and the calculations beside the shop, run here and now."""

    loaded: LoadedType

    def runs(
        self, story: Story, seed: int, run: str = "1", faults: Mapping[str, float] | None = None
    ) -> None:
        """Record a run of the engine and attach it."""
        limits = "repaired"
        options = RecordOptions(
            seed=seed, serial=story.serial, faults=faults or {}, on=story.at.date(), rate=5.0,
            ambient=Ambient(
                temperature=ZERO_CELSIUS + 11.0 + seed % 7, pressure=100_600.0, relative_humidity=0.6,
                wind_speed=2.0,
            ),
            sheet=SheetOptions(
                run=run, limit_set=limits, visit=story.visit, hours=story.counts.hours_since_new
            ),
        )  # fmt: skip
        made = record_run(self.loaded.type_file, self.loaded.engine, options)
        desk = story.desk("tom", 90)
        with tempfile.TemporaryDirectory() as folder:
            files = write_run(made, Path(folder), f"{story.serial}-run-{run}", "parquet")
            sheet = read_run_sheet(files.sheet, self.loaded.type_file)
            recording, paper = (
                desk.attachments.keep(p.read_bytes(), p.name, kind)
                for p, kind in (
                    (files.recording, "application/vnd.apache.parquet"),
                    (files.sheet, "application/toml"),
                )
            )
        attach_run(desk, story.folder.of(VisitOpened)[-1], sheet, recording, paper)

    def assesses(self, story: Story) -> RunsAssessed:
        """Assess the runs of the visit."""
        with _testing(story) as testing:
            _done(testing.assess(story.folder, "tom"))
        return story.folder.of(RunsAssessed)[-1].body

    def diagnoses(self, story: Story) -> RunsDiagnosed:
        """Diagnose them."""
        with _testing(story) as testing:
            _done(testing.diagnose(story.folder, "tom"))
        return story.folder.of(RunsDiagnosed)[-1].body

    def compares(self, story: Story) -> None:
        """Compare the checks on the aircraft with the accepted run."""
        with _testing(story) as testing:
            _done(testing.compare(story.folder, "tom"))


def judge(story: Story, view: str, words: str, decision: str, cause: str = "") -> None:
    """A person looks first, then decides; every limit that was exceeded is acknowledged."""
    now = standing(story.folder)
    assert now.newest is not None
    look = LookTaken(assessment=now.newest.subject, view=view, words=words)
    take_look(story.desk("tom"), story.visit, look)
    for assessed, x in standing(story.folder).not_acknowledged:
        acknowledge(story.desk("tom"), story.visit, assessed.subject, x)
    now = standing(story.folder)
    assert now.newest is not None
    made = RunDisposed(
        assessment=now.newest.subject, runs=now.undecided, decision=decision, cause=cause,
    )  # fmt: skip
    dispose(story.desk("tom"), story.folder, made)


def reopen(story: Story, module: str, reason: str) -> None:
    """The lead opens a module again, on the diagnosis."""
    found = story.folder.of(RunsDiagnosed)
    made = ModuleReopened(module=module, reason=reason, diagnosis=found[-1].subject if found else "")
    modules = [m.id for m in story.folder.kind.type_file.module]
    reopen_module(story.desk("lena", 30), story.visit, made, modules)


def fly(story: Story, bench: Bench, seed: int, hours: list[float]) -> None:
    """The operator's checks after installation, entered and compared."""
    from spoolwright.rig.aircraft import aircraft_checks
    from spoolwright.rig.truth import truth_engine

    known = bench.loaded
    manual = story.folder.kind.shop.power_check
    assert manual is not None
    engine = truth_engine(known.type_file, known.engine, seed)
    first = story.at.date() + timedelta(days=2)
    checks = aircraft_checks(engine, manual, first, hours, seed)
    last = max(c.checked_on for c in checks)
    story.sleep(days=(last - story.at.date()).days + 1)
    enter_checks(story.desk("tom"), story.visit, checks, known.type_file, "demonstration")
    bench.compares(story)


@contextmanager
def _testing(story: Story) -> Iterator[Testing]:
    """The calculations, in this process."""
    jobs = Jobs(ThreadPoolExecutor(1))
    try:
        yield Testing(story.shop, lambda: story.at, jobs)
    finally:
        jobs.close()


def _done(job: Job) -> None:
    while not job.over:
        time.sleep(0.02)
    if job.state != "done":
        raise SpoolwrightError(f"{job.what}: {job.error}")
