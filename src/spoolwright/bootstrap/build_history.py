"""The shop's own builds with their runs, as a history that `forecast-learn` reads."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.crafts.testcell.visit.model import RunDisposed, RunForecast, RunsAssessed
from spoolwright.errors import InputError, OutputError

if TYPE_CHECKING:
    from spoolwright.bootstrap.shop import Shop
    from spoolwright.crafts.visit.entry import Attachment


@dataclass(frozen=True)
class BuildRan:
    """A build sheet and the assessment of the first runs that were decided after it."""

    visit: str
    sheet: Attachment
    result: Attachment
    decision: str


def builds_of(shop: Shop, type_id: str) -> list[BuildRan]:
    """Builds of a type, a visit each; rejected runs count too, else only lucky builds would be learnt from.

    A visit's first build sheet that was followed by a decided run is taken: what was opened or adjusted after
    that run is another build.
    """
    found = []
    for line in shop.visits(open_only=False):
        if line.opened.type_id != type_id:
            continue
        sheets = sorted(shop.records.current(RunForecast, visit=line.number), key=lambda e: e.seq)
        assessed = {e.subject: e for e in shop.records.current(RunsAssessed, visit=line.number)}
        decided = sorted(shop.records.current(RunDisposed, visit=line.number), key=lambda e: e.seq)
        pairs = [
            (before[-1], d.body.decision, assessed[d.body.assessment])
            for d in decided
            if d.body.assessment in assessed
            and (before := [s for s in sheets if s.seq < assessed[d.body.assessment].seq])
        ]
        if pairs:
            sheet, decision, run = pairs[0]
            found.append(BuildRan(line.number, sheet.body.sheet, run.body.result, decision))
    return found


def write_history(shop: Shop, type_id: str, cell: str, out: Path) -> list[BuildRan]:
    """Write sheets, results and `history.toml` into a new folder.

    Raises
    ------
    InputError
        No build of the type was forecast and run.
    OutputError
        The folder is there already, or cannot be written.
    """
    builds = builds_of(shop, type_id)
    if not builds:
        raise InputError(
            f"no visit of type '{type_id}' has a build sheet with a decided run after it.",
            mend="Forecast from a build sheet before the run, then decide on the run.",
        )
    lines = ["format = 1", f"cell = {json.dumps(cell)}"]
    try:
        out.mkdir(parents=True)
        for b in builds:
            names = {"sheet": f"{b.visit}.build.toml", "result": f"{b.visit}.json"}
            (out / names["sheet"]).write_bytes(shop.attachments.read(b.sheet.sha256))
            (out / names["result"]).write_bytes(shop.attachments.read(b.result.sha256))
            lines += ["", "[[build]]", *(f"{k} = {json.dumps(v)}" for k, v in names.items())]
        (out / "history.toml").write_text("\n".join([*lines, ""]), encoding="utf-8")
    except OSError as error:
        raise OutputError(f"{error.strerror}.", where=str(out), mend="Give a new folder.") from error
    return builds
