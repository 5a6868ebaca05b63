"""Reads the shop's table of checks; every mistake with its line."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from importlib.resources import files
from pathlib import Path

from spoolwright.core.cycle.solution import OUTPUTS
from spoolwright.crafts.testcell.diagnosis.check_table import (
    AddedProbe,
    Calibration,
    CheckTable,
    Finding,
    FurtherRun,
    Inspection,
    Removal,
)
from spoolwright.crafts.typefile.checking.draft import Draft, frozen, read_draft
from spoolwright.crafts.typefile.checking.mistake import Mistake, choice
from spoolwright.errors import CheckTableError
from spoolwright.sources.cost_table import ids_twice, unknown_cause
from spoolwright.sources.toml_text import problems_of, read_toml

_SPEEDS = (0.5, 1.15)
"""Relative corrected gas generator speeds at which a point can be held."""


def shipped_check_table(name: str = "corrie_940") -> Path:
    """Path of a table that comes with the program."""
    return Path(str(files("spoolwright").joinpath("data", f"{name}.checks.toml")))


def read_check_table(path: Path | str, causes: Collection[str], channels: Collection[str]) -> CheckTable:
    """Read and check a table of checks.

    Parameters
    ----------
    path : where it is
    causes : ids of all causes that a diagnosis of the type may name
    channels : ids of the type file's channels

    Raises
    ------
    InputError
        The file cannot be opened or is too large.
    CheckTableError
        The table holds mistakes; `problems` lists them all, by line.
    """
    read = read_toml(Path(path), CheckTableError)
    draft, mistakes = read_draft(read.raw, CheckTable)
    mistakes = [
        *mistakes,
        *ids_twice(draft, ("inspection", "calibration", "run")),
        *_findings(draft, causes),
        *_channels(draft, channels),
        *_runs(draft, causes),
    ]
    if mistakes:
        raise CheckTableError(problems_of(mistakes, read))
    return CheckTable.model_validate(frozen(read.raw), strict=True)


def _findings(draft: Draft, known: Collection[str]) -> Iterator[Mistake]:
    for path, f in draft.of(Finding):
        for i, cause in enumerate(f.causes or ()):
            if cause not in known:
                yield unknown_cause((*path, "causes", i), cause, known)
    for path, f in draft.whole(Finding):
        if f.sensitivity + f.specificity <= 1.0:
            told = f"sensitivity {f.sensitivity:g} with specificity {f.specificity:g}"
            what = f"{told} tells no more than a guess."
            yield Mistake(path, what, "Their sum is above 1; turn the answer round, or remove the question.")
    for path, row in draft.of(Inspection):
        asked: set[str] = set()
        for i, f in enumerate(row.finds or ()):
            for cause in f.causes or ():
                if cause in asked:
                    what = f"two questions of '{row.id}' ask for '{cause}'."
                    yield Mistake((*path, "finds", i), what, "Ask once: answers count as independent.")
                asked.add(cause)


def _channels(draft: Draft, known: Collection[str]) -> Iterator[Mistake]:
    seen: set[str] = set()
    for path, row in draft.of(Calibration):
        for i, channel in enumerate(row.channels or ()):
            where = (*path, "channels", i)
            if channel not in known:
                mend = choice(channel, set(known), "channels")
                yield Mistake(where, f"channel '{channel[:60]}' is not in the type file.", mend)
            elif channel in seen:
                yield Mistake(where, f"channel '{channel}' has a row already.", "Keep one of the two.")
            seen.add(channel)


def _runs(draft: Draft, known: Collection[str]) -> Iterator[Mistake]:
    for path, p in draft.of(AddedProbe):
        if isinstance(p.output, str) and p.output not in OUTPUTS:
            what = f"'{p.output[:60]}' is no output of the engine model."
            yield Mistake((*path, "output"), what, choice(p.output, set(OUTPUTS), "outputs"))
    for path, r in draft.of(Removal):
        if isinstance(r.cause, str) and r.cause not in known:
            yield unknown_cause((*path, "cause"), r.cause, known)
    for path, row in draft.of(FurtherRun):
        if row.probe is not None and row.speeds:
            what = "a probe is added in a repeat of the whole run; speeds are another check."
            yield Mistake(path, what, "Keep probe or speeds, or write two rows.")
        for i, speed in enumerate(row.speeds or ()):
            if not _SPEEDS[0] <= speed <= _SPEEDS[1]:
                what = f"{speed:g} is no relative corrected speed ({_SPEEDS[0]:g} to {_SPEEDS[1]:g})."
                yield Mistake((*path, "speeds", i), what, "Give the speed over the reference speed: 0.88.")
