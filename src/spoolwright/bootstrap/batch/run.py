"""A batch from start to end: list, leave out what is done, share out, write each chunk as it comes."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap.batch.crews import Crew, crew_for
from spoolwright.bootstrap.batch.material import Material, material_of
from spoolwright.bootstrap.batch.worker import hashes_of
from spoolwright.bootstrap.diagnosing import DiagnosisFiles
from spoolwright.bootstrap.progress import Tell, silent
from spoolwright.errors import InputError, OutputError, SpoolwrightError

if TYPE_CHECKING:
    from spoolwright.reports.batch_parts import Parts
    from spoolwright.reports.batch_rows import Row
    from spoolwright.sources.places import Placed

_CHUNK = 8
"""Runs in a chunk: what a kill costs each worker, at most."""
_LOST_IN_A_ROW = 5

Chunk = Sequence["Placed"]


@dataclass(frozen=True)
class BatchDone:
    """What a batch did: the table of all rows, and how many are new and how many were there before."""

    table: Path
    done: int
    kept: int
    seconds: float


def diagnose_all(
    where: str,
    type_path: Path,
    out: Path,
    *,
    channel_map: Path | None = None,
    files: DiagnosisFiles | None = None,
    processes: int | None = None,
    scheduler: str = "",
    resume: bool = False,
    progress: Tell = silent,
) -> BatchDone:
    """Diagnose every recording of a folder or list, each by itself, into a table of one row a recording.

    Raises
    ------
    SpoolwrightError
        The batch cannot begin or go on: type file or another file, list, folder of results or scheduler are
        not as they should be. What is wrong with one recording stands in its row.
    """
    from spoolwright.bootstrap.batch.ready import ready
    from spoolwright.reports.batch_parts import HEAD, Parts
    from spoolwright.reports.batch_rows import PROGRAM
    from spoolwright.sources.places import is_address, listed

    began = time.perf_counter()
    _check_apart(where, out)
    progress("type file", 0.0)
    files = files or DiagnosisFiles()
    ready(type_path, channel_map, files)  # what is wrong with the files is told before anything else is done
    material = material_of(type_path, channel_map, files)
    placed = listed(where, results=HEAD)
    source = where if is_address(where) else str(Path(where).resolve())
    shared = {f"{k}_sha256": v for k, v in material.rests_on.items()}
    rests_on = {"program": PROGRAM, **shared, "recordings": source}
    with Parts.opened(out, rests_on, resume=resume) as parts:
        todo = _todo(placed, parts, material)
        with crew_for(material, processes, scheduler) as crew:
            _work_off(todo, crew, parts, material, progress)
        table = parts.finish()
    return BatchDone(table, len(todo), len(placed) - len(todo), time.perf_counter() - began)


def _check_apart(where: str, out: Path) -> None:
    """Refuse results in the recordings' own folder, or around it: they would be taken for each other."""
    from spoolwright.sources.places import is_address

    inside = [] if is_address(where) else [Path(where).resolve(), *Path(where).resolve().parents]
    if out.resolve() in inside:
        raise OutputError(
            "the recordings lie in it.",
            where=str(out),
            mend="Name a folder for the results alone, or one to be made.",
        )


def _todo(placed: Sequence[Placed], parts: Parts, material: Material) -> list[Placed]:
    """Recordings without a row that still holds; rows that no longer hold are removed."""
    from spoolwright.sources.places import hashes_at

    keys = parts.keys()
    todo = []
    for one in placed:
        known = keys.get(one.name)
        if not known or known != hashes_of(material, hashes_at(one.place)).key:
            todo.append(one)
    parts.drop({p.name for p in todo} & set(keys))
    return todo


def _work_off(todo: Sequence[Placed], crew: Crew, parts: Parts, material: Material, progress: Tell) -> None:
    from spoolwright.reports.batch_rows import FAILED, PROGRAM

    done = failed = 0
    size = max(1, min(_CHUNK, len(todo) // (4 * crew.width)))
    for rows in _rows(crew, [todo[i : i + size] for i in range(0, len(todo), size)], material):
        if other := next((r["program"] for r in rows if r["program"] != PROGRAM), ""):
            raise InputError(
                f"a worker runs {other}, this is {PROGRAM}.",
                mend="Install the same version for every worker.",
            )
        parts.add(rows)
        done += len(rows)
        failed += sum(r["outcome"] == FAILED for r in rows)
        told = f", {failed} not diagnosed" if failed else ""
        progress(f"{done} of {len(todo)}{told}", done / len(todo))


def _rows(crew: Crew, chunks: Sequence[Chunk], material: Material) -> Iterator[list[Row]]:
    """Rows of the chunks as they come; a recording that ends its worker costs only its own row."""
    waiting, running = deque(chunks), dict[Future[list["Row"]], Chunk]()
    while waiting or running:
        lost: list[Chunk] = []
        while waiting and len(running) < 2 * crew.width and not lost:
            try:
                running[crew.submit(waiting[0])] = waiting[0]
            except crew.lost:
                lost.append(waiting[0])
            waiting.popleft()
        ended = wait(running, return_when=FIRST_COMPLETED).done if running else set()
        for future in ended:
            yield from _taken(crew, future, running.pop(future), lost)
        if lost:
            for future, chunk in list(running.items()):
                yield from _taken(crew, future, chunk, lost)
            running.clear()
            crew.renew()
            yield from _one_by_one(crew, [p for chunk in lost for p in chunk], material)


def _taken(crew: Crew, future: Future[list[Row]], chunk: Chunk, lost: list[Chunk]) -> Iterator[list[Row]]:
    try:
        yield future.result()
    except crew.lost:
        lost.append(chunk)


def _one_by_one(crew: Crew, placed: Sequence[Placed], material: Material) -> Iterator[list[Row]]:
    """Recordings of chunks that were lost with their worker, each by itself."""
    from spoolwright.reports.batch_rows import failed_row

    in_a_row = 0
    for one in placed:
        try:
            rows, in_a_row = crew.submit([one]).result(), 0
        except crew.lost:
            in_a_row += 1
            crew.renew()
            told = f"{one.place}: the process that worked on it ended; too little memory may be why."
            rows = [failed_row(one.name, hashes_of(material, ("", "")), told, again=True)]
        yield rows
        if in_a_row == _LOST_IN_A_ROW:
            raise SpoolwrightError(
                f"{in_a_row} processes ended one after the other.",
                mend="Use fewer processes, or more memory; then go on (--resume).",
            )
